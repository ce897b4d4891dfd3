// Package detect turns the picture of a side-scan capture into marks: read, frame, nadir, first return, level, segment,
// find, measure, classify, hold. Every stage is a function from a value to a value in a file of its own name.
package detect

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"
	"slices"

	"shadowgap/detect/frame"
	"shadowgap/features"
	"shadowgap/models"
	"shadowgap/models/finder"
	"shadowgap/models/reader"
)

// Options are what the user knows about a capture. The zero value means nothing is known.
type Options struct {
	RangeM         float64         // range setting per side in metres, slant; 0 = unknown
	Panel          image.Rectangle // the side-scan panel in pixels of the capture, set by hand; empty = find it
	NadirX         float64         // column of the nadir in pixels of the capture, set by hand; 0 = find it
	Side           Side            // the only side in view, set by hand; "" = find out
	Layouts        []Layout        // by screen size, for what the three above leave open
	NewestAtBottom bool            // rows run the other way
	SlantCorrected bool            // columns are ground range, not slant range
	RowSpacingM    float64         // distance made good between two rows in metres; 0 = unknown
	Model          *models.Model   // nil = the one the program ships with
	finder         *finder.Finder
	judge          *models.Forest                     // Model, for many marks at once
	visit          func(p *frame.Panel, sv *sideView) // shown every side once it is leveled; nothing is looked for then
	KeepClutter    bool                               // also return what is most likely clutter, for fitting
}

// Result is what one capture holds, before it is given a name, a hash and a position.
type Result struct {
	Status   Status
	Why      string // set when Status is not StatusRead
	Panels   []PanelRecord
	Marks    []MarkRecord // most interesting first
	Holds    []HoldRecord
	Interest float64 // 0 to 1
	Counts   map[Class]int
}

// Detector detects marks in one capture after another. It keeps memory from each for the next, and nothing else; the zero value
// is ready. Close frees what it holds outside Go's memory. It is not for use by several goroutines at once.
type Detector struct {
	arena  features.Arena
	reader *reader.Reader // loaded by the first Run, like finder
	finder *finder.Finder
	model  *models.Model // what judge was laid out from
	judge  *models.Forest
}

// Close frees the networks that Run loaded. The Detector can be used again; the next Run loads them anew.
func (d *Detector) Close() error {
	var err error
	if d.reader != nil {
		err = d.reader.Close()
	}
	if d.finder != nil {
		err = errors.Join(err, d.finder.Close())
	}
	d.reader, d.finder = nil, nil
	return err
}

// Run is Detector.Run for a single picture.
func Run(ctx context.Context, img image.Image, opt Options) (*Result, error) {
	var d Detector
	res, err := d.Run(ctx, img, opt)
	return res, errors.Join(err, d.Close())
}

// Run detects marks in a decoded picture of any palette. Boxes are in pixels of img with its bounds' origin at 0, 0. It
// returns an error only when ctx ends or a stage fails; a picture with no side-scan in it is a Result with
// StatusNoPanel and the reason.
func (d *Detector) Run(ctx context.Context, img image.Image, opt Options) (*Result, error) {
	if opt.RangeM < 0 || math.IsNaN(opt.RangeM) || math.IsInf(opt.RangeM, 0) {
		return nil, fmt.Errorf("range %v m per side: must be positive, or 0 when unknown", opt.RangeM)
	}
	if opt.Side != "" && opt.Side != Port && opt.Side != Starboard {
		return nil, fmt.Errorf("side %q is neither %s nor %s", opt.Side, Port, Starboard)
	}
	opt = opt.withLayout(img.Bounds().Size())
	if opt.Model == nil {
		m, err := models.Embedded()
		if err != nil {
			return nil, err
		}
		opt.Model = m
	}
	d.arena.Reset()
	if d.reader == nil {
		r, err := reader.New()
		if err != nil {
			return nil, err
		}
		d.reader = r
	}
	if d.finder == nil {
		f, err := finder.New()
		if err != nil {
			return nil, err
		}
		d.finder = f
	}
	opt.finder = d.finder
	if d.model != opt.Model {
		d.model, d.judge = opt.Model, models.NewForest(opt.Model)
	}
	opt.judge = d.judge
	panels, why, err := frame.Find(ctx, img, frame.Options{
		Panel: opt.Panel, NadirX: opt.NadirX, Side: string(opt.Side), Reader: d.reader, Arena: &d.arena,
	})
	if err != nil {
		return nil, fmt.Errorf("finding panels: %w", err)
	}
	if len(panels) == 0 {
		return &Result{Status: StatusNoPanel, Why: why, Counts: map[Class]int{}}, nil
	}
	res := &Result{Status: StatusRead, Counts: map[Class]int{}}
	for i, p := range panels {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("detecting: %w", err)
		}
		v, err := detectPanel(&p, opt, &d.arena)
		if err != nil {
			return nil, fmt.Errorf("panel %d: %w", i, err)
		}
		rec, marks := v.records(&p, i, opt)
		res.Panels = append(res.Panels, rec)
		res.Marks = append(res.Marks, marks...)
	}
	res.Holds = findHolds(res.Marks, res.Panels)
	rank(res)
	return res, nil
}

