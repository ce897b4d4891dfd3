package setin

import (
	"image"
	"math"
	"math/rand/v2"

	"github.com/disintegration/imaging"

	"shadowgap/detect"
	"shadowgap/eval"
)

// port and starboard as indices and as signs of the way outward.
const (
	portSide, starboardSide = 0, 1
)

func outward(side int) float64 { return float64(2*side - 1) }

func sideOf(side int) detect.Side {
	if side == portSide {
		return detect.Port
	}
	return detect.Starboard
}

// view is a picture as it is shown: changed in size and place, with its labels and its geometry moved along.
type view struct {
	*dice
	img   *image.NRGBA
	w, h  int
	path  *colourPath
	label eval.CaptureLabel
	sides [2]bool // in view
	// nadir is the x of the nadir, first the x of the first return of each side, row by row; NaN where unknown. Both may lie
	// outside the picture.
	nadir []float64
	first [2][]float64
	// aspect is how much longer a round thing is drawn along the track than across.
	aspect float64
	// fill is the part of the bottom's echo that shows inside a shadow.
	fill float64
	// beam and pulse are how far things are smoothed along and across the track beyond what the speckle shows, pixels; scale is
	// pixels of the view per pixel of the stored picture.
	beam, pulse, scale float64
}

type dice struct{ *rand.Rand }

func (d *dice) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }
func (d *dice) logIn(lo, hi float64) float64 {
	return lo * math.Exp(d.Float64()*math.Log(hi/lo))
}
func (d *dice) chance(p float64) bool { return d.Float64() < p }
func (d *dice) from(lo, hi int) int   { return lo + d.IntN(hi-lo+1) }

// mapping takes pixels of the stored picture to the view: mirrored first, then cut, then scaled.
type mapping struct {
	size         image.Point // of the stored picture
	flip, mirror bool
	cut          image.Rectangle // in the mirrored picture
	scale        float64
}

func (m *mapping) x(x float64) float64 {
	if m.mirror {
		x = float64(m.size.X-1) - x
	}
	return (x-float64(m.cut.Min.X)+0.5)*m.scale - 0.5
}

func (m *mapping) row(y float64) float64 {
	if m.flip {
		y = float64(m.size.Y-1) - y
	}
	return (y-float64(m.cut.Min.Y)+0.5)*m.scale - 0.5
}

// box moves a box and clips it to the view; part is how much of its area is left.
func (m *mapping) box(b detect.Box) (out detect.Box, part float64) {
	x0, x1 := m.x(float64(b.X)-0.5), m.x(float64(b.X+b.W)-0.5)
	y0, y1 := m.row(float64(b.Y)-0.5), m.row(float64(b.Y+b.H)-0.5)
	x0, x1, y0, y1 = min(x0, x1)+0.5, max(x0, x1)+0.5, min(y0, y1)+0.5, max(y0, y1)+0.5
	end := m.end()
	all := (x1 - x0) * (y1 - y0)
	x0, y0, x1, y1 = max(0, x0), max(0, y0), min(float64(end.X), x1), min(float64(end.Y), y1)
	if x1 <= x0 || y1 <= y0 {
		return detect.Box{}, 0
	}
	r := image.Rect(int(math.Round(x0)), int(math.Round(y0)), int(math.Round(x1)), int(math.Round(y1)))
	if r.Empty() {
		return detect.Box{}, 0
	}
	return detect.BoxOf(r), (x1 - x0) * (y1 - y0) / all
}

// end is the size of the view.
func (m *mapping) end() image.Point {
	return image.Pt(int(math.Round(float64(m.cut.Dx())*m.scale)), int(math.Round(float64(m.cut.Dy())*m.scale)))
}

