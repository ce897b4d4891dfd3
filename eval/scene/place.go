package scene

import (
	"image"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// placer carries labels from the screen into the picture as stored.
type placer struct {
	spec   *Spec
	warp   warp // from the panel's samples, laid on the screen one a pixel
	screen warp // from the screen's pixels
	bounds image.Rectangle
}

// clip maps a screen box and cuts it to the picture; ok is false when less than share of its area is left.
func (l *placer) clip(b detect.Box, share float64) (detect.Box, bool) {
	m := l.warp.box(b)
	c := m.Rect().Intersect(l.bounds)
	if c.Empty() || float64(c.Dx()*c.Dy()) < share*float64(m.W*m.H) {
		return detect.Box{}, false
	}
	return detect.BoxOf(c), true
}

// scaleX is how many picture pixels one screen pixel across the track becomes at a screen point.
func (l *placer) scaleX(x, y float64) float64 {
	x0, y0 := l.warp.apply(x-0.5, y)
	x1, y1 := l.warp.apply(x+0.5, y)
	return math.Hypot(x1-x0, y1-y0)
}

func (l *placer) marks(in []eval.MarkLabel) []eval.MarkLabel {
	out := []eval.MarkLabel{}
	const keep = 0.4 // of a highlight that must be in the picture
	for _, m := range in {
		h, ok := l.clip(*m.Highlight, keep)
		if !ok {
			continue
		}
		if m.GapPx != nil {
			k := l.scaleX(float64(m.Highlight.X), float64(m.Highlight.Y)) * *m.GapPx
			m.GapPx = &k
		}
		m.Highlight = &h
		if m.Shadow != nil {
			if sh, ok := l.clip(*m.Shadow, 0.1); ok {
				m.Shadow = &sh
			} else {
				m.Shadow, m.GapPx = nil, nil
			}
		}
		out = append(out, m)
	}
	return out
}

func (l *placer) regions(in []detect.Region) []detect.Region {
	var out []detect.Region
	for _, r := range in {
		if b, ok := l.clip(r.Box, 0); ok {
			out = append(out, detect.Region{Kind: r.Kind, Box: b})
		}
	}
	return out
}

// profile maps panel x (continuous, from the panel's left edge) of every ping to one point a picture row. Points outside
// the picture are left out; nil when none is left.
func (l *placer) profile(pings []ping, x func(row int) float64) []detect.RowX {
	type point struct{ x, y float64 }
	pts := make([]point, len(pings))
	for r := range pings {
		px, py := l.warp.apply(float64(l.spec.PanelX)+x(r), float64(l.spec.PanelY+r)+0.5)
		// A pixel's own coordinate is that of its centre.
		pts[r] = point{px - 0.5, py - 0.5}
	}
	var out []detect.RowX
	at := 0
	for row := int(math.Ceil(pts[0].y - 0.5)); row <= int(math.Floor(pts[len(pts)-1].y+0.5)); row++ {
		for at < len(pts)-2 && pts[at+1].y < float64(row) {
			at++
		}
		v := pts[at].x
		if next := at + 1; next < len(pts) && pts[next].y > pts[at].y {
			f := min(1, max(0, (float64(row)-pts[at].y)/(pts[next].y-pts[at].y)))
			v += f * (pts[next].x - v)
		}
		if row < l.bounds.Min.Y || row >= l.bounds.Max.Y || v < -0.5 || v > float64(l.bounds.Dx())-0.5 {
			continue
		}
		out = append(out, detect.RowX{float64(row), math.Round(v*100) / 100})
	}
	return out
}

// humps finds where the altitude, mean of the sides in the scene, dips and recovers, and maps the row ranges.
func (l *placer) humps(first [2][]float64) [][2]int {
	alt := make([]float64, l.spec.Pings)
	for r := range alt {
		n := 0.0
		for side := range first {
			if first[side] != nil {
				alt[r] += first[side][r]
				n++
			}
		}
		alt[r] /= n
	}
	out := [][2]int{}
	mid := float64(l.spec.PanelX + l.spec.PortPx)
	for _, h := range dips(alt, max(humpPx*l.spec.PixelM(), humpOfAltitude*l.spec.AltitudeM)) {
		_, a := l.warp.apply(mid, float64(l.spec.PanelY+h[0]))
		_, b := l.warp.apply(mid, float64(l.spec.PanelY+h[1]))
		r0, r1 := max(0, int(math.Round(a))), min(l.bounds.Max.Y, int(math.Round(b)))
		if r1-r0 >= 2 {
			out = append(out, [2]int{r0, r1})
		}
	}
	return out
}
