package features

import (
	"math"
	"testing"
)

func TestPercentile(t *testing.T) {
	long := make([]float64, 1001)
	for i := range long {
		long[i] = float64((i * 617) % 1001) // 0 to 1000, shuffled
	}
	tests := []struct {
		name string
		v    []float64
		p    float64
		want float64
		off  float64
	}{
		{"none", nil, 0.5, 0, 0},
		{"one", []float64{7}, 0.3, 7, 0},
		{"middle of three", []float64{9, 1, 4}, 0.5, 4, 0},
		{"least", []float64{9, 1, 4}, 0, 1, 0},
		{"most", []float64{9, 1, 4}, 1, 9, 0},
		{"median of many", long, 0.5, 500, 60},
		{"tenth of many", long, 0.1, 100, 60},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := Percentile(tt.v, tt.p); math.Abs(got-tt.want) > tt.off {
				t.Errorf("got %v, want %v ± %v", got, tt.want, tt.off)
			}
		})
	}
	if long[1] != 617 {
		t.Error("the list was sorted in place")
	}
}
