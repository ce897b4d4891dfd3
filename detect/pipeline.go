package detect

import (
	"context"
	"fmt"
	"image"
	"strings"

	"shadowgap/detect/frame"
)

// The stages, in their order. Read comes before them: it decodes the picture that Run is given.
//
// Who owns the memory: masks, paths and marks are small beside the echo, so a stage that changes one returns a new one. Grids of a
// panel's full resolution lie in the Detector's arena. The panel's echo holds until the next Run. Each side is cut into a copy of
// it, but for a panel of one side, whose echo goes to its swath as it is and may be reversed there: nothing reads it from the
// panel any more. What cutSwath, level and segment take from the arena is given back once a side is measured, for the next side.

// Run detects marks in a decoded picture of any palette. Boxes are in pixels of img with its bounds' origin at 0, 0. It
// returns an error only when ctx ends or a stage fails; a picture with no side-scan in it is a Result with
// StatusNoPanel and the reason.
func (d *Detector) Run(ctx context.Context, img image.Image, opt Options) (*Result, error) {
	if err := opt.check(); err != nil {
		return nil, err
	}
	opt = opt.withLayout(img.Bounds().Size())
	if err := d.load(opt.Model); err != nil {
		return nil, err
	}
	panels, why, err := d.findPanels(ctx, img, opt)
	if err != nil {
		return nil, err
	}
	res := &Result{Status: StatusRead, Counts: map[Class]int{}}
	if len(panels) == 0 {
		res.Status, res.Why = StatusNoPanel, why
		return res, nil
	}
	for i := range panels {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("detecting: %w", err)
		}
		v, err := d.detectPanel(&panels[i], opt)
		if err != nil {
			return nil, fmt.Errorf("panel %d: %w", i, err)
		}
		rec, marks := v.records(&panels[i], i, opt)
		res.Panels = append(res.Panels, rec)
		res.Marks = append(res.Marks, marks...)
	}
	var clutter []MarkRecord
	if opt.AskClutter {
		clutter = res.takeClutter()
	}
	res.Holds = findHolds(res.Marks, res.Panels)
	rank(res)
	res.addClutter(clutter)
	return res, nil
}

// findPanels finds the panels of a capture, in the arena's memory.
func (d *Detector) findPanels(ctx context.Context, img image.Image, opt Options) (panels []frame.Panel, why string, err error) {
	d.arena.Reset()
	panels, why, err = frame.Find(ctx, img, frame.Options{
		Panel: opt.Panel, NadirX: opt.NadirX, Side: string(opt.Side), Strong: string(opt.Strong), Reader: d.reader, Arena: &d.arena,
	})
	if err != nil {
		return nil, "", fmt.Errorf("finding panels: %w", err)
	}
	return panels, why, nil
}

// view is everything found in one panel.
type view struct {
	nadir    *nadirLine // nil when not in view
	sides    []sideView
	altitude *altitudeProfile // nil when unknown
	humps    []hump
	notes    []string
}

// ShowsOtherwise is what a panel shows otherwise than was set by hand: "" where it does not, or nothing was set.
func (p PanelRecord) ShowsOtherwise() string {
	var said []string
	for _, n := range p.Notes {
		if against, ok := strings.CutPrefix(n, frame.ByHand); ok {
			said = append(said, against)
		}
	}
	return strings.Join(said, "; and ")
}

// noteCopy is said of a panel in which nothing is looked for: what it holds is found in the larger one, and counts once.
const noteCopy = "shows the same record as a larger panel of this screen: measured, but not searched a second time"

// detectPanel runs the stages on one panel and its sides.
func (d *Detector) detectPanel(p *frame.Panel, opt Options) (*view, error) {
	v := &view{notes: p.Notes}
	if p.Copy {
		v.notes = append(v.notes, noteCopy)
	}
	valid, lost := dropBadRows(p.Echo, p.Valid)
	if lost > 0 {
		v.notes = append(v.notes, fmt.Sprintf("%d rows of lost pings or interference left out", lost))
	}
	var err error
	if v.nadir, err = d.findNadir(p, valid, opt); err != nil {
		return nil, err
	}
	alone := v.nadir == nil // the panel is one side
	for _, side := range sidesInView(p, v.nadir, opt.Side) {
		used := d.arena.Mark()
		s, err := swathOf(p, valid, v.nadir, side, &d.arena)
		if err != nil {
			return nil, err
		}
		edge := findFirstReturn(s, p, opt)
		if alone {
			v.nadir = nadirAtEdge(s, edge)
			s.hasZero = v.nadir != nil
			v.notes = append(v.notes, noteOneSide(side, s.hasZero))
		}
		if alone && edge == nil && opt.Side == "" && opt.visit == nil && !p.Copy {
			backwards, err := d.runsBackwards(p, s)
			if err != nil {
				return nil, err
			}
			if backwards {
				s.turn()
				v.notes = append(v.notes, fmt.Sprintf("read as %s after all: what lies in it has its shadows on that side", s.side))
			}
		}
		sv, err := d.detectSide(p, s, edge, opt)
		if err != nil {
			return nil, err
		}
		v.sides = append(v.sides, *sv)
		d.arena.Release(used) // only numbers are left of the side
	}
	v.altitude = altitudeOf(v.sides, p.Echo.Rows)
	if !p.Copy {
		v.humps = v.altitude.findHumps()
	}
	return v, nil
}

// sideView is everything found on one side of a panel.
type sideView struct {
	swath   *swath
	edge    *bottomEdge // nil when the first return isn't in view
	leveled *leveled    // nil where nothing is looked for
	marks   []measured
	fields  []rockField
}

// detectSide runs the stages from leveling on for one side, whose first return is known.
func (d *Detector) detectSide(p *frame.Panel, s *swath, edge *bottomEdge, opt Options) (*sideView, error) {
	if p.Copy {
		return &sideView{swath: s, edge: edge}, nil
	}
	lv, err := level(s, edge)
	if err != nil {
		return nil, err
	}
	sv := &sideView{swath: s, edge: edge, leveled: lv}
	if opt.visit != nil {
		opt.visit(p, sv)
		return sv, nil
	}
	seg, err := segment(s, lv)
	if err != nil {
		return nil, err
	}
	if len(seg.fields) == 0 {
		return sv, nil // too small for the narrowest window
	}
	found, err := find(s, lv, d.finder)
	if err != nil {
		return nil, err
	}
	pairs, err := pair(group(seg.highlights, seg.shadows), seg.shadows)
	if err != nil {
		return nil, err
	}
	marks := measureAll(s, lv, seg.withLines(lv, seg.candidates(lv, found, pairs), linesOf(lv)))
	long, err := wallsOf(s, lv)
	if err != nil {
		return nil, err
	}
	sv.marks = withWalls(oneEach(d.classify(s, lv, seg.tail(), marks)), d.classify(s, lv, seg.tail(), measureAll(s, lv, long)))
	sv.fields = rockFields(likely(sv.marks))
	return sv, nil
}