// show draws how a picture is shown.
func show(d *dice, p *picture) *view {
	size := p.img.Bounds().Size()
	m := mapping{size: size, flip: d.chance(0.5), mirror: d.chance(0.5)}
	small := min(size.X, size.Y) <= 256
	least := 0.5
	if small {
		least = 0.8
	}
	wide, high := size.X, int(float64(size.Y)*d.in(least, 1))
	if small || d.chance(0.5) {
		wide = int(float64(size.X) * d.in(least, 1))
	}
	at := image.Pt(d.from(0, size.X-wide), d.from(0, size.Y-high))
	m.cut = image.Rectangle{Min: at, Max: at.Add(image.Pt(wide, high))}
	m.scale = d.logIn(0.6, 1.6)
	if small {
		m.scale = max(m.scale, 180/float64(min(wide, high)))
	}
	img := p.img
	if m.mirror {
		img = imaging.FlipH(img)
	}
	if m.flip {
		img = imaging.FlipV(img)
	}
	img = imaging.Crop(img, m.cut)
	end := m.end()
	filter := [...]imaging.ResampleFilter{imaging.Linear, imaging.CatmullRom, imaging.Box}[d.IntN(3)]
	if m.scale > 1 {
		filter = [...]imaging.ResampleFilter{imaging.Linear, imaging.CatmullRom}[d.IntN(2)]
	}
	img = imaging.Resize(img, end.X, end.Y, filter)
	v := &view{dice: d, img: img, w: end.X, h: end.Y, path: p.path, aspect: d.logIn(0.8, 2), scale: m.scale}
	v.beam, v.pulse = m.scale*d.in(0.4, 1.2), m.scale*d.in(0.1, 0.5)
	v.moveProfiles(&m, &p.label)
	v.moveLabel(&m, p)
	return v
}

// moveProfiles fills the geometry row by row and draws what is not in view.
func (v *view) moveProfiles(m *mapping, l *eval.CaptureLabel) {
	v.nadir = v.profile(m, l.Nadir)
	first := [2][]detect.RowX{l.FirstReturn.Port, l.FirstReturn.Starboard}
	side := l.Side
	if m.mirror {
		first[0], first[1] = first[1], first[0]
		switch side {
		case detect.Port:
			side = detect.Starboard
		case detect.Starboard:
			side = detect.Port
		}
	}
	for i := range first {
		v.first[i] = v.profile(m, first[i])
	}
	v.sides = [2]bool{side != detect.Starboard, side != detect.Port}
	if len(l.Nadir) > 0 {
		return
	}
	// The nadir lies beyond the near edge; with the first return in view, as far beyond it as the water is deep.
	i, near := portSide, float64(v.w)
	if !v.sides[portSide] {
		i, near = starboardSide, 0
	}
	out := outward(i)
	if len(first[i]) == 0 {
		range0 := v.logIn(40, 700)
		deep := range0 * v.in(0.3, 0.97)
		for y := range v.h {
			v.nadir[y] = near - out*range0
			v.first[i][y] = v.nadir[y] + out*deep
		}
		return
	}
	deepest := 0.0 // water in view
	for _, x := range v.first[i] {
		if !math.IsNaN(x) {
			deepest = max(deepest, out*(x-near))
		}
	}
	beyond := deepest*v.in(0.02, 0.5) + v.in(2, 40)
	for y := range v.h {
		v.nadir[y] = near - out*beyond
	}
}

// profile is a labelled profile at every row of the view, NaN outside of it.
func (v *view) profile(m *mapping, p []detect.RowX) []float64 {
	out := make([]float64, v.h)
	for i := range out {
		out[i] = math.NaN()
	}
	for i := 1; i < len(p); i++ {
		a, b := [2]float64{m.row(p[i-1][0]), m.x(p[i-1][1])}, [2]float64{m.row(p[i][0]), m.x(p[i][1])}
		if a[0] > b[0] {
			a, b = b, a
		}
		for y := max(0, int(math.Ceil(a[0]))); y < v.h && float64(y) <= b[0]; y++ {
			out[y] = a[1] + (b[1]-a[1])*(float64(y)-a[0])/max(1e-9, b[0]-a[0])
		}
	}
	return out
}

const cutOff = "cut-off" // kind of a region that holds what is left of a labelled thing at the edge

