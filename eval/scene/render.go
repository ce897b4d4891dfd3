package scene

import (
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a rendered picture and what is really in it.
type Capture struct {
	Image *image.RGBA
	Label eval.CaptureLabel // its Capture field is empty until the picture has a name
	Spec  Spec
}

// Encode writes the picture as JPEG or PNG, as its Spec says.
func (c *Capture) Encode(w io.Writer) error {
	if q := c.Spec.Output.JPEGQuality; q > 0 {
		if err := jpeg.Encode(w, c.Image, &jpeg.Options{Quality: q}); err != nil {
			return fmt.Errorf("encoding JPEG: %w", err)
		}
		return nil
	}
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := e.Encode(w, c.Image); err != nil {
		return fmt.Errorf("encoding PNG: %w", err)
	}
	return nil
}

// Ext is the file name extension of what Encode writes, with its dot.
func (c *Capture) Ext() string {
	if c.Spec.Output.JPEGQuality > 0 {
		return ".jpg"
	}
	return ".png"
}

// Render makes the capture a Spec describes. It returns an error for a Spec that makes no sense and when ctx ends.
func Render(ctx context.Context, s Spec) (*Capture, error) {
	if err := s.check(); err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	pings := track(&s)
	cast := newCast(&s)
	swaths, err := cast.cast(ctx, pings)
	if err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	var sides [2]*drawn
	// first is what the sonar saw; still leaves the boat's heave out, so that it holds relief alone.
	var first, still [2][]float64
	for side, w := range swaths {
		if w == nil {
			continue
		}
		beamBlur(w, &s)
		pulseBlur(w, float32(s.Sonar.PulseBlur))
		d := drawSide(w, &s, pings, side)
		sign := float64(2*side - 1)
		for _, p := range pings {
			first[side] = append(first[side], cast.ground.firstReturn(p.y, p.h, sign))
			still[side] = append(still[side], cast.ground.firstReturn(p.y, s.AltitudeM, sign))
		}
		if s.Display.SlantCorrected {
			d = correct(d, &s, first[side])
		}
		sides[side] = d
	}
	screen, err := paintScreen(&s, sides)
	if err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	t := newTruth(&s, cast.things, sides)
	l := placer{spec: &s}
	var img *image.RGBA
	img, l.warp = finish(screen, &s)
	l.bounds = img.Bounds()
	label := eval.CaptureLabel{By: "scene", RangeM: s.RangeM, Palette: s.Display.Palette}
	panel := detect.Box{X: s.PanelX, Y: s.PanelY, W: s.PortPx + s.StarboardPx, H: s.Rows}
	if b, ok := l.clip(panel, 0); ok {
		label.Panel = &b
	}
	label.Nadir = l.profile(pings, func(int) float64 { return float64(s.PortPx) })
	side := func(i int, sign float64) []detect.RowX {
		if first[i] == nil {
			return nil
		}
		return l.profile(pings, func(r int) float64 {
			if s.Display.SlantCorrected {
				return float64(s.PortPx)
			}
			return float64(s.PortPx) + sign*first[i][r]/s.PixelM()
		})
	}
	label.FirstReturn = detect.FirstReturn{Port: side(portSide, -1), Starboard: side(starboardSide, 1)}
	label.Marks = l.marks(t.marks())
	label.Regions = l.regions(t.regions(cast.fieldOf, len(s.Fields)))
	label.Humps = l.humps(still)
	return &Capture{Image: img, Label: label, Spec: s}, nil
}

// check refuses what can't be rendered.
func (s *Spec) check() error {
	switch {
	case s.ScreenW < 16 || s.ScreenH < 16 || s.ScreenW > 8192 || s.ScreenH > 8192:
		return fmt.Errorf("screen of %d × %d pixels: want 16 to 8192 each", s.ScreenW, s.ScreenH)
	case s.PortPx < 0 || s.StarboardPx < 0 || s.PortPx+s.StarboardPx < 8:
		return fmt.Errorf("sides of %d and %d pixels: want 8 or more together", s.PortPx, s.StarboardPx)
	case s.PanelX < 0 || s.PanelY < 0 || s.PanelX+s.PortPx+s.StarboardPx > s.ScreenW || s.PanelY+s.Rows > s.ScreenH:
		return fmt.Errorf("panel at %d, %d does not fit the screen", s.PanelX, s.PanelY)
	case s.Pings < 1 || s.Pings > s.Rows:
		return fmt.Errorf("%d pings for %d rows: want 1 to the rows of the panel", s.Pings, s.Rows)
	case !(s.RangeM > 0) || !(s.AltitudeM > 0) || !(s.SpeedMps > 0) || !(s.PingHz > 0):
		return fmt.Errorf("range %g m, altitude %g m, speed %g m/s and %g pings a second must be positive", s.RangeM, s.AltitudeM, s.SpeedMps, s.PingHz)
	case s.AltitudeM >= s.RangeM:
		return fmt.Errorf("altitude %g m leaves no bottom within range %g m", s.AltitudeM, s.RangeM)
	case !(s.Bottom.Reflectivity > 0):
		return fmt.Errorf("bottom reflectivity %g must be positive", s.Bottom.Reflectivity)
	case s.Sonar.Looks < 1 || s.Sonar.Looks > maxLooks:
		return fmt.Errorf("%d looks: want 1 to %d", s.Sonar.Looks, maxLooks)
	case s.Display.Log && !(s.Display.RangeDB > 0):
		return fmt.Errorf("logarithmic display over %g dB: must be positive", s.Display.RangeDB)
	}
	c := s.Output
	if c.CropW > 0 && (c.CropX < 0 || c.CropY < 0 || c.CropH < 1 || c.CropX+c.CropW > s.ScreenW || c.CropY+c.CropH > s.ScreenH) {
		return fmt.Errorf("crop of %d × %d at %d, %d does not fit the screen", c.CropW, c.CropH, c.CropX, c.CropY)
	}
	return nil
}

// cast is the marcher with what its numbers mean.
type castList struct {
	*marcher
	things  []thing
	fieldOf []int
}

// newCast numbers everything in the scene. Number 0 is the bottom.
func newCast(s *Spec) *castList {
	c := &castList{marcher: &marcher{spec: s, ground: newTerrain(s), ridgeID: 1, ds: s.PixelM()}}
	c.patch = newFractal(uint64(s.Seed)*17+streamPatch, max(0.1, s.Bottom.PatchM))
	field := -1
	add := func(t thing) uint16 {
		c.things = append(c.things, t)
		c.fieldOf = append(c.fieldOf, field)
		return uint16(len(c.things) - 1)
	}
	add(thing{})
	for _, r := range s.Ridges {
		add(thing{class: detect.RaisedStructure, kind: "ridge", heightM: r.HeightM, dimFlank: true, relief: true})
	}
	for _, h := range s.Humps {
		add(thing{class: detect.RaisedStructure, kind: "hump", heightM: h.HeightM, relief: true})
	}
	c.lastRelief = uint16(len(c.things) - 1)
	for i, w := range s.Weeds {
		c.solids = append(c.solids, weedSolid(w, uint64(s.Seed)*7+uint64(i)*streamWeed*131))
	}
	rock := func(r Rock) thing {
		return thing{class: detect.BottomObject, kind: "rock", heightM: r.HeightM, dimFlank: true}
	}
	for _, r := range s.Rocks {
		c.solids = append(c.solids, rockSolid(r, add(rock(r))))
	}
	for i, f := range s.Fields {
		field = i
		small := add(thing{class: detect.Clutter, kind: "rock-field", dimFlank: true, field: true})
		for _, r := range f.Rocks {
			id := small
			if r.HeightM >= f.StandOutM {
				id = add(rock(r))
			}
			c.solids = append(c.solids, rockSolid(r, id))
		}
	}
	field = -1
	for _, t := range s.Timber {
		high := 2 * t.RadiusM
		for _, b := range t.Branches {
			high = max(high, t.RadiusM+b.RiseM+b.RadiusM)
		}
		c.solids = append(c.solids, timberSolids(t, add(thing{class: detect.BottomObject, kind: "timber", heightM: high, dimFlank: true}))...)
	}
	for _, b := range s.Structures {
		c.solids = append(c.solids, structureSolid(b, add(thing{class: detect.RaisedStructure, kind: b.Shape, heightM: b.HeightM, dimFlank: true})))
	}
	schools := map[int]uint16{}
	for _, f := range s.Fish {
		id, known := schools[f.School]
		if f.School == 0 || !known {
			kind := "fish"
			if f.School > 0 {
				kind = "school"
			}
			id = add(thing{class: detect.SuspendedTarget, kind: kind, heightM: f.ThickM, offBottomM: f.OffBottomM})
			if f.School > 0 {
				schools[f.School] = id
			}
		} else {
			// A school reaches from its lowest underside to its highest top.
			t := &c.things[id]
			top := max(t.offBottomM+t.heightM, f.OffBottomM+f.ThickM)
			t.offBottomM = min(t.offBottomM, f.OffBottomM)
			t.heightM = top - t.offBottomM
		}
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		c.fish = append(c.fish, floating{
			Fish: f, id: id, sin: sin, cos: cos,
			z:    c.ground.at(f.X, f.Y) + f.OffBottomM + f.ThickM/2,
			extY: math.Hypot(f.LengthM/2*sin, f.WidthM/2*cos),
		})
	}
	return c
}

// placer carries labels from the screen into the picture as stored.
type placer struct {
	spec   *Spec
	warp   warp
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
