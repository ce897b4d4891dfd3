package rayworld

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// cell is one slant bin of one ping.
type cell struct{ p, b int32 }

// traces are where one thing shows in the record before speckle: its own echo, and what it dims.
type traces struct {
	light, dark []cell
	gain        []float32 // echo over the bare bottom, for each cell of light
}

// truth finds which bins each thing brightened or darkened by enough to matter over the noise floor.
func (sc *scene) truth() []traces {
	out := make([]traces, len(sc.things))
	if len(out) == 0 {
		return out
	}
	for _, sw := range sc.sides {
		for p := range sc.pings {
			for b := range sc.bins {
				i := p*sc.bins + b
				g, k := sw.giver[i], sw.blocker[i]
				if g <= 0 && k <= 0 {
					continue
				}
				floor := float32(sc.noise * (0.03 + math.Pow(float64(b)/float64(sc.bins), sc.noisePower)))
				ratio := (sw.full[i] + floor) / (sw.bare[i] + floor)
				at := cell{int32(p), int32(b)}
				switch {
				case g > 0 && ratio > 1.3 && sw.given[i] > 0.2*sw.full[i]:
					out[g-1].light = append(out[g-1].light, at)
					out[g-1].gain = append(out[g-1].gain, sw.full[i]-sw.bare[i])
				case k > 0 && ratio < 0.7:
					out[k-1].dark = append(out[k-1].dark, at)
				}
			}
		}
	}
	for i := range out {
		out[i].keepBright()
	}
	return out
}

// keepBright drops cells with little of what the thing's bright ones give: the smear of a steep face laid over the bottom before it, which
// nobody would take into the box.
func (t *traces) keepBright() {
	if len(t.gain) == 0 {
		return
	}
	sorted := slices.Sorted(slices.Values(t.gain))
	limit := 0.16 * sorted[len(sorted)*85/100]
	kept := t.light[:0]
	for i, c := range t.light {
		if t.gain[i] >= limit {
			kept = append(kept, c)
		}
	}
	t.light = kept
}

// extent is the box of cells in pings and bins, without a few strays.
func extent(cs []cell) (p0, p1, b0, b1 int) {
	ps, bs := make([]int32, len(cs)), make([]int32, len(cs))
	for i, c := range cs {
		ps[i], bs[i] = c.p, c.b
	}
	slices.Sort(ps)
	slices.Sort(bs)
	cut := 0
	if len(cs) >= 25 {
		cut = max(len(cs)/40, 1)
	}
	last := len(cs) - 1 - cut
	return int(ps[cut]), int(ps[last]) + 1, int(bs[cut]), int(bs[last]) + 1
}

// boxOf is the extent of cells in pixels of the picture, cut to the panel; nil where it lies outside.
func (sc *scene) boxOf(v view, side int, cs []cell) *image.Rectangle {
	if len(cs) == 0 {
		return nil
	}
	p0, p1, b0, b1 := extent(cs)
	xa, xb := v.px(sc.column(side, float64(b0))), v.px(sc.column(side, float64(b1)))
	if xa > xb {
		xa, xb = xb, xa
	}
	r := image.Rect(int(math.Floor(xa+0.3)), int(math.Floor(v.py(float64(p0), sc.pings)+0.3)),
		int(math.Ceil(xb-0.3)), int(math.Ceil(v.py(float64(p1), sc.pings)-0.3)))
	r.Max.X, r.Max.Y = max(r.Max.X, r.Min.X+1), max(r.Max.Y, r.Min.Y+1)
	r = r.Intersect(v.rect())
	if r.Empty() {
		return nil
	}
	return &r
}

// lit reads luminance, 0..255, turned round for inverted palettes so that echo is bright.
func lit(img image.Image, inverted bool) (lum []float32, w int) {
	b := img.Bounds()
	w = b.Dx()
	lum = make([]float32, w*b.Dy())
	for y := range b.Dy() {
		row := lum[y*w : (y+1)*w]
		switch m := img.(type) {
		case *image.YCbCr:
			for x := range row {
				row[x] = float32(m.Y[y*m.YStride+x])
			}
		case *image.RGBA:
			p := m.Pix[y*m.Stride:]
			for x := range row {
				row[x] = 0.299*float32(p[4*x]) + 0.587*float32(p[4*x+1]) + 0.114*float32(p[4*x+2])
			}
		}
		if inverted {
			for x := range row {
				row[x] = 255 - row[x]
			}
		}
	}
	return lum, w
}

// gauge compares a thing's pixels with the same shape laid elsewhere nearby.
type gauge struct {
	sc    *scene
	v     view
	lum   []float32
	w     int
	boxes []image.Rectangle
}

// standing is how the cells of a thing differ from the same shape laid nearby.
type standing struct {
	levels, spreads float64 // grey levels, and spreads of such means
	grains          float64 // spreads of single pixels nearby
	ok              bool    // false where there are no free surroundings
}

