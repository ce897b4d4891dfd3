package eval

import (
	"cmp"
	"fmt"
	"image"
	"math"
	"slices"

	"shadowgap/detect"
)

// Breakdown is recall by one property of the labels.
type Breakdown struct {
	By   string         `json:"by"`
	Unit string         `json:"unit"` // "" for names
	Bins []BreakdownBin `json:"bins"`
}

// BreakdownBin is the labels whose property lies from Low up to High, or is called Name.
type BreakdownBin struct {
	Name            string  `json:"name"`
	Low             *Number `json:"low,omitempty"`
	High            *Number `json:"high,omitempty"` // null = no end
	Recall          Rate    `json:"recall"`
	RightClass      Rate    `json:"right_class"`                 // of those found
	FalsePerCapture *Number `json:"false_per_capture,omitempty"` // where the property is one of captures
}

// seen is one label with what became of it.
type seen struct {
	capture      *scored
	label        *MarkLabel
	counted      bool
	found, right bool
}

// breakdowns splits recall by each property. Size and contrast also show the labels too small or too faint to count
// elsewhere: that is where the threshold's price is seen.
func breakdowns(caps []scored, opt Options) []Breakdown {
	var all []seen
	for i := range caps {
		s := &caps[i]
		for j := range s.label.Marks {
			l := &s.label.Marks[j]
			if l.Class == detect.Clutter || (l.Sure != nil && !*l.Sure) {
				continue
			}
			v := seen{capture: s, label: l, counted: s.counts[j]}
			if at := s.match.markOf[j]; at >= 0 {
				v.found, v.right = true, s.reported[at].Class == l.Class
			}
			all = append(all, v)
		}
	}
	counted := slices.DeleteFunc(slices.Clone(all), func(v seen) bool { return !v.counted })
	faintOrCounted := slices.DeleteFunc(slices.Clone(all), func(v seen) bool {
		b := v.label.box()
		return b.W < opt.MinLabelPx || b.H < opt.MinLabelPx
	})
	smallOrCounted := slices.DeleteFunc(slices.Clone(all), func(v seen) bool {
		return v.label.Contrast != nil && *v.label.Contrast < opt.MinContrast
	})
	out := []Breakdown{
		numeric("range", "share of the side's width", counted, []float64{0, 0.25, 0.5, 0.75}, rangeShare),
		numeric("size", "px, root of the box's area", smallOrCounted, []float64{0, 5, 8, 12, 20, 40}, func(v seen) (float64, bool) {
			b := v.label.box()
			return math.Sqrt(float64(b.W) * float64(b.H)), true
		}),
		numeric("contrast", "highlight over surroundings, minus 1", faintOrCounted, []float64{math.Inf(-1), 0.25, 0.5, 1, 2, 4},
			func(v seen) (float64, bool) {
				if v.label.Contrast == nil {
					return 0, false
				}
				return *v.label.Contrast, true
			}),
		numeric("gap", "px", counted, []float64{math.Inf(-1), 1, 4, 8, 16, 32}, func(v seen) (float64, bool) {
			if v.label.GapPx == nil {
				return 0, false
			}
			return *v.label.GapPx, true
		}),
		named("class", counted, func(v seen) string { return string(v.label.Class) }),
		named("kind", counted, func(v seen) string { return v.label.Kind }),
		perPalette(caps, counted),
	}
	return slices.DeleteFunc(out, func(b Breakdown) bool { return len(b.Bins) == 0 })
}

// numeric sorts labels into bins that begin at edges, the last one open. Empty bins are left out.
func numeric(by, unit string, list []seen, edges []float64, value func(seen) (float64, bool)) Breakdown {
	groups := make([][]seen, len(edges))
	for _, v := range list {
		x, ok := value(v)
		if !ok {
			continue
		}
		at, exact := slices.BinarySearch(edges, x)
		if !exact {
			at--
		}
		if at >= 0 {
			groups[at] = append(groups[at], v)
		}
	}
	b := Breakdown{By: by, Unit: unit}
	for i, g := range groups {
		if len(g) == 0 {
			continue
		}
		high := math.Inf(1)
		if i+1 < len(edges) {
			high = edges[i+1]
		}
		bin := tallied(spanName(edges[i], high), g)
		lo, hi := Number(edges[i]), Number(high)
		bin.Low, bin.High = &lo, &hi
		b.Bins = append(b.Bins, bin)
	}
	return b
}

func spanName(lo, hi float64) string {
	switch {
	case math.IsInf(lo, -1):
		return fmt.Sprintf("below %g", hi)
	case math.IsInf(hi, 1):
		return fmt.Sprintf("%g and more", lo)
	}
	return fmt.Sprintf("%g to %g", lo, hi)
}

