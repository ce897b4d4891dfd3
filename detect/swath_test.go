package detect

import (
	"slices"
	"testing"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// Both sides hold the panel's own values, range running outwards, wherever the nadir lies.
func TestCutSwathKeepsEveryPixel(t *testing.T) {
	const rows, cols = 7, 61
	rng := seeded(51)
	g, valid := newGrid(t, rows, cols), make([]uint8, rows*cols)
	for i := range g.V {
		g.V[i], valid[i] = rng.Float32(), uint8(rng.IntN(2))
	}
	for _, side := range []Side{Port, Starboard} {
		near := []float64{20, 27, 28.4, 35, 0, cols, 30} // the row with 0 has no port side, that with cols no starboard side
		s, err := cutSwath(g, valid, near, side, true, nil)
		if err != nil {
			t.Fatal(err)
		}
		for r := range rows {
			for k := range s.echo.Cols {
				var v float32
				var ok uint8
				x := int(s.x(r, float64(k)))
				if side == Port {
					x-- // range runs over the left edges of pixels
				}
				if x >= 0 && x < cols {
					v, ok = g.At(r, x), valid[r*cols+x]
				}
				if s.echo.At(r, k) != v || s.valid[r*s.echo.Cols+k] != ok {
					t.Fatalf("%s, row %d, range %d: %v (%d), want %v (%d) of column %d", side, r, k, s.echo.At(r, k), s.valid[r*s.echo.Cols+k], v, ok, x)
				}
			}
		}
	}
}

// A side set by hand is the only one looked at, whether the nadir shows both or not.
func TestSideByHand(t *testing.T) {
	p := &frame.Panel{Echo: &features.Grid{Rows: 4, Cols: 200}, Side: string(Port)}
	middle := &nadirLine{x: []float64{100, 100, 100, 100}}
	for _, tt := range []struct {
		nadir *nadirLine
		only  Side
		want  []Side
	}{
		{middle, "", []Side{Port, Starboard}}, {middle, Port, []Side{Port}}, {middle, Starboard, []Side{Starboard}},
		{nil, "", []Side{Port}},
	} {
		if got := sidesInView(p, tt.nadir, tt.only); !slices.Equal(got, tt.want) {
			t.Errorf("nadir %v, %q by hand: %v, want %v", tt.nadir, tt.only, got, tt.want)
		}
	}
}
