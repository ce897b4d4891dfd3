package track

import (
	"encoding/csv"
	"io"
	"iter"
	"math"
	"strconv"
	"time"
)

// Legs yields the runs of fixes without a gap, by start time. The fixes are the track's own: don't change them.
func (t *Track) Legs() iter.Seq[[]Point] {
	return func(yield func([]Point) bool) {
		for _, l := range t.legs {
			if !yield(l.points) {
				return
			}
		}
	}
}

// WriteCSV writes the fixes as a CSV log that ReadCSV reads back: time, position, course, speed and depth, as far as
// they are known. Gaps need no mark: a reader finds them by their times.
func (t *Track) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"time", "lat", "lon", "course", "speed (m/s)", "depth (m)"}); err != nil {
		return err
	}
	text := func(v float64, digits int) string {
		if math.IsNaN(v) {
			return ""
		}
		return strconv.FormatFloat(v, 'f', digits, 64)
	}
	for leg := range t.Legs() {
		for _, p := range leg {
			err := out.Write([]string{
				p.Time.UTC().Format(time.RFC3339Nano), text(p.Lat, 8), text(p.Lon, 8), text(p.CourseDeg, 2), text(p.SpeedMS, 3),
				text(p.DepthM, 2),
			})
			if err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}