// view is everything found in one panel.
type view struct {
	nadir    *nadirLine // nil when not in view
	sides    []sideView
	altitude *altitudeProfile // nil when unknown
	humps    []hump
	notes    []string
}

// sideView is everything found on one side of a panel.
type sideView struct {
	swath   *swath
	edge    *bottomEdge // nil when the first return isn't in view
	leveled *leveled
	marks   []measured
	fields  []rockField
}

const minSideCols = 24 // a narrower strip beside the nadir holds nothing to find

// detectPanel runs every stage on one panel.
func detectPanel(p *frame.Panel, opt Options, arena *features.Arena) (*view, error) {
	v := &view{notes: p.Notes}
	if n := dropBadRows(p.Echo, p.Valid); n > 0 {
		v.notes = append(v.notes, fmt.Sprintf("%d rows of lost pings or interference left out", n))
	}
	if p.Nadir != nil {
		line := refineNadir(p.Echo, p.Valid, p.Nadir, max(4, 1.6*p.CellPx))
		v.nadir = &line
		for i, side := range [...]Side{Port, Starboard} {
			width := line.x[p.Echo.Rows/2]
			if side == Starboard {
				width = float64(p.Echo.Cols) - width
			}
			if width < minSideCols {
				continue
			}
			// once a side is measured only numbers are left of it
			used := arena.Mark()
			s, err := cutSwath(p.Echo, p.Valid, line.x, side, true, arena)
			if err != nil {
				return nil, err
			}
			sv := newSideView(s, p, i, opt)
			if err := sv.find(p, opt); err != nil {
				return nil, err
			}
			arena.Release(used)
			v.sides = append(v.sides, *sv)
		}
	} else if err := v.detectOneSide(p, opt, arena); err != nil {
		return nil, err
	}
	var edges [2]*bottomEdge
	for i := range v.sides {
		if s := &v.sides[i]; s.edge != nil && s.swath.hasZero {
			edges[sideIndex(s.swath.side)] = s.edge
		}
	}
	if v.altitude = mergeAltitude(edges[0], edges[1], p.Echo.Rows); v.altitude != nil {
		v.humps = v.altitude.findHumps()
	}
	return v, nil
}

// detectOneSide handles a panel that shows one side only.
func (v *view) detectOneSide(p *frame.Panel, opt Options, arena *features.Arena) error {
	side := Side(p.Side)
	s := wholeSwath(p.Echo, p.Valid, arena)
	if side == Port {
		s.turn()
	}
	sv := newSideView(s, p, sideIndex(side), opt)
	if sv.edge != nil && transmitAtEdge(s, sv.edge) {
		s.hasZero = true
		x := s.x(0, 0)
		line := straightNadir(x, p.Echo.Rows)
		v.nadir = &line
		v.notes = append(v.notes, fmt.Sprintf("one side in view, read as %s: its transmit pulse lies at the picture's edge", side))
	} else {
		v.notes = append(v.notes, fmt.Sprintf("one side in view, read as %s; the nadir isn't: ranges count from the picture's edge, heights can't be told", side))
	}
	if err := sv.find(p, opt); err != nil {
		return err
	}
	if opt.Side == "" && sv.edge == nil && opt.visit == nil {
		other, err := sv.otherWay(p, opt)
		if err != nil {
			return err
		}
		// the map's word for the side, against what lies in the picture when it is read either way
		if other.sense() > sv.sense()*(1+sideTrust*p.SideSure) {
			sv = other
			v.notes = append(v.notes, fmt.Sprintf("read as %s after all: what lies in it has its shadows on that side", sv.swath.side))
		}
	}
	v.sides = append(v.sides, *sv)
	return nil
}

