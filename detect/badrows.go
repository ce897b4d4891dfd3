package detect

import (
	"math"
	"slices"

	"shadowgap/features"
)

// What is a bad row: its mean stands off the rows around it by more than so many of the usual spreads, and by more than a part of
// their own strength and a little.
const (
	fewestRows   = 16 // of a panel in which a bad row can be told
	badSpreads   = 6
	badShare     = 0.06
	badLeast     = 0.002 // echo strength
	mostBadShare = 10    // no more than one row in so many is bad
)

// dropBadRows returns valid without the rows that are not echoes of the bottom, and how many those are: pings lost on the way, and
// bursts of interference from another sounder. Such a row's mean stands off the rows around it far more than neighbouring rows of
// the same bottom ever differ. Never more than a tenth is dropped, so that a picture of steep banding is left alone.
func dropBadRows(echo *features.Grid, valid []uint8) ([]uint8, int) {
	n := echo.Rows
	if n < fewestRows {
		return valid, 0
	}
	mean := make([]float64, n)
	for r := range mean {
		row := echo.Row(r)
		ok := valid[r*echo.Cols:][:len(row)]
		sum, count := 0.0, 0
		for c := r & 3; c < len(row); c += 4 {
			if ok[c] != 0 {
				sum += float64(row[c])
				count++
			}
		}
		mean[r] = math.NaN()
		if count > 0 {
			mean[r] = sum / float64(count)
		}
	}
	around := features.RunningMedian(carryOver(mean), 3)
	off := make([]float64, n)
	dev := make([]float64, 0, n)
	for r := range off {
		off[r] = mean[r] - around[r]
		if off[r] == off[r] {
			dev = append(dev, math.Abs(off[r]))
		}
	}
	if len(dev) == 0 {
		return valid, 0
	}
	slices.Sort(dev)
	spread := madToSigma * dev[len(dev)/2]
	var bad []int
	for r, d := range off {
		if math.Abs(d) > badSpreads*spread && math.Abs(d) > badShare*around[r]+badLeast {
			bad = append(bad, r)
		}
	}
	if len(bad) == 0 || len(bad)*mostBadShare > n {
		return valid, 0
	}
	kept := slices.Clone(valid)
	for _, r := range bad {
		clear(kept[r*echo.Cols : (r+1)*echo.Cols])
	}
	return kept, len(bad)
}

// carryOver replaces NaN by the last number before it (the first after it at the start).
func carryOver(v []float64) []float64 {
	out := slices.Clone(v)
	last := math.NaN()
	for i := range out {
		if out[i] != out[i] {
			out[i] = last
		}
		last = out[i]
	}
	for i := len(out) - 1; i >= 0; i-- {
		if out[i] != out[i] {
			out[i] = last
		}
		last = out[i]
	}
	return out
}
