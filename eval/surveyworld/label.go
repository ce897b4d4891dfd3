package surveyworld

import (
	"fmt"
	"image"
	"math"
	"sort"

	"shadowgap/detect"
	"shadowgap/eval"
)

// luma is the picture's luminance, turned over where the palette is, so that more echo is always more.
type luma struct {
	w, h int
	v    []float32
	top  float64 // what one pixel in 200 reaches: where the display clips, if it does
}

func newLuma(img *image.RGBA, inverted bool) luma {
	b := img.Bounds()
	l := luma{w: b.Dx(), h: b.Dy(), v: make([]float32, b.Dx()*b.Dy())}
	var count [256]int
	for i := range l.v {
		p := img.Pix[4*i : 4*i+3]
		l.v[i] = 0.299*float32(p[0]) + 0.587*float32(p[1]) + 0.114*float32(p[2])
		if inverted {
			l.v[i] = 255 - l.v[i]
		}
		count[int(l.v[i])]++
	}
	left := len(l.v) / 200
	for v := 255; v >= 0 && left >= 0; v-- {
		l.top, left = float64(v), left-count[v]
	}
	return l
}

// standing is how far a thing's pixels stand from their surroundings: the difference in grey levels and in spreads of like-shaped
// samples, and whether none of those reaches it.
type standing struct {
	levels, spreads float64
	most            bool
}

// shift moves pixels by bins and pings; one that wraps goes on at the first ping after the last.
type shift struct {
	dx, dy int
	wraps  bool
}

// stand compares the mean over a set of pixels with the same set moved about nearby. sign is -1 where the set is looked for as darker.
func (s *swath) stand(l luma, px []int32, t *thing, inWater bool, sign float64) standing {
	b, ok := s.bounds(px)
	if !ok {
		return standing{}
	}
	step := max(len(px)/300, 1)
	var own []int32
	for i := 0; i < len(px); i += step {
		own = append(own, px[i])
	}
	mean, _ := s.sample(l, own, shift{}, false, t.side, inWater)
	var means []float64
	try := func(dx, dy float64) {
		if m, ok := s.sample(l, own, shift{dx: int(dx), dy: int(dy)}, true, t.side, inWater); ok {
			means = append(means, m)
		}
	}
	h, w := float64(b.H)+2, math.Min(float64(b.W), 24)+2
	far := 3.0
	if b.H < 16 {
		far = 7 // speckle makes a small thing's like more often
	}
	for k := 1.0; k <= far; k++ {
		for _, sign := range [...]float64{-1, 1} {
			try(0, sign*k*h)
			try(w*0.7, sign*k*h)
			try(-w*0.7, sign*k*h)
		}
	}
	for k := 1.0; k <= 6 && len(means) < 6; k++ { // long things leave no room along the track
		try(k*w, 0)
		try(-k*w, 0)
	}
	if len(means) < 3 { // of what fills a good part of the picture, the like lies on any ping
		for k := range 24 {
			if m, ok := s.sample(l, own, shift{dy: (k + 1) * s.gridH / 25, wraps: true}, true, t.side, inWater); ok {
				means = append(means, m)
			}
		}
	}
	if len(means) < 3 {
		return standing{}
	}
	sort.Float64s(means)
	mid := means[len(means)/2]
	var sq float64
	for _, m := range means {
		sq += (m - mid) * (m - mid)
	}
	sd := math.Max(math.Sqrt(sq/float64(len(means))), 2.5)
	d := sign * (mean - mid)
	edge := means[len(means)-1]
	if sign < 0 {
		edge = means[0]
	}
	return standing{d, d / sd, sign*(mean-edge) > 0}
}

// sample is the mean luminance over grid pixels moved by some bins and pings; around leaves out those that hold a thing or lie on the other
// side of the nadir or the first return. It fails where too few are left.
func (s *swath) sample(l luma, px []int32, move shift, around bool, side int, inWater bool) (float64, bool) {
	var sum float64
	n := 0
	for _, i := range px {
		x, y := int(i)%s.gridW+move.dx, int(i)/s.gridW+move.dy
		if move.wraps {
			y = (y + s.gridH) % s.gridH
		}
		if x < 0 || y < 0 || x >= s.gridW || y >= s.gridH {
			continue
		}
		if around {
			b, at := s.slant(x)
			if s.touched[y*s.gridW+x] || at != side || (b < s.edge[idx(side)][y]) != inWater {
				continue
			}
		}
		fx, fy := s.x+int((float64(x)+0.5)*s.sx), s.y+int((float64(y)+0.5)*s.sy)
		sum += float64(l.v[min(fy, l.h-1)*l.w+min(fx, l.w-1)])
		n++
	}
	return sum / math.Max(float64(n), 1), n*10 >= len(px)*5
}

