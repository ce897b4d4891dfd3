package features

import "testing"

func TestLowRun(t *testing.T) {
	for _, tt := range []struct {
		name string
		v    []float64
		want int
	}{
		{"nothing", nil, 0},
		{"none low", []float64{1, 1, 0, 1}, 0},
		{"a step", []float64{0, 0, 0, 1, 1, 1}, 3},
		{"low to the end", []float64{0, 0, 0}, 3},
		{"a speck inside", []float64{0, 0, 1.4, 0, 0, 1, 1, 1}, 5},
		{"a dark pixel beyond", []float64{0, 0, 0, 1, 1, 0.4, 1, 1}, 3},
		{"another low stretch beyond", []float64{0, 0, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0}, 2},
	} {
		if got := LowRun(tt.v, 0.5, 1.5); got != tt.want {
			t.Errorf("%s: %d, want %d", tt.name, got, tt.want)
		}
	}
}