// stand measures a thing's cells against their surroundings.
func (g *gauge) stand(side int, cs []cell, box image.Rectangle) standing {
	step := max(len(cs)/300, 1)
	var pts []image.Point
	for i := 0; i < len(cs); i += step {
		pts = append(pts, image.Pt(int(g.v.px(g.sc.column(side, float64(cs[i].b)+0.5))), int(g.v.py(float64(cs[i].p)+0.5, g.sc.pings))))
	}
	var square, pixels float64
	mean := func(dx, dy int) (float64, bool) {
		var s, sq float64
		n := 0
		for _, p := range pts {
			q := p.Add(image.Pt(dx, dy))
			if q.In(g.v.rect()) {
				l := float64(g.lum[q.Y*g.w+q.X])
				s, sq = s+l, sq+l*l
				n++
			}
		}
		if dx != 0 || dy != 0 {
			m := s / float64(max(n, 1))
			square, pixels = square+sq-m*m*float64(n), pixels+float64(n)
		}
		return s / float64(max(n, 1)), n > 0 && n*10 >= len(pts)*9
	}
	own, in := mean(0, 0)
	if !in {
		return standing{}
	}
	var around []float64
	for try := range 160 {
		if len(around) == 36 {
			break
		}
		// Mostly along track, where the mean echo changes least.
		reachY := box.Dy()*3/2 + 8 + try/3
		reachX := min(box.Dx()/2, 12) + 2
		if try > 80 && len(around) < 12 {
			reachX = box.Dx() + 4
		}
		dx := g.sc.d.intIn(-reachX, reachX)
		dy := g.sc.d.intIn(-reachY, reachY)
		moved := box.Add(image.Pt(dx, dy))
		free := true
		for _, o := range g.boxes {
			if moved.Overlaps(o) {
				free = false
				break
			}
		}
		if !free {
			continue
		}
		if m, in := mean(dx, dy); in {
			around = append(around, m)
		}
	}
	if len(around) < 6 {
		return standing{}
	}
	var sum, sq float64
	for _, m := range around {
		sum += m
	}
	avg := sum / float64(len(around))
	for _, m := range around {
		sq += (m - avg) * (m - avg)
	}
	sd := math.Sqrt(sq/float64(len(around))) + 1
	return standing{levels: own - avg, spreads: (own - avg) / sd, grains: (own - avg) / (math.Sqrt(square/max(pixels, 1)) + 1), ok: true}
}

// label writes down what the finished picture shows.
func (sc *scene) label(v view, r *recording, scr *screen, img image.Image, found []traces) eval.CaptureLabel {
	panel := detect.BoxOf(v.rect())
	l := eval.CaptureLabel{
		By: "scene", RangeM: sc.rangeM, Panel: &panel, Palette: scr.palette, Marks: []eval.MarkLabel{}, Humps: [][2]int{},
		Furniture: scr.furniture, DarkIsStrong: scr.inverted,
	}
	if scr.inverted {
		l.Palette += "-inverted"
	}
	if v.side >= 0 {
		l.Side = sideName(v.side)
	}
	for _, s := range r.lostRows {
		a, b := int(v.py(float64(s[0]), sc.pings)), int(v.py(float64(s[1]), sc.pings))
		if b > a {
			l.LostRows = append(l.LostRows, [2]int{a, b})
		}
	}
	sc.lines(v, &l)
	for _, s := range sc.rockFields {
		if box := sc.region(v, s); box != nil {
			l.Regions = append(l.Regions, detect.Region{Kind: "rock-field", Box: detect.BoxOf(*box)})
		}
	}

	lum, w := lit(img, scr.inverted)
	g := &gauge{sc: sc, v: v, lum: lum, w: w}
	light, dark := make([]*image.Rectangle, len(found)), make([]*image.Rectangle, len(found))
	for i := range found {
		light[i], dark[i] = sc.boxOf(v, sc.things[i].side, found[i].light), sc.boxOf(v, sc.things[i].side, found[i].dark)
		for _, b := range []*image.Rectangle{light[i], dark[i]} {
			if b != nil {
				g.boxes = append(g.boxes, *b)
			}
		}
	}
	for i := range found {
		if v.side >= 0 && v.side != sc.things[i].side || light[i] == nil {
			continue
		}
		if m := g.mark(sc.things[i], found[i], *light[i], dark[i], scr.furniture); m != nil {
			l.Marks = append(l.Marks, *m)
		}
	}
	return l
}

func sideName(side int) detect.Side {
	if side == 0 {
		return detect.Port
	}
	return detect.Starboard
}

// The limits of what a careful person would call sure, set by looking at drawn pictures with the boxes on them.
const (
	goneSpreads   = 1.2 // stands out by less than this in both parts: left out
	shadowSpreads = 1.6 // a shadow fainter than this is none
	sureSpreads   = 4.2 // highlight alone
	sureLevels    = 18.0
	sureGrains    = 1.05
	schoolGrains  = 1.6 // the same for what lies scattered over its box
	pairSpreads   = 2.8 // highlight and shadow together
	pairLevels    = 10.0
	darkSpreads   = 5.0 // shadow so plain that a faint highlight before it is enough
	darkLevels    = 25.0
	surePx        = 4
	maxLyingGapPx = 3.0
)

