package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// sideTrust is how many times more sense a side without a water column must make the other way than the map's, when the map is sure.
const sideTrust = 1

// sureSide is how sure the map must be of a side without a water column for nobody to ask what lies in it: of 43 such developing captures
// the map names 36 rightly, and the 7 others all at less; what lies in the picture would turn 4 of the 36.
const sureSide = 0.5

// noteOneSide tells a person how a panel of one side was read.
func noteOneSide(side Side, hasZero bool) string {
	if hasZero {
		return fmt.Sprintf("one side in view, read as %s: its transmit pulse lies at the picture's edge", side)
	}
	return fmt.Sprintf("one side in view, read as %s; the nadir isn't: ranges count from the picture's edge, heights can't be told", side)
}

// likelierWay reads a side that shows no water column with range running the other way too, and returns what makes more sense: the
// map's word for the side, against what lies in the picture when it is read either way.
func (d *Detector) likelierWay(sv *sideView, p *frame.Panel, opt Options) (*sideView, error) {
	s := *sv.swath
	s.echo = &features.Grid{Rows: s.echo.Rows, Cols: s.echo.Cols, V: slices.Clone(s.echo.V)}
	s.valid = slices.Clone(s.valid)
	s.nearX = slices.Clone(s.nearX)
	s.turn()
	other, err := d.detectSide(p, &s, nil, opt)
	if err != nil {
		return nil, err
	}
	if other.sense() > sv.sense()*(1+sideTrust*p.SideSure) {
		return other, nil
	}
	return sv, nil
}

// clearSense is the power by which a mark that may be clutter makes less sense than one that surely is something.
const clearSense = 6

// sense is how much of what was found on a side is likely to be there: a shadow before its highlight looks like nothing.
func (sv *sideView) sense() float64 {
	sum := 0.0
	for _, m := range sv.marks {
		if m.highlight == nil || m.shadow == nil {
			continue
		}
		if m.odds.Something() {
			sum += math.Pow(1-m.odds[Clutter], clearSense)
		}
	}
	return sum
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
