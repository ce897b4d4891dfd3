package features

import "math"

// pathUnit is what scores are counted in along a path: whole numbers compare and add faster than fractions, and a 65536th is
// far below what any evidence is worth.
const pathUnit = 1 << 16

// BestPath returns, for each row of scores, the column on the path of greatest summed score whose step between rows is at
// most maxStep columns, each column of step costing stepCost (dynamic programming, so a global optimum). base, when not
// nil, gives per row where column 0 lies in a wider grid; steps are then counted in that grid. Where that grid shifts by more
// than maxStep and no step reaches, the path goes on from the nearest column at the cost of maxStep. Scores add up in steps of 1/65536.
func BestPath(scores *Grid, base []int, maxStep int, stepCost float64) []int {
	n := scores.Cols
	cost := int64(math.Round(stepCost * pathUnit))
	const none = math.MinInt64 / 2
	// sums of every row, kept for the way back; reach is a row's with the best within maxStep of each column, and as many
	// columns of none to either side
	sums := make([]int64, scores.Rows*n)
	reach, next := make([]int64, n+2*maxStep), make([]int64, n+2*maxStep)
	for c, v := range scores.Row(0) {
		sums[c] = int64(float64(v) * pathUnit)
	}
	shiftAt := func(r int) int {
		if base == nil {
			return 0
		}
		return base[r] - base[r-1]
	}
	for r := 1; r < scores.Rows; r++ {
		before, here := sums[(r-1)*n:r*n], sums[r*n:(r+1)*n]
		for i := range maxStep {
			reach[i], reach[n+maxStep+i] = none, none
		}
		copy(reach[maxStep:], before)
		// The cost grows evenly with the step, so the best of many steps is found by a few strides: once it is known within some steps,
		// a stride of one more leaves out nothing in between.
		for within := 0; within < maxStep; {
			stride := min(within+1, maxStep-within)
			takeStride(next, reach, stride, cost*int64(stride))
			reach, next = next, reach
			within += stride
		}
		shift := shiftAt(r)
		for c, v := range scores.Row(r) {
			best := int64(none)
			if at := c + shift + maxStep; at >= 0 && at < len(reach) {
				best = reach[at]
			}
			if best < none/2 {
				best = before[min(max(c+shift, 0), n-1)] - cost*int64(maxStep)
			}
			here[c] = best + int64(float64(v)*pathUnit)
		}
	}
	path := make([]int, scores.Rows)
	last := scores.Rows - 1
	end := sums[last*n:]
	for c, t := range end {
		if t > end[path[last]] {
			path[last] = c
		}
	}
	for r := last; r > 0; r-- {
		before, at := sums[(r-1)*n:r*n], path[r]+shiftAt(r)
		arg, best := min(max(at, 0), n-1), int64(math.MinInt64)
		for k := max(0, at-maxStep); k <= min(n-1, at+maxStep); k++ {
			if t := before[k] - cost*int64(max(k-at, at-k)); t > best {
				best, arg = t, k
			}
		}
		path[r-1] = arg
	}
	return path
}

// takeStride makes next the greatest of each value of reach and of those stride columns to either side, less cost.
func takeStride(next, reach []int64, stride int, cost int64) {
	inner := len(reach) - 2*stride
	left, mid, right := reach[:inner], reach[stride:][:inner], reach[2*stride:][:inner]
	to := next[stride:][:inner]
	for i, v := range mid {
		to[i] = max(v, max(left[i], right[i])-cost)
	}
	for i := range stride {
		last := len(reach) - 1 - i
		next[i] = max(reach[i], reach[i+stride]-cost)
		next[last] = max(reach[last], reach[last-stride]-cost)
	}
}
