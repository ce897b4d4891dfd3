package words

import (
	"fmt"
	"math"
	"strings"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/units"
)

// Why tells what speaks for the reading of a mark, its numbers rounded to their errors, and what placing it had to assume.
func Why(m *detect.MarkRecord, u units.Lengths) []string {
	out := nonEmpty(echo(m, u), gap(m, u))
	if m.LongFace {
		out = append(out, "its face goes on over "+Count(m.Rows[1]-m.Rows[0], "row")+", dark behind it: a wall, a steep bank or a long hull")
	}
	if m.HeightM != nil && m.Class != detect.SuspendedTarget {
		out = append(out, "its top stands "+Length(*m.HeightM, u)+" over the bottom, from where the shadow ends")
	}
	if o := m.OffBottomM; o != nil && m.Class == detect.SuspendedTarget {
		out = append(out, "its underside is "+OffBottom(*o, u)+" off the bottom, from where the shadow starts")
	}
	e := m.Evidence
	if others := math.Round(math.Expm1(e["crowd"])); others >= 6 {
		out = append(out, fmt.Sprintf("%.0f other echoes close by: among stones a fish is hard to tell from one more", others))
	}
	if m.Highlight != nil && m.Shadow != nil && e["before"] > 0 && e["before"] < 0.75 && e["beyond"] > 1.2 {
		out = append(out, "dark before it and bright behind: it may be a hollow rather than something that stands up")
	}
	if e["cut"] > 0 {
		out = append(out, "it reaches the edge of the picture and may go on outside")
	}
	if m.OnHump {
		out = append(out, "the bottom comes up there")
	}
	for _, r := range m.Reasons {
		for _, said := range []string{"position:", "no position:", ByHand, NoLongerFound} {
			if strings.HasPrefix(r, said) {
				out = append(out, inUnits(r, u))
			}
		}
	}
	return out
}

// Reasons of marks that a person made or kept.
const (
	ByHand        = "drawn by hand"
	NoLongerFound = "kept because a person decided on it; the newest triage does not find it"
)

// echo tells of the echo and the shadow behind it.
func echo(m *detect.MarkRecord, u units.Lengths) string {
	shadow := ""
	switch {
	case m.ShadowM != nil:
		shadow = " " + Length(*m.ShadowM, u) + " long"
	case m.ShadowPx != nil:
		shadow = " " + Pixels(*m.ShadowPx) + " long"
	}
	switch {
	case m.Highlight == nil && m.Shadow == nil:
		return ""
	case m.Highlight == nil:
		return "a dark patch" + shadow + " with no clear echo before it"
	}
	where := ""
	if m.Evidence["wet"] > 0 {
		where = " in open water, before the first echo of the bottom"
	}
	s := "an echo" + where
	if m.Contrast >= 0.5 { // a mark drawn by hand has none
		s = strength(m.Contrast) + " echo" + where + " (" + Contrast(m.Contrast) + ")"
	}
	if m.Shadow == nil {
		if where != "" || m.Contrast == 0 {
			return s
		}
		return s + ", with no shadow of its own: weak evidence"
	}
	return s + ", with a shadow" + shadow + " behind it"
}

// Contrast tells how far an echo stands out: "5 times the speckle around it".
func Contrast(v float64) string {
	if v >= detect.MostContrast {
		return fmt.Sprintf("more than %d times the speckle around it", detect.MostContrast)
	}
	return fmt.Sprintf("%.*f times the speckle around it", digitsOf(v), v)
}

func digitsOf(contrast float64) int {
	if contrast < 3 {
		return 1
	}
	return 0
}

// strength puts a contrast, in speckle standard deviations over the surroundings, into a word (common sense, no source).
func strength(contrast float64) string {
	switch {
	case contrast >= 8:
		return "a very strong"
	case contrast >= 4:
		return "a strong"
	case contrast >= 2:
		return "a clear"
	}
	return "a faint"
}

// gap tells where the shadow starts behind the echo and what follows.
func gap(m *detect.MarkRecord, u units.Lengths) string {
	g := m.GapPx
	if g == nil {
		return ""
	}
	size := Pixels(*g)
	if m.GapM != nil {
		size = Length(*m.GapM, u)
	}
	look := ""
	if m.Class == detect.SuspendedTarget {
		if m.Evidence["wet"] > 0 && g.Value <= 3.5*g.SD+1 {
			return "" // before the first echo of the bottom it hangs, wherever a shadow begins
		}
		look = "; its look speaks for hanging, so look twice"
	}
	switch {
	case g.Value <= 2*g.SD:
		return "the shadow touches it: it lies on the bottom, or too close above to tell" + look
	case g.Value <= 3.5*g.SD+1:
		return "the shadow starts " + size + " behind it, about as much as that can be off by: on the bottom or just above it" + look
	case m.Class == detect.RaisedStructure:
		return "the shadow starts " + size + " behind it: so far behind its bright face lies what throws it, or part of it is clear of the bottom"
	case m.Class != detect.SuspendedTarget:
		return "the shadow starts " + size + " behind it: part of it may stand clear of the bottom"
	}
	return "the shadow starts " + size + " behind it, with plain bottom between: it hangs in the water"
}

// Distance writes a bare distance in metres, such as an error radius, to two digits at most: "4 m", "0.3 m".
func Distance(m float64, u units.Lengths) string {
	return strings.TrimPrefix(Length(features.Measured{Value: m, SD: 0.2 * m}, u), "under ")
}
