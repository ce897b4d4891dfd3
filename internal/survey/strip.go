package survey

import (
	"math"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/track"
)

// Strip is the bottom that one panel of a capture covers.
type Strip struct {
	fixes           []track.Fix // oldest first
	port, starboard float64     // ground range that is in view, metres
	middle          [3]float64  // earth-centred, of the strip's middle fix
	radiusM         float64     // nothing of the strip lies farther from the middle
}

// stripFixes is in how many places the boat's way along a strip is told: enough to follow a turn.
const stripFixes = 17

// Strips are what the panels of a capture cover. A panel without scale, nadir or way has none.
func (s Scene) Strips(panels []detect.PanelRecord) []Strip {
	at, newest, why := s.boat()
	if why != "" {
		return nil
	}
	var out []Strip
	for _, p := range panels {
		if st, ok := s.strip(at, newest, p); ok {
			out = append(out, st)
		}
	}
	return out
}

func (s Scene) strip(at boat, newest time.Time, p detect.PanelRecord) (Strip, bool) {
	row := float64(p.Box.Y) + float64(p.Box.H)/2
	perPx, ok := PanelScale(p, row)
	if !ok || len(p.Nadir) == 0 {
		return Strip{}, false
	}
	altitude := 0.0
	if _, h, ok := panelScale(p, int(row)); ok {
		altitude = h.Value
	}
	nadir := nearestRow(p.Nadir, row) + 0.5
	st := Strip{port: ground((nadir-float64(p.Box.X))*perPx, altitude), starboard: ground((float64(p.Box.X+p.Box.W)-nadir)*perPx, altitude)}
	speed := math.NaN()
	if fix, err := at(newest); err == nil {
		speed = fix.SpeedMS
	}
	lag, _ := s.rowLag(float64(p.Box.H), float64(p.Box.H), speed, perPx)
	for i := range stripFixes {
		fix, err := at(newest.Add(-seconds(lag.Value * float64(stripFixes-1-i) / (stripFixes - 1))))
		if err == nil && !math.IsNaN(fix.CourseDeg) {
			st.fixes = append(st.fixes, fix)
		}
	}
	if len(st.fixes) < 2 {
		return Strip{}, false
	}
	mid := st.fixes[len(st.fixes)/2]
	st.middle = track.EarthCentred(mid.Lat, mid.Lon)
	for _, f := range st.fixes {
		st.radiusM = math.Max(st.radiusM, apart(st.middle, track.EarthCentred(f.Lat, f.Lon)))
	}
	st.radiusM += math.Max(st.port, st.starboard)
	return st, true
}

func apart(a, b [3]float64) float64 {
	return math.Sqrt(sq(a[0]-b[0]) + sq(a[1]-b[1]) + sq(a[2]-b[2]))
}

// Covers says whether a place lies in the strip, at least its error away from the edges.
func (s Strip) Covers(p detect.Position) bool {
	if apart(s.middle, track.EarthCentred(p.Lat, p.Lon)) > s.radiusM {
		return false
	}
	ahead := make([]float64, len(s.fixes))
	abeam := make([]float64, len(s.fixes))
	for i, f := range s.fixes {
		d, azi, _ := track.Inverse(f.Lat, f.Lon, p.Lat, p.Lon)
		sin, cos := math.Sincos((azi - f.CourseDeg) * math.Pi / 180)
		ahead[i], abeam[i] = d*cos, d*sin
	}
	for i := range len(s.fixes) - 1 {
		first, last := i == 0, i == len(s.fixes)-2
		from, to := 0.0, 0.0
		if first {
			from = p.ErrorM
		}
		if last {
			to = p.ErrorM
		}
		if ahead[i] < from || ahead[i+1] > -to { // not between the two fixes
			continue
		}
		g := (abeam[i] + abeam[i+1]) / 2
		if g >= -s.port+p.ErrorM && g <= s.starboard-p.ErrorM {
			return true
		}
	}
	return false
}