// sureOf tells whether a careful person would surely see the thing.
func sureOf(up, down standing, shadow, scattered bool) bool {
	if !up.ok {
		return false
	}
	grains := sureGrains
	if scattered {
		grains = schoolGrains
	}
	alone := up.spreads >= sureSpreads && up.levels >= sureLevels && up.grains >= grains
	pair := up.spreads >= pairSpreads && down.spreads >= pairSpreads && up.levels >= pairLevels && down.levels >= pairLevels
	plain := up.spreads >= goneSpreads && up.levels > 4 && down.spreads >= darkSpreads && down.levels >= darkLevels
	return alone || shadow && (pair || plain)
}

// whole tells whether a thing is large enough, clear of what is drawn over the panel, and not cut by its rim.
func (g *gauge) whole(light image.Rectangle, dark *image.Rectangle, over []eval.FurnitureLabel) bool {
	both := light
	if dark != nil {
		both = both.Union(*dark)
	}
	small := max(light.Dx(), light.Dy()) < surePx && (dark == nil || max(both.Dx(), both.Dy()) < 2*surePx)
	if small || light.Dx()*light.Dy() < 2*surePx {
		return false
	}
	for _, f := range over {
		if in := f.Box.Rect().Intersect(light); in.Dx()*in.Dy()*4 > light.Dx()*light.Dy() {
			return false
		}
	}
	rim := g.v.rect().Inset(2)
	return light.Min.X >= rim.Min.X && light.Max.X <= rim.Max.X
}

// mark measures one thing in the picture; nil where it can't be seen.
func (g *gauge) mark(t thing, tr traces, light image.Rectangle, dark *image.Rectangle, over []eval.FurnitureLabel) *eval.MarkLabel {
	up := g.stand(t.side, tr.light, light)
	var down standing
	if dark != nil {
		down = g.stand(t.side, tr.dark, *dark)
		down.levels, down.spreads, down.grains = -down.levels, -down.spreads, -down.grains
	}
	if up.ok && up.spreads < goneSpreads && down.spreads < goneSpreads {
		return nil
	}
	if dark != nil && (down.ok && down.spreads < shadowSpreads || dark.Dx() < 2) {
		dark = nil
	}
	sure := sureOf(up, down, dark != nil, t.kind == "school") && g.whole(light, dark, over)
	h := detect.BoxOf(light)
	m := &eval.MarkLabel{Class: t.class, Kind: t.kind, Side: sideName(t.side), Highlight: &h, Sure: &sure}
	if t.heightM > 0 {
		m.HeightM = &t.heightM
	}
	if dark != nil {
		b := detect.BoxOf(*dark)
		m.Shadow = &b
	}
	if t.class == detect.SuspendedTarget {
		m.OffBottomM = &t.offBottomM
	}
	if dark == nil {
		return m
	}
	gap := float64(dark.Min.X - light.Max.X)
	if t.side == 0 {
		gap = float64(light.Min.X - dark.Max.X)
	}
	switch {
	case t.class == detect.SuspendedTarget:
		// One fish that touches its shadow can't be told from something that lies there.
		sure = sure && (gap >= 1 || t.kind == "school")
		gap = max(gap, 0)
		m.GapPx = &gap
	case gap > maxLyingGapPx:
		// A high thing near the nadir is laid over the water column, away from its shadow, and can't be told from something that hangs.
		sure = false
	}
	return m
}

// lines writes nadir and first returns every 8 rows of the picture.
func (sc *scene) lines(v view, l *eval.CaptureLabel) {
	for y := v.y; y < v.y+v.h; y += 8 {
		p := min(int((float64(y-v.y)+0.5)*float64(sc.pings)/float64(v.h)), sc.pings-1)
		if v.side < 0 {
			l.Nadir = append(l.Nadir, detect.RowX{float64(y), v.px(float64(sc.bins))})
		}
		for side, sw := range sc.sides {
			if v.side >= 0 && v.side != side {
				continue
			}
			x := v.px(sc.column(side, sw.first[p]))
			if x < float64(v.x) || x > float64(v.x+v.w-1) {
				continue
			}
			if side == 0 {
				l.FirstReturn.Port = append(l.FirstReturn.Port, detect.RowX{float64(y), x})
			} else {
				l.FirstReturn.Starboard = append(l.FirstReturn.Starboard, detect.RowX{float64(y), x})
			}
		}
	}
}

func (sc *scene) region(v view, s spot) *image.Rectangle {
	if v.side >= 0 && v.side != s.side {
		return nil
	}
	xa, xb := v.px(sc.column(s.side, s.b0)), v.px(sc.column(s.side, s.b1))
	if xa > xb {
		xa, xb = xb, xa
	}
	r := image.Rect(int(xa), int(v.py(s.p0, sc.pings)), int(xb), int(v.py(s.p1, sc.pings))).Intersect(v.rect())
	if r.Empty() {
		return nil
	}
	return &r
}
