package features

import (
	"math/rand/v2"
	"testing"
)

// closedAt is a closing by its definition: every pixel around a place has a set one around it.
func closedAt(mask []uint8, rows, cols, r, c int) uint8 {
	for y := max(0, r-1); y <= min(rows-1, r+1); y++ {
		for x := max(0, c-1); x <= min(cols-1, c+1); x++ {
			set := false
			for yy := max(0, y-1); yy <= min(rows-1, y+1); yy++ {
				for xx := max(0, x-1); xx <= min(cols-1, x+1); xx++ {
					set = set || mask[yy*cols+xx] != 0
				}
			}
			if !set {
				return 0
			}
		}
	}
	return 1
}

func TestCloseMask(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 2))
	for _, tt := range []struct{ rows, cols int }{{1, 1}, {1, 9}, {2, 8}, {3, 7}, {9, 1}, {20, 15}, {20, 16}, {20, 17}, {33, 64}, {5, 71}} {
		for _, density := range []float64{0, 0.05, 0.3, 0.6, 1} {
			mask := make([]uint8, tt.rows*tt.cols)
			for i := range mask {
				if rng.Float64() < density {
					mask[i] = 1
				}
			}
			got := append([]uint8(nil), mask...)
			if err := CloseMask(got, tt.rows, tt.cols); err != nil {
				t.Fatal(err)
			}
			for i := range got {
				if want := closedAt(mask, tt.rows, tt.cols, i/tt.cols, i%tt.cols); got[i] != want {
					t.Fatalf("%+v, density %g: %d at row %d, column %d, want %d", tt, density, got[i], i/tt.cols, i%tt.cols, want)
				}
			}
		}
	}
	if err := CloseMask(make([]uint8, 5), 2, 3); err == nil {
		t.Error("five values for 2 × 3: no error")
	}
}

func BenchmarkCloseMask(b *testing.B) {
	mask := make([]uint8, 920*850)
	for b.Loop() {
		if err := CloseMask(mask, 920, 850); err != nil {
			b.Fatal(err)
		}
	}
}
