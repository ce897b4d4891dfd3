package detect

import (
	"math"

	"shadowgap/features"
)

// bestPath returns, for each row of scores, the column on the path of greatest summed score whose step between rows is at
// most maxStep columns, each column of step costing stepCost (dynamic programming, so a global optimum). base, when not
// nil, gives per row where column 0 lies in a wider grid; steps are then counted in that grid.
func bestPath(scores *features.Grid, base []int, maxStep int, stepCost float64) []int {
	n := scores.Cols
	total, next := make([]float64, n), make([]float64, n)
	from := make([]int32, scores.Rows*n)
	for c, v := range scores.Row(0) {
		total[c] = float64(v)
	}
	for r := 1; r < scores.Rows; r++ {
		shift := 0
		if base != nil {
			shift = base[r] - base[r-1]
		}
		for c := range next {
			best, arg := math.Inf(-1), min(max(c+shift, 0), n-1)
			for k := max(0, c+shift-maxStep); k <= min(n-1, c+shift+maxStep); k++ {
				if t := total[k] - stepCost*math.Abs(float64(k-c-shift)); t > best {
					best, arg = t, k
				}
			}
			if math.IsInf(best, -1) {
				best = total[arg] - stepCost*float64(maxStep)
			}
			next[c] = best + float64(scores.At(r, c))
			from[r*n+c] = int32(arg)
		}
		total, next = next, total
	}
	path := make([]int, scores.Rows)
	last := scores.Rows - 1
	for c, t := range total {
		if t > total[path[last]] {
			path[last] = c
		}
	}
	for r := last; r > 0; r-- {
		path[r-1] = int(from[r*n+path[r]])
	}
	return path
}
