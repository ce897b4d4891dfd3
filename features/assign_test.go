package features

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// testdata/assignment.json was written by SciPy 1.10.1; see testdata/README.md.
func TestAssignAgreesWithSciPy(t *testing.T) {
	var fx struct {
		Matrices []struct {
			Cost  [][]*float64
			Total *float64
		}
	}
	readJSON(t, "testdata/assignment.json", &fx)
	for i, m := range fx.Matrices {
		cost := make([][]float64, len(m.Cost))
		for r, line := range m.Cost {
			for _, v := range line {
				if v == nil {
					cost[r] = append(cost[r], math.Inf(1))
				} else {
					cost[r] = append(cost[r], *v)
				}
			}
		}
		// At a price beyond any sum of costs, no row goes without a partner that could have one.
		const dear = 1e6
		miss := make([]float64, len(cost))
		for r := range miss {
			miss[r] = dear
		}
		colOf, total, err := AssignOptional(cost, miss)
		if err != nil {
			t.Errorf("matrix %d: %v", i, err)
			continue
		}
		pairs, used := 0, map[int]bool{}
		for _, c := range colOf {
			if c >= 0 {
				if used[c] {
					t.Errorf("matrix %d: column %d used twice", i, c)
				}
				used[c] = true
				pairs++
			}
		}
		complete := pairs == min(len(cost), len(cost[0]))
		if complete != (m.Total != nil) {
			t.Errorf("matrix %d: %d pairs, complete %v, want %v", i, pairs, complete, m.Total != nil)
		}
		if m.Total != nil {
			near(t, fmt.Sprintf("total of matrix %d", i), total-dear*float64(len(cost)-pairs), *m.Total, 1e-9)
		}
	}
}

// cheapest tries every optional assignment: the slow second opinion.
func cheapest(cost [][]float64, miss []float64, row int, used map[int]bool) float64 {
	if row == len(cost) {
		return 0
	}
	best := miss[row] + cheapest(cost, miss, row+1, used)
	for c, v := range cost[row] {
		if !used[c] && !math.IsInf(v, 1) {
			used[c] = true
			best = math.Min(best, v+cheapest(cost, miss, row+1, used))
			delete(used, c)
		}
	}
	return best
}

func TestAssignOptionalAgreesWithTryingAll(t *testing.T) {
	const seed = 99
	rng := rand.New(rand.NewPCG(seed, 1))
	for trial := range 200 {
		rows, cols := rng.IntN(6), 1+rng.IntN(5)
		cost, miss := make([][]float64, rows), make([]float64, rows)
		for r := range cost {
			miss[r] = float64(rng.IntN(10))
			cost[r] = make([]float64, cols)
			for c := range cost[r] {
				cost[r][c] = float64(rng.IntN(12)) - 2
				if rng.Float64() < 0.4 {
					cost[r][c] = math.Inf(1)
				}
			}
		}
		colOf, total, err := AssignOptional(cost, miss)
		if err != nil {
			t.Fatal(err)
		}
		if want := cheapest(cost, miss, 0, map[int]bool{}); math.Abs(total-want) > 1e-9 {
			t.Errorf("seed %d trial %d: total %v, want %v\n%v\n%v → %v", seed, trial, total, want, cost, miss, colOf)
		}
	}
}

func TestAssignRefusesBadInput(t *testing.T) {
	nan := math.NaN()
	for name, cost := range map[string][][]float64{"ragged": {{1, 2}, {3}}, "nan": {{nan}}, "-inf": {{math.Inf(-1)}}} {
		if _, _, err := AssignOptional(cost, make([]float64, len(cost))); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, _, err := AssignOptional([][]float64{{1}}, []float64{math.Inf(1)}); err == nil {
		t.Error("infinite price: no error")
	}
	if _, _, err := AssignOptional([][]float64{{1}}, nil); err == nil {
		t.Error("no price: no error")
	}
	if got, total, err := AssignOptional(nil, nil); err != nil || len(got) != 0 || total != 0 {
		t.Errorf("empty: %v, %v, %v", got, total, err)
	}
}

func ExampleAssignOptional() {
	cost := [][]float64{
		{4, 1, 3},
		{2, 0, 5},
		{3, 2, 2},
	}
	columns, total, err := AssignOptional(cost, []float64{9, 9, 1})
	fmt.Println(columns, total, err)
	// Output: [1 0 -1] 4 <nil>
}

func BenchmarkAssignOptionalSparse(b *testing.B) {
	const n = 400
	rng := rand.New(rand.NewPCG(8, 8))
	cost, miss := make([][]float64, n), make([]float64, n)
	for r := range cost {
		miss[r] = 1
		cost[r] = make([]float64, n)
		for c := range cost[r] {
			cost[r][c] = math.Inf(1)
			if max(r-c, c-r) < 3 {
				cost[r][c] = rng.Float64()
			}
		}
	}
	for b.Loop() {
		if _, _, err := AssignOptional(cost, miss); err != nil {
			b.Fatal(err)
		}
	}
}
