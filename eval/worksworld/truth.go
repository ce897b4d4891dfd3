package worksworld

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// reading gathers what of one thing can be seen in the display, pixels of the panel.
type reading struct {
	cover  image.Rectangle // where its echo or shadow could be
	cells  []int           // panel pixels, row-major, each once
	box    *detect.Box
	n      int
	score  float64 // mean change over the spread of the bottom around it
	strong float64 // mean of the picture with it
	around float64 // mean of the picture without it
}

const (
	highSign   = 1
	shadowSign = -1
)

func (w *world) label(c *chain, with, without []float32, own *owners) eval.CaptureLabel {
	p := w.plan
	l := eval.CaptureLabel{By: "scene", Panel: &detect.Box{W: p.dw, H: p.dh}, Palette: c.shades.name, DarkIsStrong: c.dark, Side: p.side,
		Marks: []eval.MarkLabel{}, Humps: [][2]int{}, LostRows: c.lost}
	w.profiles(&l)
	high, shadow := w.gather(own.high), w.gather(own.shadow)
	diff := make([]float32, len(with))
	for i := range diff {
		diff[i] = with[i] - without[i]
	}
	blur(diff, p.dh, p.dw, 1)
	for i, t := range w.things {
		if t.loose {
			continue
		}
		h, s := &high[i+1], &shadow[i+1]
		h.measure(p, diff, with, without, highSign)
		s.measure(p, diff, with, without, shadowSign)
		if m, ok := mark(t, h, s); ok {
			l.Marks = append(l.Marks, m)
		}
	}
	for _, q := range w.patches {
		if b, ok := q.box(p); ok {
			l.Regions = append(l.Regions, detect.Region{Kind: q.kind, Box: b})
		}
	}
	return l
}

func (w *world) profiles(l *eval.CaptureLabel) {
	p := w.plan
	if p.view == bareBottom {
		return
	}
	var rows []int
	for y := 0; y < p.dh; y += 8 {
		rows = append(rows, y)
	}
	if rows[len(rows)-1] != p.dh-1 {
		rows = append(rows, p.dh-1)
	}
	zero := (math.Floor(p.nadir)+0.5)*p.zx - 0.5
	for _, y := range rows {
		l.Nadir = append(l.Nadir, detect.RowX{float64(y), zero})
		row := min(int((float64(y)+0.5)/p.zy), p.nh-1)
		for _, s := range w.sides {
			at := detect.RowX{float64(y), zero + s.sign()*s.firstEcho(row)*p.zx}
			if s.name == detect.Port {
				l.FirstReturn.Port = append(l.FirstReturn.Port, at)
			} else {
				l.FirstReturn.Starboard = append(l.FirstReturn.Starboard, at)
			}
		}
	}
}

func (s *side) sign() float64 {
	if s.name == detect.Port {
		return -1
	}
	return 1
}

// firstEcho is the slant range at which the bottom begins over a native row, native pixels.
func (s *side) firstEcho(row int) float64 {
	h := s.world.plan.alt[row]
	first := math.Inf(1)
	for g := 1; g < s.ground && float64(g) < h; g++ {
		first = min(first, math.Hypot(float64(g), h-float64(s.z[row*s.ground+g])))
	}
	return min(first, float64(s.reach))
}

// gather turns the owners of native pixels into the display pixels that each thing may show in, with a pixel around for the display's blur.
func (w *world) gather(own []int16) []reading {
	p := w.plan
	out := make([]reading, len(w.things)+1)
	last := make([]int16, p.dw*p.dh)
	for k, id := range own {
		if id == 0 {
			continue
		}
		x, y := float64(k%p.nw), float64(k/p.nw)
		b := image.Rect(int(x*p.zx)-1, int(y*p.zy)-1, int(math.Ceil((x+1)*p.zx))+1, int(math.Ceil((y+1)*p.zy))+1)
		b = b.Intersect(image.Rect(0, 0, p.dw, p.dh))
		rd := &out[id]
		rd.cover = rd.cover.Union(b)
		for dy := b.Min.Y; dy < b.Max.Y; dy++ {
			for dx := b.Min.X; dx < b.Max.X; dx++ {
				if i := dy*p.dw + dx; last[i] != id {
					last[i] = id
					rd.cells = append(rd.cells, i)
				}
			}
		}
	}
	return out
}