// sideTrust is how many times more sense a side without a water column must make the other way than the map's, when the map is sure.
const sideTrust = 1

// otherWay reads a side that shows no water column with range running the other way.
func (sv *sideView) otherWay(p *frame.Panel, opt Options) (*sideView, error) {
	s := *sv.swath
	s.echo = &features.Grid{Rows: s.echo.Rows, Cols: s.echo.Cols, V: slices.Clone(s.echo.V)}
	s.valid = slices.Clone(s.valid)
	s.nearX = slices.Clone(s.nearX)
	s.turn()
	out := &sideView{swath: &s}
	if err := out.find(p, opt); err != nil {
		return nil, err
	}
	return out, nil
}

// sense is how much of what was found on a side is likely to be there: a shadow before its highlight looks like nothing.
func (sv *sideView) sense() float64 {
	sum := 0.0
	for _, m := range sv.marks {
		if m.highlight == nil || m.shadow == nil {
			continue
		}
		if m.odds.Something() {
			sum += math.Pow(1-m.odds[Clutter], 6)
		}
	}
	return sum
}

// transmitAtEdge tells whether the bright transmit pulse stands in the innermost columns, before dark water.
func transmitAtEdge(s *swath, e *bottomEdge) bool {
	const pulse, least = 3, 3.0
	var near, water, n float64
	for r := 0; r < s.echo.Rows; r += 3 {
		row := s.echo.Row(r)
		k := int(e.k[r])
		if k < 6*pulse {
			continue
		}
		top, sum := float32(0), float32(0)
		for _, v := range row[:pulse] {
			top = max(top, v)
		}
		for _, v := range row[k/3 : k*2/3] {
			sum += v
		}
		near += float64(top)
		water += float64(sum) / float64(k*2/3-k/3)
		n++
	}
	return n*6 > float64(s.echo.Rows) && near > least*water && near/n > 0.25
}

// newSideView refines the first return of a side that the panel's map shows.
func newSideView(s *swath, p *frame.Panel, side int, opt Options) *sideView {
	sv := &sideView{swath: s}
	if opt.SlantCorrected || p.First[side] == nil {
		return sv
	}
	rough := make([]float64, len(p.First[side]))
	for r, x := range p.First[side] {
		rough[r] = s.k(r, x)
		if rough[r] < 1 || rough[r] >= float64(s.echo.Cols-1) {
			rough[r] = math.NaN()
		}
	}
	sv.edge = refineFirstReturn(s, rough, p.Sure[side], p.CellPx)
	return sv
}

// find runs the stages from leveling to measuring.
func (sv *sideView) find(p *frame.Panel, opt Options) error {
	s := sv.swath
	lv, err := level(s, sv.edge)
	if err != nil {
		return err
	}
	sv.leveled = lv
	if opt.visit != nil {
		opt.visit(p, sv)
		return nil
	}
	seg, err := segment(s, lv)
	if err != nil {
		return err
	}
	if len(seg.fields) == 0 {
		return nil
	}
	lv.tail = seg.fields[0].normal.upper / seg.fields[0].normal.lower
	view := newFinderView(s, lv, s.arena)
	answer, err := opt.finder.Find(view.Planes, view.Rows, view.Cols)
	if err != nil {
		return fmt.Errorf("the %s swath: %w", s.side, err)
	}
	pairs, err := pair(group(seg.highlights, seg.shadows), seg.shadows)
	if err != nil {
		return err
	}
	for _, c := range seg.candidates(lv, things(answer, view, s.echo.Rows, s.echo.Cols), pairs) {
		m := measure(lv, c)
		if c.highlight != nil {
			m.even, m.top = evenness(s, *c.highlight)
		}
		sv.marks = append(sv.marks, m)
	}
	compare(sv.marks)
	sv.judge(opt)
	var likely []measured
	for i := range sv.marks {
		m := &sv.marks[i]
		if m.odds.Something() {
			likely = append(likely, *m)
		}
	}
	sv.fields = rockFields(likely)
	return nil
}

// rockField is an area of many stones, with the median size and strength of the highlights in it.
type rockField struct {
	span
	area, peak float64
}

func (f rockField) holds(a span) bool {
	return a.r0 >= f.r0 && a.r1 <= f.r1 && a.k0 >= f.k0 && a.k1 <= f.k1
}

