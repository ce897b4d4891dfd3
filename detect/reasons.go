package detect

import (
	"fmt"
	"math"

	"shadowgap/features"
)

// reasonsFor writes down, in plain words with the numbers behind them, what speaks for and against the reading of a mark.
func reasonsFor(m MarkRecord, g measured, sloped bool) []string {
	var r []string
	switch {
	case g.highlight == nil:
		r = append(r, fmt.Sprintf("a dark patch %d rows tall and %s long with no clear bright face before it", g.shadow.rows(), px(*m.ShadowPx)))
	case g.shadow == nil && g.highlight.wet:
		r = append(r, fmt.Sprintf("a bright return inside the water column, %.1f times the spread of the water's own noise", m.Contrast))
	case g.shadow == nil:
		r = append(r, fmt.Sprintf("a bright return %.1f spreads over the bottom around it, with no shadow that could be its own: weak evidence", m.Contrast))
	default:
		r = append(r, fmt.Sprintf("a bright return %.1f spreads over the bottom around it, with a shadow %s long behind it", m.Contrast, px(*m.ShadowPx)))
	}
	if g.gap != nil {
		gap, sd := g.gap.Value, g.gap.SD
		switch {
		case math.Abs(gap) <= 2*sd || gap < 0:
			r = append(r, fmt.Sprintf("the shadow touches the return: gap %s, zero within its error, so it lies on the bottom or too close above it to tell", px(*g.gap)))
		case gap <= 3.5*sd+1:
			r = append(r, fmt.Sprintf("gap %s is near its own error: on the bottom or just off it can't be told apart here", px(*g.gap)))
		default:
			r = append(r, fmt.Sprintf("the shadow starts %s behind the return, with bottom of %.0f %% strength between them: it hangs in the water", px(*g.gap), 100*g.between))
		}
	}
	if m.HeightM != nil {
		r = append(r, fmt.Sprintf("its top is %.2f ± %.2f m over the bottom, from where the shadow ends", m.HeightM.Value, m.HeightM.SD))
	}
	if m.OffBottomM != nil && m.Class == SuspendedTarget {
		r = append(r, fmt.Sprintf("its underside is %.2f ± %.2f m off the bottom, from where the shadow starts", m.OffBottomM.Value, m.OffBottomM.SD))
	}
	if g.highlight != nil && g.shadow != nil && g.before < 0.75 && g.behind > 1.2 {
		r = append(r, "dark before it and bright behind the shadow: this may be a pit, not a thing that stands up")
	}
	if g.crowd >= 6 {
		r = append(r, fmt.Sprintf("%d other returns close by: among rocks a fish is hard to tell from a stone", g.crowd))
	}
	if g.cut {
		r = append(r, "it reaches the edge of the picture, so its size is a least size")
	}
	if sloped {
		r = append(r, "the two sides disagree about the altitude: the bottom slopes, and heights are less sure than on flat ground")
	}
	if m.OnHump {
		r = append(r, "it lies beside rows where the bottom comes up")
	}
	if c := m.Odds[Clutter]; c >= 0.5 {
		r = append(r, fmt.Sprintf("weak: with %.0f %% it is nothing but texture; told because a look costs little", 100*c))
	} else if first, second := m.Odds.topTwo(); m.Odds[first]-m.Odds[second] < 0.2 {
		r = append(r, fmt.Sprintf("undecided: %s %.0f %%, %s %.0f %%", first, 100*m.Odds[first], second, 100*m.Odds[second]))
	}
	return r
}

// topTwo returns the two likeliest classes.
func (o Odds) topTwo() (first, second Class) {
	first = o.likeliest()
	second = ""
	for _, c := range Classes {
		if c != first && (second == "" || o[c] > o[second]) {
			second = c
		}
	}
	return first, second
}

// px writes a length in pixels with its error.
func px(m features.Measured) string { return fmt.Sprintf("%.1f ± %.1f px", m.Value, m.SD) }
