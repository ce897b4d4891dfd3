package detect

import (
	"fmt"
	"math"

	"shadowgap/detect/frame"
	"shadowgap/models/outward"
)

// mapTrust is what the map's word for a side without a water column counts beside what lies in it, both as log odds: of 82 such crops of
// developing scenes the map names 64 rightly, what lies in them 69, and both together 70 at any weight of the map from 0.5 to 1.5. Least of
// these, as the map has seen more of what is like those scenes than of what is real.
const mapTrust = 0.5

// surest keeps the map's odds finite.
const surest = 0.999

// noteOneSide tells a person how a panel of one side was read.
func noteOneSide(side Side, hasZero bool) string {
	if hasZero {
		return fmt.Sprintf("one side in view, read as %s: its transmit pulse lies at the picture's edge", side)
	}
	return fmt.Sprintf("one side in view, read as %s; the nadir isn't: ranges count from the picture's edge, heights can't be told", side)
}

// runsBackwards tells whether range runs the other way in a side that shows no water column: by the map's word for the side, and by
// what lies in it, where shadows lie behind what throws them.
func (d *Detector) runsBackwards(p *frame.Panel, s *swath) (bool, error) {
	used := d.arena.Mark()
	defer d.arena.Release(used)
	lv, err := level(s, nil)
	if err != nil {
		return false, err
	}
	if d.outward == nil {
		if d.outward, err = outward.New(); err != nil {
			return false, err
		}
	}
	v := newFinderView(s, lv, s.arena)
	size := v.Rows * v.Cols
	odds, err := d.outward.Odds(v.Planes[:size], v.Planes[3*size:], v.Rows, v.Cols)
	if err != nil {
		return false, err
	}
	sure := min(p.SideSure, surest)
	return odds+mapTrust*math.Log((1+sure)/(1-sure)) < 0, nil
}

// nadirAtEdge is the nadir at the near edge of a panel of one side; nil where the display doesn't begin with the transmit pulse there.
func nadirAtEdge(s *swath, e *bottomEdge) *nadirLine {
	if e == nil || !transmitAtEdge(s, e) {
		return nil
	}
	line := straightNadir(s.x(0, 0), s.echo.Rows)
	return &line
}

// transmitAtEdge tells whether the bright transmit pulse stands in the innermost columns, before dark water.
func transmitAtEdge(s *swath, e *bottomEdge) bool {
	const (
		pulse    = 3    // columns it fills
		shortest = 6    // pulses that a column of water must be wide to tell it
		brighter = 3.0  // times the water's strength,
		least    = 0.25 // and an echo strength, from which it is one
		inRows   = 6    // that shows in more than one row in so many: half of those looked at
	)
	var near, water, n float64
	for r := 0; r < s.echo.Rows; r += 3 {
		row := s.echo.Row(r)
		k := int(e.k[r])
		if k < shortest*pulse {
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
	return n*inRows > float64(s.echo.Rows) && near > brighter*water && near/n > least
}