// named groups labels by a name, in order of the names; labels without one are left out.
func named(by string, list []seen, name func(seen) string) Breakdown {
	groups := map[string][]seen{}
	for _, v := range list {
		if n := name(v); n != "" {
			groups[n] = append(groups[n], v)
		}
	}
	b := Breakdown{By: by}
	for n, g := range groups {
		b.Bins = append(b.Bins, tallied(n, g))
	}
	slices.SortFunc(b.Bins, func(a, b BreakdownBin) int { return cmp.Compare(a.Name, b.Name) })
	return b
}

// perPalette also counts false marks, as the palette belongs to the whole capture.
func perPalette(caps []scored, counted []seen) Breakdown {
	b := named("palette", counted, func(v seen) string { return v.capture.label.Palette })
	wrong, captures := map[string]int{}, map[string]int{}
	for _, s := range caps {
		captures[s.label.Palette]++
		for _, f := range s.match.fate {
			if f == fateFalse {
				wrong[s.label.Palette]++
			}
		}
	}
	for i := range b.Bins {
		n := b.Bins[i].Name
		rate := Number(float64(wrong[n]) / float64(captures[n]))
		b.Bins[i].FalsePerCapture = &rate
	}
	return b
}

func tallied(name string, g []seen) BreakdownBin {
	found, right := 0, 0
	for _, v := range g {
		if v.found {
			found++
		}
		if v.right {
			right++
		}
	}
	return BreakdownBin{Name: name, Recall: NewRate(found, len(g)), RightClass: NewRate(right, found)}
}

// rangeShare says how far out a label lies: 0 at the nadir, 1 at the end of its side. It falls back on the found panel where
// the labels don't tell.
func rangeShare(v seen) (float64, bool) {
	c := v.capture.label
	if v.label.SlantM != nil && c.RangeM > 0 {
		return min(*v.label.SlantM/c.RangeM, 1), true
	}
	b := v.label.box()
	x, row := float64(b.X)+float64(b.W)/2, float64(b.Y)+float64(b.H)/2
	panel := panelOf(v.capture)
	var box detect.Box
	switch {
	case c.Panel != nil:
		box = *c.Panel
	case panel != nil:
		box = panel.Box
	default:
		return 0, false
	}
	nadir, ok := atRow(c.Nadir, row)
	if !ok && panel != nil {
		nadir, ok = atRow(panel.Nadir, row)
	}
	if !ok {
		return 0, false
	}
	side := float64(box.X+box.W) - nadir
	if x < nadir {
		side = nadir - float64(box.X)
	}
	if side <= 0 {
		return 0, false
	}
	return min(math.Abs(x-nadir)/side, 1), true
}

// worst lists what went most wrong, each sort apart: false marks and wrong classes by the odds given to the wrong answer,
// missed labels by how large and strong they are.
func worst(caps []scored, opt Options) []Miss {
	bySort := map[string][]Miss{}
	for _, s := range caps {
		for j, counted := range s.counts {
			if !counted {
				continue
			}
			l := &s.label.Marks[j]
			box := l.box()
			at := s.match.markOf[j]
			if at < 0 {
				weight := math.Sqrt(float64(box.W) * float64(box.H))
				if l.Contrast != nil {
					weight *= *l.Contrast
				}
				bySort[missMissed] = append(bySort[missMissed], Miss{Capture: s.label.Capture, Sort: missMissed, Truth: l.Class,
					Kind: l.Kind, Score: Number(math.NaN()), Label: &box, Shadow: l.Shadow, Weight: weight})
			} else if m := s.reported[at]; m.Class != l.Class {
				bySort[missClass] = append(bySort[missClass], Miss{Capture: s.label.Capture, Sort: missClass, Truth: l.Class, Kind: l.Kind,
					Given: m.Class, Score: Number(chanceReal(m)), Label: &box, Mark: markBox(m), Shadow: m.Shadow,
					Weight: m.Odds[m.Class] - m.Odds[l.Class]})
			}
		}
		for j, f := range s.match.fate {
			if m := s.reported[j]; f == fateFalse {
				bySort[missFalse] = append(bySort[missFalse], Miss{Capture: s.label.Capture, Sort: missFalse, Given: m.Class,
					Score: Number(chanceReal(m)), Mark: markBox(m), Shadow: m.Shadow, Weight: chanceReal(m)})
			}
		}
	}
	var out []Miss
	for _, sort := range []string{missMissed, missFalse, missClass} {
		list := bySort[sort]
		slices.SortStableFunc(list, func(a, b Miss) int { return cmp.Compare(b.Weight, a.Weight) })
		out = append(out, list[:min(len(list), opt.WorstMisses)]...)
	}
	return out
}

func markBox(m *detect.MarkRecord) *detect.Box {
	if m.Highlight != nil {
		return m.Highlight
	}
	return &m.Box
}

// markMiddle is the middle of where a mark lies.
func markMiddle(m *detect.MarkRecord) image.Point {
	b := markBox(m)
	return image.Pt(b.X+b.W/2, b.Y+b.H/2)
}
