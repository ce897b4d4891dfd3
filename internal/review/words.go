// Package review shows a run to a person: the page that explains one capture, the page to go through a whole run, the
// loopback server that takes decisions, and the printed contact sheet. It draws through internal/overlay and never touches
// the detector's workings.
package review

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/overlay"
	"shadowgap/internal/words"
)

// rankedOdds returns the classes of a mark with the likeliest first; ties keep the usual order.
func rankedOdds(o detect.Odds) []detect.Class {
	cs := slices.Clone(detect.Classes[:])
	slices.SortStableFunc(cs, func(a, b detect.Class) int {
		switch {
		case o[a] > o[b]:
			return -1
		case o[a] < o[b]:
			return 1
		}
		return 0
	})
	return cs
}

// Verdict says in words what a mark most likely is, and admits it when the odds do not decide, and when a mark that is told is likeliest
// nothing.
func Verdict(m detect.MarkRecord) string {
	cs := rankedOdds(m.Odds)
	a, b := cs[0], cs[1]
	name := overlay.StyleOf(a).Name
	if a == detect.Clutter && m.Class != "" && m.Class != detect.Clutter && m.Odds.Something() {
		return "perhaps " + article(overlay.StyleOf(m.Class).Name) + ", or nothing"
	}
	switch p := m.Odds[a]; {
	case p >= 0.9:
		return "almost surely " + article(name)
	case p >= 0.75:
		return "likely " + article(name)
	case p >= 0.55:
		return "more likely than not " + article(name)
	case p < 0.35:
		return "undecided: no class stands out"
	}
	return fmt.Sprintf("undecided between %s and %s", article(name), article(overlay.StyleOf(b).Name))
}

func article(noun string) string {
	switch {
	case noun == "clutter":
		return noun
	case strings.ContainsRune("aeiou", rune(noun[0])):
		return "an " + noun
	}
	return "a " + noun
}

// percent writes odds for a person; see words.Odds.
func percent(p float64) string { return words.Odds(p) }

// number writes a measured length with its error, in u when it is known in metres and in pixels when it is not; "" when it
// is known in neither. What came out at zero or below is told by its bound: no length is negative.
func number(m, px *features.Measured, u overlay.Units) string {
	switch {
	case m != nil && m.Value <= 0:
		return words.Length(*m, u)
	case m == nil && px != nil && px.Value <= 0:
		return words.Pixels(*px)
	case m != nil:
		k := u.FromMetres(1)
		return fmt.Sprintf("%s %s", plusMinus(m.Value*k, m.SD*k), u.Symbol())
	case px != nil:
		return plusMinus(px.Value, px.SD) + " px"
	}
	return ""
}

// plusMinus keeps as many decimals as two digits of the error deserve.
func plusMinus(v, sd float64) string {
	digits := 1
	if sd > 0 && sd < 1-1e-9 {
		digits = min(3, 1-int(math.Floor(math.Log10(sd)+1e-9)))
	}
	if sd >= 10 {
		digits = 0
	}
	return fmt.Sprintf("%.*f ± %.*f", digits, v, digits, sd)
}

// fact is one measured quantity of a mark, in words.
type fact struct {
	Name  string `json:"n"`
	Value string `json:"v"`
}

// factsOf lists what was measured on a mark with one standard deviation each, leaving out what is unknown.
func factsOf(m detect.MarkRecord, u overlay.Units) []fact {
	var out []fact
	add := func(name, v string) {
		if v != "" {
			out = append(out, fact{name, v})
		}
	}
	add("side", string(m.Side))
	add("slant range", number(m.SlantM, &m.SlantPx, u))
	add("ground range", number(m.GroundM, nil, u))
	add("altitude there", number(m.AltitudeM, nil, u))
	if g := m.GapPx; g != nil && g.Value <= 0 {
		add("gap", "none: the shadow touches it")
	} else {
		add("gap", number(m.GapM, m.GapPx, u))
	}
	add("shadow length", number(m.ShadowM, m.ShadowPx, u))
	add("height", number(m.HeightM, nil, u))
	add("underside off the bottom", number(m.OffBottomM, nil, u))
	add("length along track", number(m.LengthM, nil, u))
	if m.LengthM == nil {
		add("rows", fmt.Sprintf("%d (row spacing unknown)", m.Rows[1]-m.Rows[0]))
	}
	if a := m.AxisDeg; a != nil {
		add("long axis", fmt.Sprintf("bears %.0f ± %.0f° true", a.Value, a.SD))
	}
	if m.Contrast > 0 {
		add("echo", words.Contrast(m.Contrast))
	}
	if p := m.Position; p != nil {
		add("position", fmt.Sprintf("%.6f, %.6f, within about %s", p.Lat, p.Lon, words.Distance(p.ErrorM, u)))
	}
	if m.OnHump {
		add("hump", "lies on or beside a hump")
	}
	return out
}

