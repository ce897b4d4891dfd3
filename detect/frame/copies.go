package frame

import (
	"cmp"
	"image"
	"slices"

	"shadowgap/detect/pixels"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// Where one record is taken to be shown twice, with no more than a rim, thinner than a cell of the map, between its panels.
const (
	// least likeness of two panels, less the part of the length that they leave over: on 800 rendered screens the best split of those with
	// a single panel reaches 0.49, the next 0.38, true ones 0.54 to 1.00, but for two with 0.23 and 0.35
	copyAlike = 0.5
	copyLeast = 0.1   // least part of the length that a panel fills: the narrowest fill an eighth
	copyRest  = 0.2   // most of it that they leave over: what else the map took in, up to a tenth
	mostRims  = 12    // lines tried in each direction: a screen ruled all over has many
	nearEnd   = 0.025 // part of the picture's length within which a panel may reach its border after all
	oneSide   = 0.5   // mean evidence for port, or against it, from which a part shows that side only: left and right of a nadir 0.8 and more
)

// sight is a picture and what the reader sees in it.
type sight struct {
	px   *pixels.Picture
	m    *reader.Map
	sums *features.Sums // of brightness, in the size that the network is shown
}

// alike is how alike two panels are, as displayed or as echo: two palettes show that in colours of their own, one may be as its negative.
func (p *Panel) alike(o *Panel) float64 {
	if a := p.pattern.Alike(o.pattern); a >= copyAlike {
		return a
	}
	return features.PatternOf(p.Echo).Alike(features.PatternOf(o.Echo))
}

// pattern is what stands in a box.
func (v *sight) pattern(r image.Rectangle) *features.Pattern {
	kx, ky := reader.InputCols/float64(v.px.W), reader.InputRows/float64(v.px.H)
	at := func(p image.Point) features.Point { return features.Point{X: float64(p.X) * kx, Y: float64(p.Y) * ky} }
	return v.sums.Pattern(at(r.Min), at(r.Max))
}

// copies are the panels, two or three, of an area that shows one record again and again; nil where it is not so. box is around all of them.
func (v *sight) copies(c area, box image.Rectangle) []image.Rectangle {
	var best []image.Rectangle
	most := copyAlike
	for _, across := range [...]bool{true, false} {
		s := v.newStack(c, box, across)
		try := func(alike float64, rims ...int) {
			rest := s.rest(rims[0], rims[len(rims)-1])
			if rest > copyRest || alike-rest <= most {
				return
			}
			most, best = alike-rest, nil
			for i, to := range rims[1:] {
				best = append(best, s.part(rims[i], to).box)
			}
		}
		n := len(s.rims)
		for i := range n {
			for j := i + 1; j < n; j++ {
				for k := j + 1; k < n; k++ {
					two := s.alike(i, j, k)
					try(two, i, j, k)
					for l := k + 1; l < n && two > copyAlike; l++ {
						try(min(two, s.alike(j, k, l)), i, j, k, l)
					}
				}
			}
		}
	}
	return best
}

// stack is an area seen as panels one above the other or, unless across, one beside the other.
type stack struct {
	*sight
	area   area
	box    image.Rectangle
	across bool
	rims   []pixels.Line // that may part them, and the ends
	parts  map[[2]int]*part
}

// part is what lies between two rims.
type part struct {
	box     image.Rectangle
	pattern *features.Pattern
	side    float64 // 1 all port, -1 all starboard
}

func (v *sight) newStack(c area, box image.Rectangle, across bool) *stack {
	lo, hi, size := &box.Min.X, &box.Max.X, v.px.W
	if across {
		lo, hi, size = &box.Min.Y, &box.Max.Y, v.px.H
	}
	ends := []int{*lo, *hi}
	near := int(nearEnd * float64(size))
	if *lo <= near {
		*lo = 0
	}
	if size-*hi <= near {
		*hi = size
	}
	s := &stack{sight: v, area: c, box: box, across: across, parts: map[[2]int]*part{}}
	if s.rims = v.px.Lines(box, across, mostRims); len(s.rims) == 0 {
		return s
	}
	for _, e := range append(ends, *lo, *hi) {
		s.rims = append(s.rims, pixels.Line{From: e, To: e})
	}
	slices.SortStableFunc(s.rims, func(a, b pixels.Line) int { return cmp.Compare(a.From, b.From) })
	s.rims = slices.Compact(s.rims)
	return s
}

func (s *stack) length() float64 { return float64(s.rims[len(s.rims)-1].To - s.rims[0].From) }

// rest is the part of the stack's length that lies before rim i and behind rim j.
func (s *stack) rest(i, j int) float64 { return 1 - float64(s.rims[j].From-s.rims[i].To)/s.length() }

// alike is how alike the parts between three rims are; 0 where one of them is no panel.
func (s *stack) alike(i, j, k int) float64 {
	a, b := s.part(i, j), s.part(j, k)
	if a == nil || b == nil || !s.across && a.side > oneSide && b.side < -oneSide {
		return 0 // what parts port from starboard is the nadir
	}
	return a.pattern.Alike(b.pattern)
}

// part is what lies between two rims, nil where it is no panel.
func (s *stack) part(i, j int) *part {
	if p, ok := s.parts[[2]int{i, j}]; ok {
		return p
	}
	from, to := s.rims[i].To, s.rims[j].From
	var p *part
	if to-from >= minSide && float64(to-from) >= copyLeast*s.length() {
		r := s.box
		if s.across {
			r.Min.Y, r.Max.Y = from, to
		} else {
			r.Min.X, r.Max.X = from, to
		}
		if r = s.px.WithoutPadding(s.fit(r)); s.isPanel(r) {
			side := newWindow(s.m, s.px, r).mean(func(i int) float32 { return float32(portside(s.m, i)) })
			p = &part{r, s.pattern(r), side}
		}
	}
	s.parts[[2]int{i, j}] = p
	return p
}

// fit moves the sides of a part that lie on no rim to where the area ends there, which may be beyond the other parts' or short of it.
func (s *stack) fit(r image.Rectangle) image.Rectangle {
	w := newWindow(s.m, s.px, r)
	cells := image.Rect(w.x0, w.y0, w.x1, w.y1)
	if s.across {
		cells.Min.X, cells.Max.X = s.area.whole.Min.X, s.area.whole.Max.X
	} else {
		cells.Min.Y, cells.Max.Y = s.area.whole.Min.Y, s.area.whole.Max.Y
	}
	cells = tighten(s.area.label, s.area.id, cells)
	lo, hi := cells.Min.Sub(image.Pt(w.x0, w.y0)), cells.Max.Sub(image.Pt(w.x1, w.y1))
	switch {
	case s.across && max(abs(lo.X), abs(hi.X)) > refineCells:
		wide := refine(s.px, cells)
		r.Min.X, r.Max.X = wide.Min.X, wide.Max.X
	case !s.across && max(abs(lo.Y), abs(hi.Y)) > refineCells:
		high := refine(s.px, cells)
		r.Min.Y, r.Max.Y = high.Min.Y, high.Max.Y
	}
	return r
}
