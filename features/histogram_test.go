package features

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// AddWhere counts what Add would, one by one.
func TestHistogramAddWhere(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 7))
	values, mask := make([]float32, 1000), make([]uint8, 1000)
	for i := range values {
		values[i], mask[i] = float32(3*rng.NormFloat64()), uint8(rng.IntN(3))
	}
	copy(values, []float32{0, 2, -1, float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), 1.999, 2.5})
	for _, tt := range []struct {
		of   uint8
		step int
	}{{0, 1}, {2, 1}, {1, 3}, {2, 7}, {9, 1}, {1, 5000}} {
		got, err := NewHistogram(0, 2, 50)
		if err != nil {
			t.Fatal(err)
		}
		want, _ := NewHistogram(0, 2, 50)
		got.Add(0.5)
		want.Add(0.5)
		got.AddWhere(values, mask, tt.of, tt.step)
		for i := 0; i < len(values); i += tt.step {
			if mask[i] == tt.of {
				want.Add(float64(values[i]))
			}
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%+v: %v, want %v", tt, got, want)
		}
	}
}
