package scene

import (
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// panelBox is the side-scan panel on the screen.
func (s *Spec) panelBox() detect.Box {
	return detect.Box{X: s.PanelX, Y: s.PanelY, W: s.shownW(), H: s.shownH()}
}

// clipScreen maps a box in pixels of the screen and cuts it to the picture.
func (l *placer) clipScreen(b detect.Box) (detect.Box, bool) {
	on := placer{warp: l.screen, bounds: l.bounds}
	return on.clip(b, 0)
}

// detail fills in the part of the truth that older label files do not hold.
func (l *placer) detail(label *eval.CaptureLabel, drawn []eval.FurnitureLabel) {
	s := l.spec
	for _, f := range drawn {
		if b, ok := l.clipScreen(f.Box); ok {
			label.Furniture = append(label.Furniture, eval.FurnitureLabel{Kind: f.Kind, Box: b})
		}
	}
	for _, p := range s.Screen.Panes {
		if b, ok := l.clipScreen(detect.Box{X: p.X, Y: p.Y, W: p.W, H: p.H}); ok && p.Kind == "record" {
			label.Panels = append(label.Panels, eval.PanelLabel{Box: b})
		}
	}
	panel := s.panelBox()
	if s.Output.Photo {
		for _, c := range [4][2]int{{0, 0}, {panel.W, 0}, {panel.W, panel.H}, {0, panel.H}} {
			x, y := l.screen.apply(float64(panel.X+c[0]), float64(panel.Y+c[1]))
			label.Quad = append(label.Quad, [2]float64{math.Round(x*100)/100 - 0.5, math.Round(y*100)/100 - 0.5})
		}
	}
	mid := float64(s.PanelX) + float64(s.PortPx)
	for _, h := range s.Record.Holes {
		_, a := l.warp.apply(mid, float64(s.PanelY+h.Row0))
		_, b := l.warp.apply(mid, float64(s.PanelY+h.Row1))
		if r0, r1 := max(0, int(math.Round(a))), min(l.bounds.Max.Y, int(math.Round(b))); r0 < r1 {
			label.LostRows = append(label.LostRows, [2]int{r0, r1})
		}
	}
	label.Side = l.only()
	label.Marks = slices.DeleteFunc(label.Marks, func(m eval.MarkLabel) bool { return tiny(&m) || hidden(&m, label.Furniture) })
}

// tiny tells whether a mark is too small in the picture to be told from a grain of speckle.
func tiny(m *eval.MarkLabel) bool {
	const least = 5 // pixels of highlight or, twice as many, of shadow
	return m.Highlight.W*m.Highlight.H < least && (m.Shadow == nil || m.Shadow.W*m.Shadow.H < 2*least)
}

// hidden tells whether something opaque covers most of a mark's highlight.
func hidden(m *eval.MarkLabel, over []eval.FurnitureLabel) bool {
	h := m.Highlight.Rect()
	return slices.ContainsFunc(over, func(f eval.FurnitureLabel) bool {
		c := h.Intersect(f.Box.Rect())
		return (f.Kind == "plate" || f.Kind == "bar") && 2*c.Dx()*c.Dy() > h.Dx()*h.Dy()
	})
}

// only is the side of the swath the picture is cut to; empty where it shows both.
func (l *placer) only() detect.Side {
	s := l.spec
	at := func(x float64) float64 {
		px, _ := l.warp.apply(float64(s.PanelX)+x, float64(s.PanelY)+float64(s.Rows)/2)
		return px
	}
	// A side of which less than two pixels show is not in the picture.
	const sliver = 2
	nadir := at(float64(s.PortPx))
	switch {
	case nadir-max(0, at(0)) < sliver:
		return detect.Starboard
	case min(float64(l.bounds.Dx()), at(float64(s.PortPx+s.StarboardPx)))-nadir < sliver:
		return detect.Port
	}
	return ""
}

// Limits of what an eye tells from speckle: the difference of means over the standard error of what lies around.
const (
	visibleError = 3.2
	visibleLeast = 0.03 // of full strength
	grainCells   = 3    // pixels that speckle, smoothed by the beam and the display, makes alike
)

// visible tells whether a mark's highlight or shadow stands out from what lies around it, as drawn.
func (t *truth) visible(side int, tr *trace, m *eval.MarkLabel) bool {
	out := func(px [][2]int, box *detect.Box, sign float64) bool {
		if len(px) < 2 {
			return false
		}
		mean, sd := t.around(box)
		sum := 0.0
		for _, p := range px {
			sum += t.shade(t.panel(p[0], t.col(side, p[1])))
		}
		n := float64(len(px))
		diff := sign * (sum/n - mean)
		return diff > visibleLeast && diff > visibleError*sd*math.Sqrt(grainCells/n)
	}
	return out(tr.lit, m.Highlight, 1) || m.Shadow != nil && out(tr.dark, m.Shadow, -1)
}

// around gives mean and standard deviation of brightness as shown in a frame around a box, things and shadows left out.
func (t *truth) around(b *detect.Box) (mean, sd float64) {
	width := t.spec.PortPx + t.spec.StarboardPx
	mx, my := max(8, b.W), max(6, b.H)
	x0, y0 := b.X-t.spec.PanelX, b.Y-t.spec.PanelY
	var sum, sum2, n float64
	for r := max(0, y0-my); r < min(t.spec.Pings, y0+b.H+my); r++ {
		for c := max(0, x0-mx); c < min(width, x0+b.W+mx); c++ {
			if inside := r >= y0 && r < y0+b.H && c >= x0 && c < x0+b.W; inside || t.busy[r*width+c] {
				continue
			}
			v := t.shade(t.panel(r, c))
			sum, sum2, n = sum+v, sum2+v*v, n+1
		}
	}
	if n == 0 {
		return 0, 0
	}
	mean = sum / n
	return mean, math.Sqrt(max(0, sum2/n-mean*mean))
}