// measure finds where the thing changes the picture by more than the bottom around it varies, and boxes that.
func (rd *reading) measure(p *plan, diff, with, without []float32, sign float32) {
	if len(rd.cells) == 0 {
		return
	}
	slices.Sort(rd.cells)
	rd.cells = slices.Compact(rd.cells)
	mean, sd := ring(p, without, rd.cover)
	rd.around = mean
	least := float32(max(0.6*sd, 6))
	var xs, ys []int
	var sum, strong float64
	for _, i := range rd.cells {
		if sign*diff[i] < least {
			continue
		}
		xs, ys = append(xs, i%p.dw), append(ys, i/p.dw)
		sum += float64(sign * diff[i])
		strong += float64(with[i])
	}
	rd.n = len(xs)
	if rd.n < 3 {
		return
	}
	rd.score = sum / float64(rd.n) / max(sd, 7)
	rd.strong = strong / float64(rd.n)
	x0, x1 := ends(xs)
	y0, y1 := ends(ys)
	rd.box = &detect.Box{X: x0, Y: y0, W: x1 - x0 + 1, H: y1 - y0 + 1}
}

// ends are the ends of what holds all but a hundredth of the values at either end.
func ends(v []int) (lo, hi int) {
	slices.Sort(v)
	cut := len(v) / 100
	return v[cut], v[len(v)-1-cut]
}

// ring is the mean and spread of the picture without things in and around a box; the spread of a wide box is that within pieces of it, so
// that gain falling off outward doesn't count.
func ring(p *plan, v []float32, b image.Rectangle) (mean, sd float64) {
	b = b.Inset(-8).Intersect(image.Rect(0, 0, p.dw, p.dh))
	const piece = 24
	var sums, vars, n float64
	for y0 := b.Min.Y; y0 < b.Max.Y; y0 += piece {
		for x0 := b.Min.X; x0 < b.Max.X; x0 += piece {
			var s, q, m float64
			for y := y0; y < min(y0+piece, b.Max.Y); y++ {
				for x := x0; x < min(x0+piece, b.Max.X); x++ {
					u := float64(v[y*p.dw+x])
					s, q, m = s+u, q+u*u, m+1
				}
			}
			sums, n = sums+s, n+m
			vars += q - s*s/m
		}
	}
	return sums / n, math.Sqrt(max(vars/n, 0))
}

// mark is the label of a thing, unless nothing of it can be made out.
func mark(t *thing, h, s *reading) (eval.MarkLabel, bool) {
	if h.box == nil && s.box == nil || h.n < 4 && s.n < 14 {
		return eval.MarkLabel{}, false
	}
	m := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: t.side.name, Highlight: h.box}
	if h.box == nil && len(h.cells) > 0 {
		b := detect.BoxOf(h.cover)
		m.Highlight = &b
	}
	if m.Highlight == nil {
		return eval.MarkLabel{}, false
	}
	m.Shadow = shadowBox(t, m.Highlight, s)
	if t.bulky && m.Shadow != nil && min(m.Shadow.W, m.Shadow.H) >= 16 && s.n >= 350 {
		m.Class = detect.RaisedStructure
	}
	sure := surely(&m, h, s)
	m.Sure = &sure
	contrast := 0.0
	if h.n > 0 {
		contrast = h.strong/max(h.around, 1) - 1
	}
	m.Contrast = &contrast
	gap := t.gap
	m.GapPx = &gap
	return m, true
}

// shadowBox is the box of a thing's shadow, nil where none can be made out or what is dark lies among the thing's own echoes.
func shadowBox(t *thing, highlight *detect.Box, s *reading) *detect.Box {
	if s.box == nil || s.n < 6 || s.score < 0.7 || !beyond(t.side, *highlight, *s.box) {
		return nil
	}
	return s.box
}

// surely tells whether anybody would see a thing by its highlight or by its shadow.
func surely(m *eval.MarkLabel, h, s *reading) bool {
	long := max(m.Highlight.W, m.Highlight.H)
	bright := long >= 5 && h.n >= 9 && h.score >= 1.3 && h.score*math.Sqrt(float64(h.n)) >= 6
	dark := m.Shadow != nil && long >= 5 && s.n >= 25 && s.score >= 1.1 && max(m.Shadow.W, m.Shadow.H) >= 6
	return bright || dark
}

// beyond tells whether box b lies farther from the boat than a, by their middles.
func beyond(s *side, a, b detect.Box) bool {
	return s.sign()*float64(2*b.X+b.W-2*a.X-a.W) > 0
}

func (q patch) box(p *plan) (detect.Box, bool) {
	zero := (math.Floor(p.nadir)+0.5)*p.zx - 0.5
	x0, x1 := zero+q.side.sign()*q.s0*p.zx, zero+q.side.sign()*q.s1*p.zx
	b := image.Rect(int(x0), int(q.r0*p.zy), int(x1), int(q.r1*p.zy)+1).Intersect(image.Rect(0, 0, p.dw, p.dh))
	return detect.BoxOf(b), b.Dx() >= 4 && b.Dy() >= 4
}