// newRockField takes the medians over all highlights that lie in the area, whether or not they made it one.
func newRockField(area span, ms []measured) rockField {
	f := rockField{span: area}
	var areas, peaks []float64
	for _, m := range ms {
		if m.highlight != nil && f.holds(m.highlight.span) {
			areas = append(areas, float64(m.highlight.area))
			peaks = append(peaks, m.highlight.peak)
		}
	}
	slices.Sort(areas)
	slices.Sort(peaks)
	f.area, f.peak = areas[len(areas)/2], peaks[len(peaks)/2]
	return f
}

// rockFields are the areas where many paired returns crowd together: single-linkage clusters of eight or more that lie
// within twice their typical size of each other.
func rockFields(ms []measured) []rockField {
	var members []span
	for _, m := range ms {
		if m.highlight != nil && m.shadow != nil && !m.highlight.wet {
			members = append(members, m.highlight.span)
		}
	}
	var fields []rockField
	seen := make([]bool, len(members))
	for i := range members {
		if seen[i] {
			continue
		}
		cluster := []int{i}
		seen[i] = true
		hull := members[i]
		for at := 0; at < len(cluster); at++ {
			a := members[cluster[at]]
			reach := min(40, 12+2*max(a.rows(), a.cols()))
			for j, b := range members {
				if !seen[j] && max(b.r0-a.r1, a.r0-b.r1, b.k0-a.k1, a.k0-b.k1) < reach {
					seen[j] = true
					cluster = append(cluster, j)
					hull = hull.union(b)
				}
			}
		}
		if len(cluster) >= 8 {
			fields = append(fields, newRockField(hull, ms))
		}
	}
	return fields
}

func sideIndex(s Side) int {
	if s == Starboard {
		return 1
	}
	return 0
}

// What the scale is uncertain by, besides the range setting itself; one standard deviation each.
const (
	edgesOfSidePx   = 0.7   // half a pixel on either end of a side
	soundSpeedShare = 0.015 // a display takes one sound speed; in fresh water it runs from 1,403 m/s at 0 °C to 1,509 at 30 °C (Marczak's formula, 1997)
)

// scaleOf returns metres of slant (or ground, when corrected) range per pixel with its error, or nil when the range is
// unknown or the nadir isn't in view.
func (v *view) scaleOf(p *frame.Panel, opt Options) *features.Measured {
	if opt.RangeM == 0 || v.nadir == nil {
		return nil
	}
	sidePx := 0.0
	for _, x := range v.nadir.x {
		sidePx += math.Max(x, float64(p.Echo.Cols)-x) / float64(len(v.nadir.x))
	}
	m, err := features.SlantPerPixel(opt.RangeM, sidePx)
	if err != nil {
		return nil
	}
	return &features.Measured{Value: m, SD: m * math.Hypot(edgesOfSidePx/sidePx, soundSpeedShare)}
}

// furtherMark is how much less each further mark of a capture adds to its interest: marks of one bottom are right or wrong together, and
// the tenth hardly makes a capture more worth a look. With 1, every capture of a rocky bottom would be as interesting as can be.
const furtherMark = 0.6

// rank orders marks and gives the capture its interest: the chance that what it holds deserves a second look, with suspended targets
// near humps counting most.
func rank(res *Result) {
	worth := func(m MarkRecord) float64 {
		w := 0.85*m.Odds[SuspendedTarget] + 0.6*m.Odds[RaisedStructure] + 0.45*m.Odds[BottomObject]
		if m.OnHump {
			w += 0.12 * m.Odds[SuspendedTarget]
		}
		return w
	}
	slices.SortStableFunc(res.Marks, func(a, b MarkRecord) int {
		wa, wb := worth(a), worth(b)
		switch {
		case wa > wb:
			return -1
		case wa < wb:
			return 1
		}
		return 0
	})
	nothing, share := 1.0, 0.6
	for _, m := range res.Marks {
		res.Counts[m.Class]++
		nothing *= 1 - share*worth(m)
		share *= furtherMark
	}
	for _, h := range res.Holds {
		nothing *= 1 - 0.5*h.Odds
	}
	for _, p := range res.Panels {
		if len(p.Humps) > 0 {
			nothing *= 0.92
		}
	}
	res.Interest = math.Round((1-nothing)*1e4) / 1e4
}
