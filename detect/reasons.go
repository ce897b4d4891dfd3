package detect

import (
	"fmt"
	"math"

	"shadowgap/features"
)

// From where on a doubt is told. The limits of the gap are those at which its words change, in its own errors (and pixels).
const (
	zeroGapErrors  = 2.0 // up to so many of its own errors a gap is zero
	closeGapErrors = 3.5 // and up to so many, and a pixel, it isn't clear of zero
	closeGapPx     = 1.0
	pitBefore      = 0.75 // leveled strength before a highlight under which it is dark there, as in a pit
	pitBehind      = 1.2  // leveled strength behind a shadow over which it is bright there, as on a pit's far wall
	crowded        = 6    // other returns close by from which a mark lies in a crowd
	weakOdds       = 0.5  // odds of clutter from which a mark is weak: it is more likely nothing than something
	closeOdds      = 0.2  // difference between the two greatest odds under which neither is told alone
)

// reasonsFor writes down, in plain words with the numbers behind them, what speaks for and against the reading of a mark.
func reasonsFor(m MarkRecord, g measured, sloped bool) []string {
	r := []string{seen(m, g)}
	r = append(r, gapReasons(m, g)...)
	if g.wall {
		r = append(r, fmt.Sprintf("its face goes on over %d rows, dark behind it: a wall, a steep bank or a long hull", g.highlight.rows()))
	}
	r = append(r, heightReasons(m, g)...)
	if g.highlight != nil && g.shadow != nil && g.before < pitBefore && g.behind > pitBehind {
		r = append(r, "dark before it and bright behind the shadow: this may be a pit, not a thing that stands up")
	}
	if g.crowd >= crowded {
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
	if doubt := m.doubt(); doubt != "" {
		r = append(r, doubt)
	}
	return r
}

// seen says what a mark consists of.
func seen(m MarkRecord, g measured) string {
	switch {
	case g.highlight == nil:
		return fmt.Sprintf("a dark patch %d rows tall and %s long with no clear bright face before it", g.shadow.rows(), px(*m.ShadowPx))
	case g.shadow == nil && g.highlight.wet:
		return fmt.Sprintf("a bright return inside the water column, %.1f times the spread of the water's own noise", m.Contrast)
	case g.shadow == nil:
		return fmt.Sprintf("a bright return %.1f spreads over the bottom around it, with no shadow that could be its own: weak evidence",
			m.Contrast)
	}
	return fmt.Sprintf("a bright return %.1f spreads over the bottom around it, with a shadow %s long behind it", m.Contrast, px(*m.ShadowPx))
}

// gapReasons say what the gap of a mark means, and where its look says otherwise.
func gapReasons(m MarkRecord, g measured) []string {
	if g.gap == nil {
		return nil
	}
	r := []string{gapReason(*g.gap, g.between)}
	switch {
	case m.Class == SuspendedTarget && g.touches():
		r = append(r, "its look speaks for hanging, its gap does not: look twice")
	case m.Class == BottomObject && g.clearGap():
		r = append(r, "its look speaks for lying on the bottom, its gap for hanging: look twice")
	}
	return r
}

// heightReasons say how far over the bottom a mark's top and underside are, or why that can't be told.
func heightReasons(m MarkRecord, g measured) []string {
	var r []string
	if m.Class != Clutter && g.shadow != nil && g.shadowRunsOut {
		r = append(r, "its shadow runs out of the picture: how high it is can't be told")
	}
	if m.Class == SuspendedTarget && g.highlight != nil && g.shadow != nil && m.AltitudeM != nil && m.OffBottomM == nil {
		r = append(r, "its shadow hardly stands out of the bottom's own texture: how high it hangs can't be told")
	}
	if m.HeightM != nil {
		r = append(r, fmt.Sprintf("its top is %.2f ± %.2f m over the bottom, from where the shadow ends", m.HeightM.Value, m.HeightM.SD))
	}
	if m.OffBottomM != nil && m.Class == SuspendedTarget {
		r = append(r, fmt.Sprintf("its underside is %.2f ± %.2f m off the bottom, from where the shadow starts",
			m.OffBottomM.Value, m.OffBottomM.SD))
	}
	return r
}

// gapReason says what a gap means; between is the leveled strength of what fills it.
func gapReason(gap features.Measured, between float64) string {
	switch {
	case math.Abs(gap.Value) <= zeroGapErrors*gap.SD || gap.Value < 0:
		return fmt.Sprintf("the shadow touches the return: gap %s, zero within its error, so it lies on the bottom or too close above it to tell",
			px(gap))
	case gap.Value <= closeGapErrors*gap.SD+closeGapPx:
		return fmt.Sprintf("gap %s is near its own error: on the bottom or just off it can't be told apart here", px(gap))
	}
	return fmt.Sprintf("the shadow starts %s behind the return, with bottom of %.0f %% strength between them: it hangs in the water",
		px(gap), 100*between)
}

// doubt says how unsure the odds are; "" when they are clear.
func (m MarkRecord) doubt() string {
	o := m.Odds
	if m.Class == Clutter {
		return fmt.Sprintf("with %.0f %% it is nothing but texture; kept because what is likeliest clutter was asked for", 100*o[Clutter])
	}
	if c := o[Clutter]; c >= weakOdds {
		return fmt.Sprintf("weak: with %.0f %% it is nothing but texture; told because a look costs little", 100*c)
	}
	if first, second := o.topTwo(); o[first]-o[second] < closeOdds {
		return fmt.Sprintf("undecided: %s %.0f %%, %s %.0f %%", first, 100*o[first], second, 100*o[second])
	}
	return ""
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