// moveAreas moves what is labelled beside the marks.
func (v *view) moveAreas(m *mapping, l *eval.CaptureLabel) {
	for _, g := range l.Regions {
		if b, part := m.box(g.Box); part > 0 {
			v.label.Regions = append(v.label.Regions, detect.Region{Kind: g.Kind, Box: b})
		}
	}
	for _, f := range l.Furniture {
		if b, part := m.box(f.Box); part > 0 {
			v.label.Furniture = append(v.label.Furniture, eval.FurnitureLabel{Kind: f.Kind, Box: b})
		}
	}
	for _, r := range l.LostRows {
		if b, part := m.box(detect.Box{X: 0, Y: r[0], W: m.size.X, H: r[1] - r[0]}); part > 0 {
			v.label.LostRows = append(v.label.LostRows, [2]int{b.Y, b.Y + b.H})
		}
	}
}

// moveLabel moves the label of a picture along with it. What is left of a thing at the edge is a region.
func (v *view) moveLabel(m *mapping, p *picture) {
	l := &p.label
	v.label = eval.CaptureLabel{Capture: p.name, By: "scene", Panel: &detect.Box{W: v.w, H: v.h}, Humps: [][2]int{},
		Marks: []eval.MarkLabel{}}
	box := func(b *detect.Box) *detect.Box {
		if b == nil {
			return nil
		}
		c, part := m.box(*b)
		switch {
		case part == 0:
			return nil
		case part < 1.0/3:
			v.label.Regions = append(v.label.Regions, detect.Region{Kind: cutOff, Box: c})
			return nil
		}
		return &c
	}
	for _, k := range l.Marks {
		k.Highlight, k.Shadow = box(k.Highlight), box(k.Shadow)
		if m.mirror && k.Side != "" {
			k.Side = map[detect.Side]detect.Side{detect.Port: detect.Starboard, detect.Starboard: detect.Port}[k.Side]
		}
		if k.GapPx != nil {
			gap := *k.GapPx * m.scale
			k.GapPx = &gap
		}
		if k.Highlight != nil || k.Shadow != nil {
			v.label.Marks = append(v.label.Marks, k)
		}
	}
	v.moveAreas(m, l)
	if len(l.Nadir) > 0 {
		v.label.Nadir = v.points(v.nadir)
	}
	if len(l.FirstReturn.Port)+len(l.FirstReturn.Starboard) > 0 {
		if v.sides[portSide] {
			v.label.FirstReturn.Port = v.points(v.first[portSide])
		}
		if v.sides[starboardSide] {
			v.label.FirstReturn.Starboard = v.points(v.first[starboardSide])
		}
	}
	if len(v.label.Nadir) == 0 {
		if i, one := v.onlySide(); one {
			v.label.Side = sideOf(i)
		}
	}
}

// onlySide is the side in view where the nadir is not.
func (v *view) onlySide() (side int, ok bool) {
	if v.sides[portSide] != v.sides[starboardSide] {
		if v.sides[starboardSide] {
			return starboardSide, true
		}
		return portSide, true
	}
	mid := v.nadir[v.h/2]
	switch {
	case mid < 0:
		return starboardSide, true
	case mid > float64(v.w-1):
		return portSide, true
	}
	return 0, false
}

// points are a profile's places in view, at most 8 rows apart.
func (v *view) points(p []float64) []detect.RowX {
	var out []detect.RowX
	for y := range p {
		if (y%8 == 0 || y == v.h-1) && p[y] >= 0 && p[y] <= float64(v.w-1) {
			out = append(out, detect.RowX{float64(y), math.Round(p[y]*10) / 10})
		}
	}
	return out
}

// side is the side of the swath that a pixel lies on.
func (v *view) side(x, y int) int {
	if float64(x) < v.nadir[y] {
		return portSide
	}
	return starboardSide
}

// altitude is in pixels of slant range, NaN where unknown.
func (v *view) altitude(side, y int) float64 { return math.Abs(v.first[side][y] - v.nadir[y]) }
