package track_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"shadowgap/internal/track"
)

func longGPX(n int) string {
	var b strings.Builder
	b.WriteString(gpxHead + "<trk><trkseg>")
	for _, p := range line(60, 25, 60, 2, time.Second, n) {
		fmt.Fprintf(&b, `<trkpt lat="%.7f" lon="%.7f"><time>%s</time></trkpt>`, p.Lat, p.Lon, p.Time.Format(time.RFC3339))
	}
	return b.String() + "</trkseg></trk></gpx>"
}

func BenchmarkReadGPX(b *testing.B) {
	doc := longGPX(20_000)
	b.SetBytes(int64(len(doc)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := track.Read(strings.NewReader(doc), track.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAt(b *testing.B) {
	tr, err := track.Read(strings.NewReader(longGPX(20_000)), track.Options{})
	if err != nil {
		b.Fatal(err)
	}
	when := noon.Add(9999500 * time.Millisecond)
	for b.Loop() {
		if _, err := tr.At(when); err != nil {
			b.Fatal(err)
		}
	}
}
