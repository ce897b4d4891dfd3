package outward

import (
	"math"
	"slices"
	"testing"
)

// stones draws plain speckled bottom with bright stones, each with its shadow to the right, as leveled strength and as displayed.
func stones(rows, cols int) (strength, echo []uint8) {
	strength, echo = make([]uint8, rows*cols), make([]uint8, rows*cols)
	seed := uint32(5)
	for i := range strength {
		seed = seed*1664525 + 1013904223
		strength[i] = uint8(70 + seed>>24%30)
	}
	for r := 16; r+8 < rows; r += 48 {
		for k := 20 + r%40; k+24 < cols; k += 64 {
			for y := r; y < r+8; y++ {
				for x := k; x < k+24; x++ {
					strength[y*cols+x] = 220
					if x >= k+8 {
						strength[y*cols+x] = 8
					}
				}
			}
		}
	}
	for i, v := range strength {
		echo[i] = v / 2
	}
	return strength, echo
}

// Shadows lie behind what throws them: a side is told from its mirror, by the same odds with the other sign.
func TestOdds(t *testing.T) {
	o, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	for _, size := range [][2]int{{128, 192}, {256, 256}, {96, 416}} {
		rows, cols := size[0], size[1]
		strength, echo := stones(rows, cols)
		odds, err := o.Odds(strength, echo, rows, cols)
		if err != nil {
			t.Fatal(err)
		}
		if odds < 1 {
			t.Errorf("%d × %d: log odds %.2f of range running to the right, want 1 or more", rows, cols, odds)
		}
		for _, plane := range [][]uint8{strength, echo} {
			for row := range slices.Chunk(plane, cols) {
				slices.Reverse(row)
			}
		}
		back, err := o.Odds(strength, echo, rows, cols)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(back+odds) > 1e-3 {
			t.Errorf("%d × %d: log odds %.4f, in a mirror %.4f", rows, cols, odds, back)
		}
	}
}

func TestOddsRefusesSizes(t *testing.T) {
	o, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	for name, c := range map[string]struct{ rows, cols, strength, echo int }{
		"no whole steps":  {100, 64, 6400, 6400},
		"nothing":         {0, 64, 0, 0},
		"too few values":  {64, 64, 4000, 4096},
		"planes differ":   {64, 64, 4096, 4000},
		"negative length": {-32, -32, 1024, 1024},
	} {
		if _, err := o.Odds(make([]uint8, c.strength), make([]uint8, c.echo), c.rows, c.cols); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
