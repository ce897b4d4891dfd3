package detect

import "testing"

func TestHalvedKeepsOddEdges(t *testing.T) {
	g := newGrid(t, 3, 5)
	for i := range g.V {
		g.V[i] = float32(i)
	}
	mask := make([]uint8, len(g.V))
	for i := range mask {
		mask[i] = uint8(i)
	}
	half, in, err := halved(g, mask, nil)
	if err != nil {
		t.Fatal(err)
	}
	if half.Rows != 2 || half.Cols != 3 {
		t.Fatalf("%d × %d, want 2 × 3", half.Rows, half.Cols)
	}
	for i, want := range []float32{3, 5, 6.5, 10.5, 12.5, 14} {
		if half.V[i] != want {
			t.Errorf("cell %d is %v, want %v", i, half.V[i], want)
		}
	}
	for i, want := range []uint8{0, 2, 4, 10, 12, 14} {
		if in[i] != want {
			t.Errorf("cell %d belongs to pixel %d, want %d", i, in[i], want)
		}
	}
}
