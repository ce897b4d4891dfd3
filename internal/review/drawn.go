package review

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/survey"
	"shadowgap/internal/words"
)

// handSD is how well a person puts the edge of a box where it belongs, pixels, one standard deviation (a choice, no source).
const handSD = 2.0

// drawnMark measures a mark that a person drew as found ones are measured, and places it. It is false when the boxes lie in no
// panel of the capture.
func drawnMark(c detect.CaptureRecord, d Decision, way *survey.Scene) (decided.Mark, bool) {
	hull := image.Rectangle{}
	for _, b := range []*detect.Box{d.Highlight, d.Shadow} {
		if b != nil {
			hull = hull.Union(b.Rect())
		}
	}
	panel := slices.IndexFunc(c.Panels, func(p detect.PanelRecord) bool { return hull.Overlaps(p.Box.Rect()) })
	if panel < 0 {
		return decided.Mark{}, false
	}
	m := decided.Mark{
		MarkRecord: detect.MarkRecord{
			Schema: detect.SchemaVersion, Capture: c.Capture, SHA256: c.SHA256, Mark: "drawn-" + d.ID, Panel: panel, Side: sideOf(c, d),
			Class: d.Class, Odds: drawnOdds(d), Box: detect.BoxOf(hull), Highlight: d.Highlight, Shadow: d.Shadow,
			Rows: [2]int{hull.Min.Y, hull.Max.Y}, Reasons: []string{words.ByHand},
		},
		Name: d.Name, Note: d.Note, Verdict: decided.Drawn,
	}
	p := c.Panels[panel]
	measureDrawn(&m.MarkRecord, p)
	for _, h := range p.Humps {
		if mid := (m.Rows[0] + m.Rows[1]) / 2; mid >= h.Rows[0] && mid < h.Rows[1] {
			m.OnHump = true
		}
	}
	if way == nil {
		m.Reasons = append(m.Reasons, "no position: the boat's way through this capture is not known")
		return m, true
	}
	placed := []detect.MarkRecord{m.MarkRecord}
	panels := make([]detect.PanelRecord, len(c.Panels)) // boxes are all that placing marks needs
	for i := range c.Panels {
		panels[i].Box = c.Panels[i].Box
	}
	survey.Place(*way, panels, placed)
	m.MarkRecord = placed[0]
	return m, true
}

// drawnOdds are sure of the class a person gave, or little surer than even where the person said so.
func drawnOdds(d Decision) detect.Odds {
	p := 1.0
	if d.Sure != nil && !*d.Sure {
		p = 0.6
	}
	o := detect.Odds{}
	for _, c := range detect.Classes {
		o[c] = (1 - p) / float64(len(detect.Classes)-1)
	}
	o[d.Class] = p
	return o
}

// measureDrawn takes ranges, gap, shadow and heights off the boxes of a mark, from the nadir of its panel.
func measureDrawn(m *detect.MarkRecord, p detect.PanelRecord) {
	row := float64(m.Rows[0]+m.Rows[1]-1) / 2
	nadir, ok := nearest(p.Nadir, row)
	if !ok {
		return
	}
	span := func(b *detect.Box) (near, far *features.Measured) {
		if b == nil {
			return nil, nil
		}
		// Whole numbers are pixel centres, so a box's edges lie half a pixel out.
		l, r := math.Abs(float64(b.X)-0.5-nadir), math.Abs(float64(b.X+b.W)-0.5-nadir)
		return &features.Measured{Value: math.Min(l, r), SD: handSD}, &features.Measured{Value: math.Max(l, r), SD: handSD}
	}
	near, far := span(m.Highlight)
	shadowNear, shadowFar := span(m.Shadow)
	if near == nil {
		near, far = shadowNear, shadowNear
	}
	m.SlantPx = features.Measured{Value: (near.Value + far.Value) / 2, SD: math.Hypot(near.SD, far.SD) / 2}
	if m.Shadow != nil {
		length := features.ShadowLength(*shadowNear, *shadowFar)
		m.ShadowPx = &length
		if m.Highlight != nil {
			gap := features.Gap(*far, *shadowNear)
			m.GapPx = &gap
		}
	}
	h, hasAltitude := altitudeAt(p.AltitudePx, row)
	scale, ok := survey.PanelScale(p, row)
	if !ok {
		return
	}
	metres := func(px features.Measured) *features.Measured {
		v := features.Product(px, features.Measured{Value: scale})
		return &v
	}
	m.SlantM = metres(m.SlantPx)
	if m.GapPx != nil {
		m.GapM = metres(*m.GapPx)
	}
	if m.ShadowPx != nil {
		m.ShadowM = metres(*m.ShadowPx)
	}
	if !hasAltitude {
		return
	}
	m.AltitudeM = metres(h)
	if g, err := features.GroundRange(*m.SlantM, *m.AltitudeM); err == nil {
		m.GroundM = &g
	}
	if m.Highlight == nil || m.Shadow == nil {
		return
	}
	top := *shadowNear // the ray grazes the top where the shadow starts; a fish's echo is thin, so its middle serves
	if m.Class == detect.SuspendedTarget {
		top = m.SlantPx
	}
	if z, err := features.HeightFromShadow(h, top, *shadowFar); err == nil {
		m.HeightM = metres(z)
	}
	if z, err := features.UndersideFromShadow(h, *far, *shadowNear); err == nil {
		m.OffBottomM = metres(z)
	}
}

// altitudeAt is the altitude in pixels of slant range at the nearest row told.
func altitudeAt(profile []detect.RowAltitude, row float64) (features.Measured, bool) {
	best := math.Inf(1)
	var h features.Measured
	for _, a := range profile {
		if d := math.Abs(a[0] - row); d < best && a[1] > 0 {
			best, h = d, features.Measured{Value: a[1], SD: a[2]}
		}
	}
	return h, !math.IsInf(best, 1)
}
