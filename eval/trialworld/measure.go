package trialworld

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// meter measures contrast in the picture.
type meter struct {
	w     *world
	pic   *picture
	taken []detect.Box
	over  []bool // pixels under furniture
}

func newMeter(w *world, pic *picture, lists ...[]*glimpse) *meter {
	m := &meter{w: w, pic: pic, over: make([]bool, pic.w*pic.h)}
	for _, f := range pic.furniture {
		for y := f.Box.Y; y < f.Box.Y+f.Box.H; y++ {
			for x := f.Box.X; x < f.Box.X+f.Box.W; x++ {
				m.over[y*pic.w+x] = true
			}
		}
	}
	for _, list := range lists {
		for _, g := range list {
			if g != nil {
				m.taken = append(m.taken, g.box)
			}
		}
	}
	return m
}

// mean is the brightness of a glimpse's pixels moved by so much, those under furniture left out; not ok where these are half of them.
func (m *meter) mean(g *glimpse, by image.Point) (mean float64, ok bool) {
	var sum float64
	var n int
	for _, p := range g.pixels {
		at := (p.Y+by.Y)*m.pic.w + p.X + by.X
		if !m.over[at] {
			sum += float64(m.pic.lum[at])
			n++
		}
	}
	return sum / float64(max(n, 1)), 2*n > len(g.pixels)
}

// contrast is by how much a glimpse is brighter than the same pixels moved to places around it, in grey values and in those places'
// spread.
func (m *meter) contrast(g *glimpse, side *seabed) (grey, spreads float64) {
	mean, ok := m.mean(g, image.Point{})
	if !ok {
		return 0, 0
	}
	box := g.box.Rect()
	inWater := m.inWater(box, side)
	var around []float64
	for _, ky := range []float64{-3.4, -2.3, -1.3, -0.7, 0, 0.7, 1.3, 2.3, 3.4} {
		for _, kx := range []float64{-2.6, -1.4, -0.7, 0, 0.7, 1.4, 2.6} {
			by := image.Pt(int(math.Round(kx*float64(box.Dx()+1))), int(math.Round(ky*float64(box.Dy()+1))))
			at := box.Add(by)
			if !at.In(m.pic.panel.Rect()) || !m.allIn(at, side, inWater) || m.isTaken(at) {
				continue
			}
			if there, ok := m.mean(g, by); ok {
				around = append(around, there)
			}
		}
	}
	if len(around) < 5 {
		return m.againstRim(g, mean)
	}
	slices.Sort(around)
	mid := around[len(around)/2]
	// Half of what the middle two thirds span is a normal spread, and a patch or an edge among the places doesn't widen it.
	sd := (around[len(around)*5/6] - around[len(around)/6]) / 2
	return mean - mid, (mean - mid) / math.Max(sd, 3)
}

// againstRim compares a glimpse too large to be moved with the rim round its box; a spread of eight grey values is taken for granted.
func (m *meter) againstRim(g *glimpse, mean float64) (grey, spreads float64) {
	box := g.box.Rect()
	wide := box.Inset(-max(4, min(box.Dx(), box.Dy())/2)).Intersect(m.pic.panel.Rect())
	var sum float64
	var n int
	for y := wide.Min.Y; y < wide.Max.Y; y++ {
		for x := wide.Min.X; x < wide.Max.X; x++ {
			if !m.over[y*m.pic.w+x] && !image.Pt(x, y).In(box) {
				sum += float64(m.pic.lum[y*m.pic.w+x])
				n++
			}
		}
	}
	if n == 0 {
		return 0, 0
	}
	return mean - sum/float64(n), (mean - sum/float64(n)) / 8
}

func (m *meter) isTaken(at image.Rectangle) bool {
	return slices.ContainsFunc(m.taken, func(b detect.Box) bool {
		o := b.Rect().Intersect(at)
		return 5*o.Dx()*o.Dy() > at.Dx()*at.Dy()
	})
}

// allIn tells whether a box lies wholly in the water or wholly past the first return, with a pixel or two to spare.
func (m *meter) allIn(b image.Rectangle, side *seabed, water bool) bool {
	near, far := b.Min.X-2, b.Max.X+2
	for _, x := range []int{near, far} {
		if m.inWater(image.Rect(x, b.Min.Y, x, b.Max.Y), side) != water {
			return false
		}
	}
	return true
}

// inWater tells whether a box's middle lies before the first return of its side.
func (m *meter) inWater(b image.Rectangle, side *seabed) bool {
	p := min(max(int((float64(b.Min.Y+b.Max.Y)/2-m.pic.y0)/m.pic.ky), 0), m.w.pings-1)
	x := m.pic.x0 + m.w.column(side.side, side.first[p]/m.w.binM)*m.pic.kx
	mid := float64(b.Min.X+b.Max.X) / 2
	return (side.side == detect.Port) == (mid > x)
}

// standing is by how much a glimpse stands out of surroundings of some grey, and on how many pixels.
type standing struct {
	grey, spreads, around float64
	pixels                int
}

