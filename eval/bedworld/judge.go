package bedworld

import (
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// How far the grey of a thing has to differ from the same picture without it, in deviations of the grey around, for a person to be sure
// of it and to see it at all. A thing without a seen shadow has to stand out more, since spikes of the speckle look alike.
const (
	sureShift  = 1.6
	sureAlone  = 2.6
	seenShift  = 0.7
	leastGrey  = 12.0 // deviation below which an even ground counts as no evener, in grey levels
	leastWhole = 5    // pixels of the longer side of what one can be sure of
)

// judge makes the labels: what the finished picture shows of each thing.
func (w *world) judge() {
	w.marks = []eval.MarkLabel{}
	for _, t := range w.things {
		if m, ok := w.mark(t); ok {
			w.marks = append(w.marks, m)
		}
	}
}

// mark is a thing's label; a thing that nobody can see has none.
func (w *world) mark(t *thing) (eval.MarkLabel, bool) {
	m := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: detect.Starboard}
	if t.side.port {
		m.Side = detect.Port
	}
	m.Highlight = w.box(t.side, t.bright)
	dark := t.dark
	if !t.hangs && !t.bright.empty() {
		// A body's own shaded parts belong to the body: the shadow is told from its middle on.
		dark.i0 = max(dark.i0, (t.bright.i0+t.bright.i1)/2)
	}
	m.Shadow = w.box(t.side, dark)
	light, shade := 0.0, 0.0
	if m.Highlight != nil {
		if light = w.shift(t.side, *m.Highlight, 1); light < seenShift {
			m.Highlight = nil
		}
	}
	if m.Shadow != nil {
		if shade = w.shift(t.side, *m.Shadow, -1); shade < seenShift || (m.Highlight != nil && max(m.Shadow.W, m.Shadow.H) < 3) {
			m.Shadow = nil
		}
	}
	if m.Highlight == nil && m.Shadow == nil {
		return m, false
	}
	sure := w.sure(&m, light, shade)
	m.Sure = &sure
	if t.hangs && m.Highlight != nil && m.Shadow != nil {
		gap := max(float64(dark.i0-t.bright.i1), 0) * w.kx
		m.GapPx = &gap
	}
	// What hangs is told by its echo: a shadow alone says nothing of a gap.
	if t.hangs && m.Highlight == nil {
		m.Class = detect.BottomObject
		sure = false
	}
	return m, true
}

// sure says whether a careful person would be sure of a mark whose highlight and shadow stand out by so many deviations.
func (w *world) sure(m *eval.MarkLabel, light, shade float64) bool {
	whole := 0
	if m.Highlight != nil {
		whole = max(m.Highlight.W, m.Highlight.H)
	}
	if m.Shadow == nil {
		return light >= sureAlone && whole >= leastWhole-1
	}
	dark := max(m.Shadow.W, m.Shadow.H)
	plain := shade >= sureShift && dark >= 2*leastWhole
	if m.Highlight == nil || plain {
		return plain
	}
	// Both parts of a small thing have to be seen, since either alone is like the grain; one strong part of a large one is enough.
	both := light >= 0.9 && shade >= 0.9 && max(light, shade) >= sureShift
	large := max(light, shade) >= sureShift && min(m.Highlight.W, m.Highlight.H) > 12
	return max(whole, dark) >= leastWhole && whole >= leastWhole-1 && (both || large || light >= 1.3*sureAlone)
}

// box is what a rectangle of a side covers in the picture, in pixels; nil where that is nothing.
func (w *world) box(s *side, a rect) *detect.Box {
	if a.empty() {
		return nil
	}
	first, last := w.column(s, a.i0), w.column(s, a.i1-1)
	x0, x1 := float64(min(first, last))*w.kx, float64(max(first, last)+1)*w.kx
	b := detect.Box{X: max(int(x0), 0), Y: max(int(float64(a.r0)*w.ky), 0)}
	b.W = min(int(math.Ceil(x1)), w.w) - b.X
	b.H = min(int(math.Ceil(float64(a.r1)*w.ky)), w.h) - b.Y
	if b.W <= 0 || b.H <= 0 {
		return nil
	}
	return &b
}

// shift is how far the picture is brighter (sign 1) or darker (sign -1) than without its things, over what a side's things light or
// shade inside a box, in deviations of the grey there and around. Pixels weigh by how strongly they are lit or shaded. The eye averages:
// the same change counts less over a handful of pixels and more over a large patch.
func (w *world) shift(s *side, b detect.Box, sign float64) float64 {
	const (
		handful = 5  // pixels
		usual   = 25 // pixels that change by as much as they count
	)
	var sum, weights, count float64
	for y := b.Y; y < b.Y+b.H; y++ {
		for x := b.X; x < b.X+b.W; x++ {
			weight := w.touch(s, x, y, sign)
			if weight == 0 {
				continue
			}
			k := y*w.w + x
			sum += weight * sign * float64(w.with.v[k]-w.without.v[k])
			weights += weight
			count++
		}
	}
	if count == 0 {
		return 0
	}
	size := count / (count + handful) * min(max(math.Pow(count/usual, 0.35), 1), 2)
	return sum / weights * size / max(w.grain(b), leastGrey)
}

// touch is how strongly things light (sign 1) or shade (sign -1) the sample under a pixel, 0 where they hardly do.
func (w *world) touch(s *side, x, y int, sign float64) float64 {
	const mostLit = 4 // times the bottom: what is lit more is white anyhow
	i := int((float64(x) + 0.5) / w.kx)
	switch {
	case s.port:
		i = s.n - 1 - i
	case w.swath:
		i -= s.n
	}
	r := min(int((float64(y)+0.5)/w.ky), s.rows-1)
	if i < 0 || i >= s.n {
		return 0
	}
	at := r*s.n + i
	lit := float64(s.lit[at] / s.base[at])
	switch {
	case sign > 0 && lit > leastLit:
		return min(lit, mostLit)
	case sign < 0 && lit <= leastLit && s.shade[at] < mostLeft:
		return 1 - float64(s.shade[at])
	}
	return 0
}

// grain is the deviation of the grey around a box in the picture without things. It is taken column by column, over the rows beside the
// box too, so that the step from the water to the bottom is no grain.
func (w *world) grain(b detect.Box) float64 {
	const beside = 12
	y0, y1 := max(b.Y-beside, 0), min(b.Y+b.H+beside, w.h)
	x0, x1 := max(b.X-3, 0), min(b.X+b.W+3, w.w)
	var total float64
	for x := x0; x < x1; x++ {
		var sum, squares float64
		for y := y0; y < y1; y++ {
			v := float64(w.without.v[y*w.w+x])
			sum += v
			squares += v * v
		}
		n := float64(y1 - y0)
		total += max(squares/n-sum/n*sum/n, 0)
	}
	return math.Sqrt(total / float64(x1-x0))
}