// onPicture maps a box of the grid to the picture.
func (s *swath) onPicture(b detect.Box) detect.Box {
	x0, y0 := s.x+int(math.Floor(float64(b.X)*s.sx)), s.y+int(math.Floor(float64(b.Y)*s.sy))
	x1, y1 := s.x+int(math.Ceil(float64(b.X+b.W)*s.sx)), s.y+int(math.Ceil(float64(b.Y+b.H)*s.sy))
	return detect.Box{X: x0, Y: y0, W: min(x1, s.x+s.w) - x0, H: min(y1, s.y+s.h) - y0}
}

// label says what is in the picture as it came out.
func (s *swath) label(seed int64, img *image.RGBA) eval.CaptureLabel {
	out := eval.CaptureLabel{
		Capture: fmt.Sprintf("surveyworld-%d.png", seed), By: "scene", RangeM: s.rangeM, Palette: s.colours,
		DarkIsStrong: s.inverted, Panel: &detect.Box{X: s.x, Y: s.y, W: s.w, H: s.h},
		Marks: []eval.MarkLabel{}, Humps: [][2]int{}, Furniture: s.furniture,
	}
	side := s.oneSide()
	if side != 0 {
		out.Side = sideOf(side)
	}
	for row := s.y; row < s.y+s.h; row += 8 {
		y := min(int(float64(row-s.y)/s.sy), s.gridH-1)
		if s.nadir >= 0 && s.nadir <= s.gridW {
			out.Nadir = append(out.Nadir, detect.RowX{float64(row), float64(s.x) + float64(s.nadir)*s.sx})
		}
		for _, k := range []int{-1, 1} {
			at := s.col(s.altitude[idx(k)][y], k)
			if side == -k || at < 0 || at > float64(s.gridW) || (at < float64(s.nadir)) != (k < 0) {
				continue
			}
			p := detect.RowX{float64(row), float64(s.x) + at*s.sx}
			if k < 0 {
				out.FirstReturn.Port = append(out.FirstReturn.Port, p)
			} else {
				out.FirstReturn.Starboard = append(out.FirstReturn.Starboard, p)
			}
		}
	}
	for _, r := range s.lost {
		if r := [2]int{s.y + int(float64(r[0])*s.sy), s.y + int(float64(r[1])*s.sy)}; r[0] < r[1] {
			out.LostRows = append(out.LostRows, r)
		}
	}
	for _, b := range s.regions {
		out.Regions = append(out.Regions, detect.Region{Kind: "rock-field", Box: s.onPicture(b)})
	}
	l := newLuma(img, s.inverted)
	s.touched = make([]bool, len(s.add.v))
	for i := range s.things {
		for _, px := range [][]int32{s.things[i].lit, s.things[i].dark} {
			for _, k := range px {
				s.touched[k] = true
			}
		}
	}
	for i := range s.things {
		if m, ok := s.mark(l, &s.things[i]); ok {
			out.Marks = append(out.Marks, m)
		}
	}
	return out
}

func sideOf(side int) detect.Side {
	if side < 0 {
		return detect.Port
	}
	return detect.Starboard
}

// mark is a thing's label, or false where nothing of it can be seen.
func (s *swath) mark(l luma, t *thing) (eval.MarkLabel, bool) {
	lb, ok := s.bounds(t.lit)
	if !ok {
		return eval.MarkLabel{}, false
	}
	inWater := s.wet(t)
	hl := s.onPicture(lb)
	binM := s.rangeM / float64(s.bins)
	height := t.height * binM
	m := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: sideOf(t.side), Highlight: &hl, HeightM: &height}
	lit := s.litStand(l, t, inWater)
	shadow, dark := s.shadowOf(l, t, hl)
	m.Shadow = shadow
	s.hang(&m, t, binM)
	if lit.spreads < 1 && dark.spreads < 1 || hl.W < 1 || hl.H < 1 {
		return m, false
	}
	sure := max(hl.W, hl.H) >= 4 && hl.W*hl.H >= 12 && s.uncovered(hl) &&
		(plain(lit, dark, t.class == detect.SuspendedTarget) || s.plainByShadow(l, t, dark)) && !s.alike(l, t, dark)
	if t.class == detect.SuspendedTarget && !inWater && (m.Shadow == nil && lit.spreads < 6 || m.GapPx != nil && *m.GapPx < 1.5) {
		sure = false // nothing tells it from a thing that lies
	}
	m.Sure = &sure
	return m, true
}

// alike tells whether patches like a thing lie about and no shadow tells it from them.
func (s *swath) alike(l luma, t *thing, dark standing) bool {
	return t.byStrength && (dark.spreads < 3 || dark.levels < 8 || !dark.most) && !s.outshines(l, t)
}

// litStand is how a highlight stands out. One that straddles the first return is bright before black on one side of it and bright before
// bright on the other, so the side counts on which it shows best.
func (s *swath) litStand(l luma, t *thing, inWater bool) standing {
	var wet, dry []int32
	for _, i := range t.lit {
		if b, side := s.slant(int(i) % s.gridW); b < s.edge[idx(side)][int(i)/s.gridW] {
			wet = append(wet, i)
		} else {
			dry = append(dry, i)
		}
	}
	if float64(min(len(wet), len(dry)))*s.sx*s.sy < 12 {
		return s.stand(l, t.lit, t, inWater, 1)
	}
	a, b := s.stand(l, wet, t, true, 1), s.stand(l, dry, t, false, 1)
	if a.levels*a.spreads > b.levels*b.spreads && a.levels > 0 {
		return a
	}
	return b
}

