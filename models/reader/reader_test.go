package reader

import (
	"math"
	"testing"
)

// A reader is less than 2 MiB.
func TestWeightsAreSmall(t *testing.T) {
	if len(weights) >= 2<<20 {
		t.Errorf("%d bytes of weights, want less than 2 MiB", len(weights))
	}
}

// swath draws both sides of a flat bottom in planes of red, green and blue: a bright nadir line, dark water, grainy bottom.
func swath() []float32 {
	const n = InputRows * InputCols
	rgb := make([]float32, 3*n)
	seed := uint32(7)
	for i := range n {
		seed = seed*1664525 + 1013904223
		grain := float32(seed>>9) / (1 << 23)
		v := 0.15 + 0.6*grain
		switch d := math.Abs(float64(i%InputCols) - InputCols/2); {
		case d < 2:
			v = 1
		case d < 50:
			v = 0.02 * grain
		}
		rgb[i], rgb[n+i], rgb[2*n+i] = v, v, v
	}
	return rgb
}

func TestRead(t *testing.T) {
	r, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	m, err := r.Read(swath())
	if err != nil {
		t.Fatal(err)
	}
	if m.Sonar < 0.9 {
		t.Errorf("odds %.2f of side-scan", m.Sonar)
	}
	for _, tt := range []struct {
		col  int // of Cols = 256: the nadir lies at 128, the first returns at 103 and 153
		want Class
	}{{40, BottomPort}, {112, WaterPort}, {144, WaterStarboard}, {220, BottomStarboard}} {
		i := Rows/2*Cols + tt.col
		sum, best := float32(0), Outside
		for k := range m.P {
			sum += m.P[k][i]
			if m.P[k][i] > m.P[best][i] {
				best = Class(k)
			}
		}
		if best != tt.want || math.Abs(float64(sum)-1) > 1e-5 {
			t.Errorf("column %d: class %d with %.2f, odds sum to %.6f; want class %d", tt.col, best, m.P[best][i], sum, tt.want)
		}
	}
	again, err := r.Read(swath())
	if err != nil {
		t.Fatal(err)
	}
	for k := range m.P {
		for i := range m.P[k] {
			if m.P[k][i] != again.P[k][i] {
				t.Fatalf("class %d, cell %d: %v, then %v of the same capture", k, i, m.P[k][i], again.P[k][i])
			}
		}
	}
	if _, err := r.Read(make([]float32, 12)); err == nil {
		t.Error("a capture of 12 values was read")
	}
}

func BenchmarkRead(b *testing.B) {
	r, err := New()
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	rgb := swath()
	for b.Loop() {
		if _, err := r.Read(rgb); err != nil {
			b.Fatal(err)
		}
	}
}
