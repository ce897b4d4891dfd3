package roughworld

import (
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// judge labels the things by what they change in the picture.
func (p *plan) judge(things []thing, plain, shown *field) []eval.MarkLabel {
	out := []eval.MarkLabel{}
	if len(things) == 0 {
		return out
	}
	a, b := smoothed(plain), smoothed(shown)
	for i := range things {
		t := &things[i]
		lit := p.traced(t, &t.lit)
		if lit == nil {
			continue
		}
		shade := p.traced(t, &t.shade)
		bright := p.stands(a, b, lit, 1)
		dark := 0.0
		if shade != nil {
			dark = p.stands(a, b, shade, -1)
		}
		if dark < 0.4 || !p.outward(t, lit, shade) {
			shade, dark = nil, 0
		}
		const (
			plainly = 1.1 // local spreads
			longest = 5   // pixels
		)
		sure := max(bright, dark) >= plainly && bright >= 0.5 && max(lit.W, lit.H) >= longest
		m := eval.MarkLabel{Class: t.class, Kind: t.kind, Highlight: lit, Shadow: shade, Sure: &sure}
		if t.hang > 0 && shade == nil && p.overBottom(t) {
			sure = false // without its shadow it could lie there as well
		}
		p.measure(t, &m)
		out = append(out, m)
	}
	return out
}

// measure adds the sizes of a thing to its label.
func (p *plan) measure(t *thing, m *eval.MarkLabel) {
	m.Side = detect.Starboard
	if p.port(t.side) {
		m.Side = detect.Port
	}
	high := t.high
	m.HeightM = &high
	up := p.altitude[min(t.y0+t.h/2, p.rows-1)] - t.hang
	slant := math.Hypot(float64(t.x0+t.w/2)*p.dg, up)
	if t.hang > 0 {
		slant = math.Hypot(t.ground, up)
		off := t.hang - t.high/2
		m.OffBottomM = &off
		if m.Shadow != nil {
			gap := float64(max(m.Shadow.X-m.Highlight.X-m.Highlight.W, m.Highlight.X-m.Shadow.X-m.Shadow.W))
			m.GapPx = &gap
		}
	}
	m.SlantM = &slant
}

// overBottom tells whether a thing's echo lies beyond the first return.
func (p *plan) overBottom(t *thing) bool {
	h := p.altitude[min(t.y0+t.h/2, p.rows-1)]
	return math.Hypot(t.ground, h-t.hang) > h
}

func (p *plan) traced(t *thing, tr *trace) *detect.Box {
	s0, s1, ok := span(tr.across)
	r0, r1, ok2 := span(tr.along)
	if !ok || !ok2 {
		return nil
	}
	return p.box(t.side, s0, s1, r0, r1)
}

// outward tells whether a shadow's middle lies farther from the boat than its highlight's.
func (p *plan) outward(t *thing, lit, shade *detect.Box) bool {
	if shade == nil {
		return false
	}
	d := 2*shade.X + shade.W - 2*lit.X - lit.W
	if p.port(t.side) {
		d = -d
	}
	return d > 0
}

// stands is how far the half of a box that changed most does so in the sense of sign, in spreads of what is around it.
func (p *plan) stands(plain, shown *field, box *detect.Box, sign float32) float64 {
	x0, y0 := int(float64(box.X-p.panel.Min.X)/p.grow[0]), int(float64(box.Y-p.panel.Min.Y)/p.grow[1])
	x1 := min(max(int(float64(box.X+box.W-p.panel.Min.X)/p.grow[0]), x0+1), plain.w)
	y1 := min(max(int(float64(box.Y+box.H-p.panel.Min.Y)/p.grow[1]), y0+1), plain.h)
	around := max(x1-x0, y1-y0, 8)
	var change []float32
	var n, sum, squares float64
	for y := max(y0-around, 0); y < min(y1+around, plain.h); y++ {
		for x := max(x0-around, 0); x < min(x1+around, plain.w); x++ {
			v := float64(plain.row(y)[x])
			n, sum, squares = n+1, sum+v, squares+v*v
			if x >= x0 && x < x1 && y >= y0 && y < y1 {
				change = append(change, sign*(shown.row(y)[x]-plain.row(y)[x]))
			}
		}
	}
	if len(change) == 0 {
		return 0
	}
	slices.Sort(change)
	most := change[len(change)/2:]
	mean := 0.0
	for _, c := range most {
		mean += float64(c) / float64(len(most))
	}
	const least = 0.02 // a spread that the eye does not go below
	return mean / max(math.Sqrt(max(squares/n-sum*sum/n/n, 0)), least)
}

// smoothed is a field as a glance takes it in, each value the mean of nine.
func smoothed(f *field) *field {
	out := newField(f.w, f.h)
	for y := range f.h {
		a, b, c := f.row(max(y-1, 0)), f.row(y), f.row(min(y+1, f.h-1))
		row := out.row(y)
		for x := range row {
			l, r := max(x-1, 0), min(x+1, f.w-1)
			row[x] = (a[l] + a[x] + a[r] + b[l] + b[x] + b[r] + c[l] + c[x] + c[r]) / 9
		}
	}
	return out
}

// regions is the patch of a side that ends plainly.
func (p *plan) regions(i int, s *side) []detect.Region {
	if s.patch == nil {
		return nil
	}
	q := s.patch
	h := p.altitude[min(max(int((q[2]+q[3])/2), 0), p.rows-1)] / p.dg
	box := p.box(i, math.Hypot(q[0], h), math.Hypot(q[1], h), q[2], q[3])
	if box == nil {
		return nil
	}
	return []detect.Region{{Kind: "rock-field", Box: *box}}
}
