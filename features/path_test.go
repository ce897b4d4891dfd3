package features

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Every path of a small grid, one by one.
func bruteForce(score func(r, c int) float64, rows, cols int, base []int, maxStep int, stepCost float64) float64 {
	var walk func(r, c int) float64
	walk = func(r, c int) float64 {
		if r == rows-1 {
			return score(r, c)
		}
		best := math.Inf(-1)
		for k := range cols {
			step := (base[r+1] + k) - (base[r] + c)
			if step < -maxStep || step > maxStep {
				continue
			}
			best = math.Max(best, walk(r+1, k)-stepCost*math.Abs(float64(step)))
		}
		return best + score(r, c)
	}
	best := math.Inf(-1)
	for c := range cols {
		best = math.Max(best, walk(0, c))
	}
	return best
}

func TestBestPathIsTheGlobalOptimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for trial := range 600 {
		rows, cols, maxStep, cost := 1+rng.IntN(6), 1+rng.IntN(6), 1+rng.IntN(3), rng.Float64()
		shift := 1
		if trial >= 400 { // steps of more than one stride
			rows, cols, maxStep = min(rows, 4), cols+6, maxStep+rng.IntN(12)
			shift, cost = maxStep, cost/4
		}
		g, err := NewGrid(rows, cols)
		if err != nil {
			t.Fatal(err)
		}
		for i := range g.V {
			g.V[i] = float32(rng.NormFloat64())
		}
		zero, base := make([]int, rows), make([]int, rows)
		for r := 1; r < rows; r++ {
			base[r] = base[r-1] + rng.IntN(2*shift+1) - shift
		}
		for _, b := range [][]int{nil, base} {
			grid := b
			if b == nil {
				grid = zero
			}
			path := BestPath(g, b, maxStep, cost)
			if len(path) != rows {
				t.Fatalf("trial %d: %d rows of path, want %d", trial, len(path), rows)
			}
			got := 0.0
			for r, c := range path {
				if c < 0 || c >= cols {
					t.Fatalf("trial %d: column %d of %d", trial, c, cols)
				}
				got += float64(g.At(r, c))
				if r > 0 {
					step := math.Abs(float64(grid[r] + c - grid[r-1] - path[r-1]))
					if step > float64(maxStep) {
						t.Fatalf("trial %d: step of %g, want at most %d", trial, step, maxStep)
					}
					got -= cost * step
				}
			}
			want := bruteForce(func(r, c int) float64 { return float64(g.At(r, c)) }, rows, cols, grid, maxStep, cost)
			if math.Abs(got-want) > 1e-5 {
				t.Fatalf("trial %d (%d × %d, step %d, cost %.2f, base %v): path %v scores %.5f, best is %.5f",
					trial, rows, cols, maxStep, cost, b, path, got, want)
			}
		}
	}
}
