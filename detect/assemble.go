package detect

import (
	"fmt"
	"math"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// mostClutter is how likely a mark may be clutter and still be told, since a thing passed by costs a person as much as two or three looks
// in vain. What lies between that and a half cost 2.6 looks for every thing more in 1,350 developing captures of the wide world, the other
// simulator and five more hands, and 1.5 on real pictures of half A by a finder and a judge that had not seen them; what lies between two
// thirds and that 3.0 and 8. A record holds no more digits of odds than this has, so that both say the same.
const mostClutter = 0.55

// Something says whether a mark of these odds is told at all.
func (o Odds) Something() bool { return o[Clutter] <= mostClutter }

// MostContrast is the contrast from which more tells nothing: where the bottom around is black, leveled strengths have no end.
const MostContrast = 50

// What a gap is uncertain by beyond where its edges were found; one standard deviation.
const (
	softEdgePx    = 2.0 // a highlight fades into its shadow over so many pixels
	softEdgeShare = 0.2 // and over so much of its own width
)

// By how much the altitudes of both sides must differ for the bottom to be called sloped.
const (
	slopedShare = 0.12 // of the altitude
	slopedPx    = 4    // and so many pixels
)

// elsewhereShare is the error, as part of it, of an altitude that only the other side shows.
const elsewhereShare = 0.05

const profileStep = 4 // rows between stored points of a profile

// records turns what was found in a panel into the records of the output, in pixels of the capture and, where the scale is
// known, in metres.
func (v *view) records(p *frame.Panel, index int, opt Options) (PanelRecord, []MarkRecord) {
	px, py := p.Box.Min.X, p.Box.Min.Y
	rec := PanelRecord{Box: BoxOf(p.Box), Whole: wholeOf(p), Notes: v.notes, Humps: []Hump{}, Regions: []Region{}, Nadir: []RowX{}}
	if opt.RangeM > 0 {
		rec.RangeM = &opt.RangeM
	}
	scale := v.scaleOf(p, opt)
	rows := profileRows(p.Echo.Rows)
	if v.nadir != nil {
		for _, r := range rows {
			rec.Nadir = append(rec.Nadir, RowX{float64(py + r), round2(float64(px) + v.nadir.x[r] - 0.5)})
		}
	}
	for i := range v.sides {
		s := &v.sides[i]
		if s.edge == nil {
			continue
		}
		line := make([]RowX, 0, len(rows))
		for _, r := range rows {
			if s.edge.known[r] {
				line = append(line, RowX{float64(py + r), round2(float64(px) + s.swath.x(r, s.edge.k[r]) - 0.5)})
			}
		}
		if s.swath.side == Port {
			rec.FirstReturn.Port, rec.Confidence.Port = line, round2(s.edge.mean)
		} else {
			rec.FirstReturn.Starboard, rec.Confidence.Starboard = line, round2(s.edge.mean)
		}
	}
	if a := v.altitude; a != nil {
		for _, r := range rows {
			rec.AltitudePx = append(rec.AltitudePx, RowAltitude{float64(py + r), round2(a.px[r]), round2(a.sd[r])})
			if scale != nil {
				h := features.Product(features.Measured{Value: a.px[r], SD: a.sd[r]}, *scale)
				rec.AltitudeM = append(rec.AltitudeM, RowAltitude{float64(py + r), features.Round4(h.Value), features.Round4(h.SD)})
			}
		}
	}
	for _, h := range v.humps {
		out := Hump{Rows: [2]int{py + h.r0, py + h.r1}, ReliefPx: round2(h.reliefPx)}
		if scale != nil {
			m := features.Product(features.Measured{Value: h.reliefPx, SD: h.sdPx}, *scale)
			out.ReliefM = &m
		}
		rec.Humps = append(rec.Humps, out)
	}
	var marks []MarkRecord
	for i := range v.sides {
		s := &v.sides[i]
		for _, f := range s.fields {
			rec.Regions = append(rec.Regions, Region{Kind: rockFieldKind, Box: s.swath.box(f.span, px, py)})
		}
		for _, m := range s.marks {
			if mark, keep := v.markRecord(s, m, index, px, py, scale, opt); keep {
				marks = append(marks, mark)
			}
		}
	}
	if p.Upright != nil {
		turnBack(p.Upright, &rec, marks)
	}
	if opt.AskClutter {
		clutterLast(marks) // so that the others have the names that they have without it
	}
	nameMarks(marks)
	return rec, marks
}

// nameMarks names the marks of a panel by where they lie. One that lies inside another may share its middle, and with it its name.
func nameMarks(marks []MarkRecord) {
	named := map[string]int{}
	for i := range marks {
		m := &marks[i]
		m.Mark = fmt.Sprintf("p%d-%c%04d-%04d", m.Panel, m.Side[0], m.Box.Y+m.Box.H/2, m.Box.X+m.Box.W/2)
		if named[m.Mark]++; named[m.Mark] > 1 {
			m.Mark = fmt.Sprintf("%s-%d", m.Mark, named[m.Mark])
		}
	}
}

// markRecord classifies one measured candidate and writes it down; keep is false for what is most likely clutter, unless it is asked for,
// and for stones of a rock field that don't stand out of it.
func (v *view) markRecord(s *sideView, m measured, panel, px, py int, scale *features.Measured, opt Options) (rec MarkRecord, keep bool) {
	hull := m.span()
	rec = MarkRecord{
		Schema: SchemaVersion, Panel: panel, Side: s.swath.side, Box: s.swath.box(hull, px, py),
		Rows: [2]int{py + hull.r0, py + hull.r1}, Evidence: m.numbers, Odds: m.odds, LongFace: m.wall,
	}
	rec.Class = rec.Odds.likeliest()
	told := rec.Odds.Something()
	switch {
	case opt.KeepClutter:
	case !told:
		rec.Class = Clutter
	case rec.Class == Clutter:
		rec.Class = rec.Odds.likeliestReal()
	}
	if m.highlight != nil {
		b := s.swath.box(m.highlight.span, px, py)
		rec.Highlight = &b
		rec.Axis = axisOf(s.swath, m.shape)
		rec.Contrast = round2(math.Min(MostContrast, (m.highlight.mean-1)/s.leveled.sigma))
	}
	if m.shadow != nil {
		b := s.swath.box(m.shadow.span, px, py)
		rec.Shadow = &b
		length := m.shadowLength()
		rec.ShadowPx = &length
		if m.highlight == nil {
			rec.Contrast = round2((1 - m.depth) / s.leveled.sigma)
		}
	}
	if m.gap != nil && m.highlight != nil {
		gap := features.Measured{Value: m.gap.Value, SD: math.Hypot(math.Hypot(m.gap.SD, softEdgePx), softEdgeShare*float64(m.highlight.cols()))}
		rec.GapPx = &gap
	}
	rec.SlantPx = features.Measured{Value: (m.near.Value + m.far.Value) / 2, SD: math.Hypot(m.near.SD, m.far.SD) / 2}
	mid := (hull.r0 + hull.r1) / 2
	for _, h := range v.humps {
		if mid >= h.r0 && mid < h.r1 {
			rec.OnHump = true
		}
	}
	sloped := false
	if v.altitude != nil && v.altitude.tilt[mid] != 0 {
		sloped = math.Abs(v.altitude.tilt[mid]) > slopedShare*v.altitude.px[mid]+slopedPx
	}
	if scale != nil {
		v.metres(&rec, m, s, mid, *scale, opt)
	}
	rec.Reasons = reasonsFor(rec, m, sloped)
	if opt.KeepClutter {
		return rec, true
	}
	return rec, (told || opt.AskClutter && rec.Odds.maybe()) && !s.lostInField(m)
}

// axisOf turns a highlight's shape to the picture's directions: a port swath is drawn mirrored.
func axisOf(s *swath, shape features.Shape) *Axis {
	angle := shape.Orientation * 180 / math.Pi
	if s.mirror() {
		angle = -angle
	}
	return &Axis{LengthPx: round2(shape.Length), WidthPx: round2(shape.Width), AngleDeg: round2(angle)}
}

// metres adds the lengths that the scale allows. Ranges are slant unless the display is slant-corrected, in which case the
// altitude can't be seen and heights stay unknown.
func (v *view) metres(rec *MarkRecord, m measured, s *sideView, mid int, scale features.Measured, opt Options) {
	at := features.Product(rec.SlantPx, scale)
	toM := func(p *features.Measured) *features.Measured {
		if p == nil {
			return nil
		}
		out := features.Product(*p, scale)
		return &out
	}
	if opt.RowSpacingM > 0 {
		rows := float64(rec.Rows[1] - rec.Rows[0])
		if m.highlight != nil {
			rows = float64(m.highlight.rows())
		}
		rec.LengthM = &features.Measured{Value: rows * opt.RowSpacingM, SD: opt.RowSpacingM}
	}
	if opt.SlantCorrected {
		rec.GroundM = &at
		return
	}
	rec.SlantM = &at
	rec.GapM, rec.ShadowM = toM(rec.GapPx), toM(rec.ShadowPx)
	h, ok := v.altitudeAt(s, mid)
	if !ok {
		return
	}
	alt := features.Product(h, scale)
	rec.AltitudeM = &alt
	if g, err := features.GroundRange(at, alt); err == nil {
		rec.GroundM = &g
	}
	if m.shadow == nil || m.highlight == nil || m.wall { // leveling has taken out what tells where a wall's shadow ends
		return
	}
	l := lie{m, s, h, rec.Odds}
	if !l.told(rec.Class) {
		return
	}
	rec.OffBottomM = toM(l.offBottom(rec.Class))
	if !m.shadowRunsOut {
		rec.HeightM = toM(l.height(rec.Class))
	}
}

// altitudeAt returns the altitude for one side and row in slant pixels, its error grown where the other side disagrees.
func (v *view) altitudeAt(s *sideView, r int) (features.Measured, bool) {
	if s.edge == nil || !s.swath.hasZero {
		if v.altitude == nil {
			return features.Measured{}, false
		}
		return features.Measured{Value: v.altitude.px[r], SD: math.Hypot(v.altitude.sd[r], elsewhereShare*v.altitude.px[r])}, true
	}
	h := features.Measured{Value: s.edge.k[r], SD: s.edge.sd[r]}
	for i := range v.sides {
		if o := &v.sides[i]; o != s && o.edge != nil && o.swath.hasZero {
			h, _ = features.SlopedAltitude(h, features.Measured{Value: o.edge.k[r], SD: o.edge.sd[r]})
		}
	}
	return h, true
}

// profileRows are the rows a profile is stored at: every profileStep-th and the last.
func profileRows(n int) []int {
	var out []int
	for r := 0; r < n; r += profileStep {
		out = append(out, r)
	}
	if last := n - 1; out[len(out)-1] != last {
		out = append(out, last)
	}
	return out
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }
