package features

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func TestWindowMedian(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	for _, tt := range []struct{ rows, cols, size, levels int }{
		{1, 1, 1, 256}, {1, 1, 3, 256}, {1, 9, 3, 256}, {9, 1, 7, 256}, {5, 6, 15, 256}, {20, 30, 7, 256},
		{20, 30, 7, 2}, {17, 23, 15, 5}, {6, 300, 5, 256},
	} {
		v := make([]uint8, tt.rows*tt.cols)
		for i := range v {
			v[i] = uint8(rng.IntN(tt.levels) * (255 / (tt.levels - 1)))
		}
		got, err := WindowMedian(v, tt.rows, tt.cols, tt.size)
		if err != nil {
			t.Fatal(err)
		}
		for i := range v {
			var window []uint8
			for y := i/tt.cols - tt.size/2; y <= i/tt.cols+tt.size/2; y++ {
				for x := i%tt.cols - tt.size/2; x <= i%tt.cols+tt.size/2; x++ {
					window = append(window, v[min(max(y, 0), tt.rows-1)*tt.cols+min(max(x, 0), tt.cols-1)])
				}
			}
			slices.Sort(window)
			if want := window[len(window)/2]; got[i] != want {
				t.Fatalf("%+v: %d at row %d, column %d, want %d", tt, got[i], i/tt.cols, i%tt.cols, want)
			}
		}
	}
}

func TestWindowMedianRefuses(t *testing.T) {
	for _, tt := range []struct{ values, rows, cols, size int }{
		{5, 2, 3, 3}, {6, 2, 3, 2}, {6, 2, 3, 0}, {6, 2, 3, -1}, {6, 2, 3, 257}, {0, 0, 3, 3}, {0, 3, 0, 3},
	} {
		if _, err := WindowMedian(make([]uint8, tt.values), tt.rows, tt.cols, tt.size); err == nil {
			t.Errorf("%+v: no error", tt)
		}
	}
}

func BenchmarkWindowMedian(b *testing.B) {
	rng := rand.New(rand.NewPCG(8, 2))
	v := make([]uint8, 115*56)
	for i := range v {
		v[i] = uint8(100 + 10*rng.NormFloat64())
	}
	for b.Loop() {
		if _, err := WindowMedian(v, 115, 56, 15); err != nil {
			b.Fatal(err)
		}
	}
}

func TestRunningMedian(t *testing.T) {
	for _, tt := range []struct {
		name    string
		v, want []float64
		half    int
	}{
		{"none", nil, []float64{}, 2},
		{"a spike goes", []float64{1, 1, 9, 1, 1}, []float64{1, 1, 1, 1, 1}, 1},
		{"a slope stays, to its ends", []float64{0, 1, 2, 3, 4, 5}, []float64{0, 1, 2, 3, 4, 5}, 2},
		{"the ends stand alone", []float64{7, 0, 0, 0, 7}, []float64{7, 0, 0, 0, 7}, 3},
	} {
		before := slices.Clone(tt.v)
		if got := RunningMedian(tt.v, tt.half); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
		if !slices.Equal(tt.v, before) {
			t.Errorf("%s: the values themselves were changed", tt.name)
		}
	}
}
