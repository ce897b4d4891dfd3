package features

import (
	"image"
	"math/rand/v2"
	"slices"
	"testing"
)

// The 4 × 4 picture of Haralick, Shanmugam & Dinstein 1973; matrices and measures by scikit-image 0.19.3 (graycomatrix,
// symmetric). Directions are told by pixel offset, which leaves no doubt about the diagonals.
func TestCooccurrenceOfTheHaralickExample(t *testing.T) {
	level := []uint8{
		0, 0, 1, 1,
		0, 0, 1, 1,
		0, 2, 2, 2,
		2, 2, 3, 3,
	}
	for _, c := range []struct {
		name   string
		offset Offset
		count  []int
		want   Texture
	}{
		{"right", Offset{0, 1}, []int{4, 2, 1, 0, 2, 4, 0, 0, 1, 0, 6, 1, 0, 0, 1, 2},
			Texture{0.583333, 0.416667, 0.808333, 0.145833, 0, 0.719533}},
		{"down", Offset{1, 0}, []int{6, 0, 2, 0, 0, 4, 2, 0, 2, 2, 2, 2, 0, 0, 2, 0},
			Texture{1.0, 0.666667, 0.7, 0.138889, 0, 0.485714}},
		{"down-right", Offset{1, 1}, []int{2, 1, 3, 0, 1, 2, 1, 0, 3, 1, 0, 2, 0, 0, 2, 0},
			Texture{1.777778, 1.111111, 0.511111, 0.117284, 0, 0.162791}},
		{"up-right", Offset{-1, 1}, []int{4, 1, 0, 0, 1, 2, 2, 0, 0, 2, 4, 1, 0, 0, 1, 0},
			Texture{0.444444, 0.444444, 0.777778, 0.148148, 0, 0.735294}},
	} {
		m, err := NewCooccurrence(level, 4, 4, 4, c.offset)
		if err != nil {
			t.Fatal(err)
		}
		m.Move(image.Rect(0, 0, 4, 4))
		if !slices.Equal(m.Count, c.count) {
			t.Errorf("%s: counts %v, want %v", c.name, m.Count, c.count)
		}
		got, ok := m.Texture()
		if !ok {
			t.Fatalf("%s: no pair", c.name)
		}
		near(t, c.name+" contrast", got.Contrast, c.want.Contrast, 1e-6)
		near(t, c.name+" dissimilarity", got.Dissimilarity, c.want.Dissimilarity, 1e-6)
		near(t, c.name+" homogeneity", got.Homogeneity, c.want.Homogeneity, 1e-6)
		near(t, c.name+" ASM", got.ASM, c.want.ASM, 1e-6)
		near(t, c.name+" correlation", got.Correlation, c.want.Correlation, 1e-6)
	}
}

func TestMovingTheWindowEqualsCountingAfresh(t *testing.T) {
	const rows, cols, levels, seed = 30, 41, 6, 12
	rng := rand.New(rand.NewPCG(seed, 0))
	level := make([]uint8, rows*cols)
	for i := range level {
		level[i] = uint8(rng.IntN(levels))
	}
	offsets := []Offset{{0, 1}, {1, 0}, {1, 1}, {-1, 1}, {2, -3}}
	moving, err := NewCooccurrence(level, rows, cols, levels, offsets...)
	if err != nil {
		t.Fatal(err)
	}
	for range 200 {
		x, y := rng.IntN(cols)-5, rng.IntN(rows)-5
		w := image.Rect(x, y, x+rng.IntN(20), y+rng.IntN(20))
		moving.Move(w)
		fresh, err := NewCooccurrence(level, rows, cols, levels, offsets...)
		if err != nil {
			t.Fatal(err)
		}
		fresh.Move(w)
		sum := 0
		for _, n := range fresh.Count {
			sum += n
		}
		if !slices.Equal(moving.Count, fresh.Count) || moving.Total != sum || fresh.Total != sum {
			t.Fatalf("seed %d window %v: moving differs from fresh (totals %d, %d, counted %d)", seed, w, moving.Total, fresh.Total, sum)
		}
	}
}

func TestTextureEdges(t *testing.T) {
	m, err := NewCooccurrence(make([]uint8, 9), 3, 3, 2, Offset{0, 1})
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := m.Texture(); ok {
		t.Error("empty window has texture")
	}
	m.Move(image.Rect(0, 0, 3, 3))
	if got, ok := m.Texture(); !ok || got.Correlation != 1 || got.ASM != 1 || got.Contrast != 0 {
		t.Errorf("flat picture: %+v", got)
	}
	for name, err := range map[string]error{
		"length":    second(NewCooccurrence(make([]uint8, 8), 3, 3, 2, Offset{0, 1})),
		"level":     second(NewCooccurrence([]uint8{5}, 1, 1, 2, Offset{0, 1})),
		"levels":    second(NewCooccurrence([]uint8{0}, 1, 1, 1, Offset{0, 1})),
		"no offset": second(NewCooccurrence([]uint8{0}, 1, 1, 2)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	g := &Grid{Rows: 1, Cols: 4, V: []float32{-1, 0.1, 0.6, 2}}
	q, err := Quantise(g, 4, 0, 1)
	if err != nil || !slices.Equal(q, []uint8{0, 0, 2, 3}) {
		t.Errorf("quantised %v, %v", q, err)
	}
	if _, err := Quantise(g, 4, 1, 1); err == nil {
		t.Error("empty interval: no error")
	}
}