// look measures a glimpse, in the sense that more is plainer, and gives its box if it shows at all.
func (m *meter) look(g *glimpse, side *seabed, sense float64) (*detect.Box, standing) {
	if g == nil {
		return nil, standing{}
	}
	grey, spreads := m.contrast(g, side)
	mean, _ := m.mean(g, image.Point{})
	s := standing{sense * grey, sense * spreads, mean - grey, g.box.W * g.box.H}
	if s.spreads < seenAtAll {
		return nil, s
	}
	return &g.box, s
}

// stands tells whether a glimpse stands out by so many spreads and is large enough.
func (s standing) stands(b *detect.Box, spreads float64) bool {
	if s.pixels < fewPixels {
		spreads++ // some grain or other looks like it
	}
	return b != nil && s.grey >= math.Max(leastGrey, leastPart*s.around) && s.spreads >= spreads && max(b.W, b.H) >= 4 && b.W*b.H >= 10
}

// mark labels one thing, unless nothing of it shows.
func (m *meter) mark(t *thing, litSeen, darkSeen *glimpse, l *eval.CaptureLabel) (eval.MarkLabel, bool) {
	lit, bright := m.look(litSeen, t.b, 1)
	dark, shade := m.look(darkSeen, t.b, -1)
	if lit == nil && dark == nil {
		return eval.MarkLabel{}, false
	}
	high, off, slant := t.high, math.Max(t.off, 0), t.slant
	mark := eval.MarkLabel{
		Class: t.class, Kind: t.kind, Side: t.b.side, Highlight: lit, Shadow: dark, HeightM: &high, OffBottomM: &off, SlantM: &slant,
	}
	if gap, ok := gapOf(litSeen, darkSeen); ok && t.class == detect.SuspendedTarget && lit != nil && dark != nil {
		px := math.Max(gap*m.pic.kx, 0)
		mark.GapPx = &px
	}
	sure := m.plain(&mark, t.b, bright, shade) && inOrder(&mark) && !covered(lit, dark, l)
	mark.Sure = &sure
	return mark, true
}

// plain tells whether a careful reader would surely call a mark something.
func (m *meter) plain(mark *eval.MarkLabel, side *seabed, bright, shade standing) bool {
	lit, dark := mark.Highlight, mark.Shadow
	both := bright.stands(lit, surePaired) && shade.stands(dark, surePaired) && max(bright.spreads, shade.spreads) >= sureOfPair
	glint := bright.stands(lit, sureGlint)
	switch mark.Class {
	case detect.SuspendedTarget:
		// A glint in the water needs no shadow; one on the bottom without a shadow could be anything.
		// A school's shadows may begin among its fish.
		open := mark.GapPx != nil && *mark.GapPx >= leastGap || mark.Kind == "school"
		return open && both || glint && m.inWater(lit.Rect(), side)
	case detect.RaisedStructure:
		broad := shade.pixels >= plainPixels && shade.grey >= plainDark*shade.around
		return both || glint || shade.stands(dark, sureGlint) || broad && shade.stands(dark, surePaired)
	default:
		return both || glint || shade.stands(dark, sureShadow)
	}
}

// inOrder tells whether a shadow's middle lies farther from the nadir than its highlight's; between the limbs of a tangle it may not.
func inOrder(mark *eval.MarkLabel) bool {
	h, s := mark.Highlight, mark.Shadow
	if h == nil || s == nil {
		return true
	}
	outwards := 2*s.X + s.W - 2*h.X - h.W
	if mark.Side == detect.Port {
		outwards = -outwards
	}
	return outwards > 0
}

// gapOf is the middle gap in bins between highlight and shadow of the pings that show both; not ok where none does.
func gapOf(lit, dark *glimpse) (bins float64, ok bool) {
	if lit == nil || dark == nil {
		return 0, false
	}
	var gaps []int
	for k, l := range lit.reach {
		d := lit.cells.p0 + k - dark.cells.p0
		if d >= 0 && d < len(dark.reach) && l.to > l.from && dark.reach[d].to > dark.reach[d].from {
			gaps = append(gaps, dark.reach[d].from-l.to)
		}
	}
	if len(gaps) == 0 {
		return 0, false
	}
	slices.Sort(gaps)
	return float64(gaps[len(gaps)/2]), true
}

// covered tells whether furniture or lost rows hide a good part of what is to be seen.
func covered(lit, dark *detect.Box, l *eval.CaptureLabel) bool {
	for _, b := range []*detect.Box{lit, dark} {
		if b == nil {
			continue
		}
		var hidden int
		for _, f := range l.Furniture {
			o := f.Box.Rect().Intersect(b.Rect())
			hidden += o.Dx() * o.Dy()
		}
		for _, s := range l.LostRows {
			hidden += b.W * max(min(s[1], b.Y+b.H)-max(s[0], b.Y), 0)
		}
		if 4*hidden > b.W*b.H {
			return true
		}
	}
	return false
}