// doubtsOf lists what could make a mark's reading wrong, from its own numbers and the panel it lies in.
func doubtsOf(capt detect.CaptureRecord, m detect.MarkRecord) []string {
	var d []string
	cs := rankedOdds(m.Odds)
	if a, b := m.Odds[cs[0]], m.Odds[cs[1]]; a-b < 0.2 {
		d = append(d, fmt.Sprintf("The odds are close: %s %s, %s %s. Treat the class as open.",
			overlay.StyleOf(cs[0]).Name, percent(a), overlay.StyleOf(cs[1]).Name, percent(b)))
	}
	switch g := m.GapPx; {
	case g == nil || math.Abs(g.Value) >= 2*g.SD:
	case g.Value <= 0:
		d = append(d, "The shadow touches the echo; its gap is within twice its own error of zero: a thing on the bottom and one just above "+
			"it look the same.")
	default:
		d = append(d, fmt.Sprintf("The gap (%s px) is within twice its own error of zero: a thing on the bottom and one "+
			"just above it look the same.", plusMinus(g.Value, g.SD)))
	}
	if m.Shadow == nil && m.Highlight != nil {
		d = append(d, "No shadow was found behind it, so neither its height nor a gap could be measured. Noise, bubbles or a weak fish can "+
			"look like this.")
	}
	if m.Highlight == nil {
		d = append(d, "There is a shadow but no clear highlight before it: a hollow in the bottom, or a slope turned away, also shows dark.")
	}
	if m.Rows[1]-m.Rows[0] <= 4 {
		d = append(d, "It is only a few rows long: a single burst of interference could draw it.")
	}
	if m.Highlight != nil && m.Contrast > 0 && m.Contrast < 1.5 {
		d = append(d, fmt.Sprintf("The echo is faint, %s.", words.Contrast(m.Contrast)))
	}
	if m.SlantM == nil && m.GroundM == nil { // a display that is slant-corrected has the one without the other
		d = append(d, "The range setting is unknown, so there are no lengths in metres or feet.")
	}
	if m.Panel >= 0 && m.Panel < len(capt.Panels) {
		d = append(d, panelDoubts(capt.Panels[m.Panel], m)...)
	}
	return d
}

func panelDoubts(p detect.PanelRecord, m detect.MarkRecord) []string {
	var d []string
	conf := p.Confidence.Port
	line := p.FirstReturn.Port
	if m.Side == detect.Starboard {
		conf, line = p.Confidence.Starboard, p.FirstReturn.Starboard
	}
	switch {
	case len(line) == 0:
		d = append(d, "The first return on this side is not in view, so the altitude there is not measured.")
	case conf < 0.7:
		d = append(d, fmt.Sprintf("The first return on this side is uncertain (confidence %s); ranges and heights that use it are too.",
			percent(conf)))
	}
	for _, r := range p.Regions {
		if m.Box.Rect().Overlaps(r.Box.Rect()) {
			d = append(d, "It lies in a rock field, where one rock's shadow falls on the next and pairs are easily mixed up.")
			break
		}
	}
	row := float64(m.Rows[0]+m.Rows[1]) / 2
	a, okA := at(p.FirstReturn.Port, p.Nadir, row)
	b, okB := at(p.FirstReturn.Starboard, p.Nadir, row)
	if okA && okB && a > 0 && b > 0 && math.Abs(a-b) > 0.12*(a+b)/2 {
		d = append(d, fmt.Sprintf("Altitude differs between the sides here (port %.0f px, starboard %.0f px): the bottom slopes, and a "+
			"flat one is assumed for heights and ranges.", a, b))
	}
	edge := 4
	if m.Box.X <= p.Box.X+edge || m.Box.X+m.Box.W >= p.Box.X+p.Box.W-edge || m.Box.Y <= p.Box.Y+edge ||
		m.Box.Y+m.Box.H >= p.Box.Y+p.Box.H-edge {
		d = append(d, "It touches the edge of the panel and may go on outside it.")
	}
	return d
}

// at returns the distance in pixels from the nadir to the first return at the nearest row given.
func at(line, nadir []detect.RowX, row float64) (float64, bool) {
	x, ok := nearest(line, row)
	n, ok2 := nearest(nadir, row)
	return math.Abs(x - n), ok && ok2
}

func nearest(line []detect.RowX, row float64) (float64, bool) {
	best, x := math.Inf(1), 0.0
	for _, p := range line {
		if d := math.Abs(p[0] - row); d < best {
			best, x = d, p[1]
		}
	}
	return x, !math.IsInf(best, 1)
}