// plainByShadow tells whether a deep shadow makes a careful person sure although the highlight is no brighter than the bottom: what lies
// burnt-out on burnt-out bottom, and members that show against their own dark.
func (s *swath) plainByShadow(l luma, t *thing, dark standing) bool {
	if t.class == detect.SuspendedTarget || !dark.most {
		return false
	}
	lit, _ := s.sample(l, t.lit, shift{}, false, t.side, false)
	if t.inDark {
		unlit, _ := s.sample(l, t.dark, shift{}, false, t.side, false)
		return dark.levels > 12 && dark.spreads > 4 && lit-unlit > 30
	}
	return dark.levels > 40 && dark.spreads > 4 && lit > 0.93*l.top
}

// outshines tells whether hardly any like-shaped sample of bottom at about a thing's slant range comes near its highlight's strength.
func (s *swath) outshines(l luma, t *thing) bool {
	own, _ := s.sample(l, t.lit, shift{}, false, t.side, false)
	b, _ := s.bounds(t.lit)
	var like []float64
	for k := 1; k < 40; k++ {
		for j := -3; j <= 3; j++ {
			if m, ok := s.sample(l, t.lit, shift{dx: j * (b.W + 2), dy: k*s.gridH/40 - s.gridH, wraps: true}, true, t.side, false); ok {
				like = append(like, m)
			}
		}
	}
	if len(like) < 30 {
		return false
	}
	sort.Float64s(like)
	mid, strong := like[len(like)/2], like[len(like)*29/30]
	return strong-mid < 0.75*(own-mid)
}

// shadowOf is the box of a thing's shadow and how it stands out; nil where it cannot be seen.
func (s *swath) shadowOf(l luma, t *thing, highlight detect.Box) (*detect.Box, standing) {
	b, ok := s.bounds(t.dark)
	if !ok || len(t.dark) < 3 {
		return nil, standing{}
	}
	box := s.onPicture(b)
	dark := s.stand(l, t.dark, t, false, -1)
	if dark.levels <= 4 || dark.spreads <= 1.2 || box.W < 2 || box.H < 2 || !beyond(highlight, box, t.side) {
		return nil, standing{}
	}
	return &box, dark
}

// beyond tells whether the middle of a shadow, or for long things its end, lies farther from the nadir than the highlight's; what is
// left of one that its thing covers is not worth a box.
func beyond(highlight, shadow detect.Box, side int) bool {
	middle := side * (2*shadow.X + shadow.W - 2*highlight.X - highlight.W)
	end := shadow.X + shadow.W - highlight.X - highlight.W
	if side < 0 {
		end = highlight.X - shadow.X
	}
	return middle >= 0 || highlight.H > 40 && end >= 0
}

// hang adds how far a hanging thing is off the bottom, and its gap where the shadow shows.
func (s *swath) hang(m *eval.MarkLabel, t *thing, binM float64) {
	if t.class != detect.SuspendedTarget {
		return
	}
	off := t.offBottom * binM
	m.OffBottomM = &off
	*m.HeightM -= off // its own, not its top's
	if m.Shadow != nil {
		gap := t.gap * s.sx
		m.GapPx = &gap
	}
}

// plain tells whether a careful person would be sure: a bright highlight by itself, a weaker one with a shadow, or a hint of one before a
// deep shadow that touches it. The limits were set by looking at marks on both sides of them.
func plain(lit, dark standing, hangs bool) bool {
	switch {
	case lit.levels > 14 && lit.spreads > 4 && lit.most:
		return true
	case lit.levels > 8 && lit.spreads > 2.4 && lit.most:
		return dark.levels > 6 && dark.spreads > 2.2
	}
	return !hangs && lit.levels > 4 && lit.spreads > 1 && dark.levels > 15 && dark.spreads > 5 && dark.most
}

// wet tells whether most of a thing's highlight lies in the column.
func (s *swath) wet(t *thing) bool {
	n := 0
	for _, i := range t.lit {
		x, y := int(i)%s.gridW, int(i)/s.gridW
		if b, side := s.slant(x); b < s.edge[idx(side)][y] {
			n++
		}
	}
	return 2*n > len(t.lit)
}

// uncovered is false where drawn furniture or lost pings hide part of a box.
func (s *swath) uncovered(b detect.Box) bool {
	for _, f := range s.furniture {
		o := f.Box.Rect().Intersect(b.Rect())
		if o.Dx()*o.Dy()*4 > b.W*b.H {
			return false
		}
	}
	for _, r := range s.lost {
		if y := b.Y - s.y; float64(y) < float64(r[1])*s.sy && float64(y+b.H) > float64(r[0])*s.sy {
			return false
		}
	}
	return true
}
