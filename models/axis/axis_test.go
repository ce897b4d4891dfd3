package axis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// drawn is what lies beside a path where draw gives the mean strength so many columns from the nadir, which is off columns from the path.
func drawn(off float64, draw func(u float64) float64) *Beside {
	rng := rand.New(rand.NewPCG(3, 4))
	b := &Beside{Strength: make([]float32, cols), Spread: make([]float32, cols), Drawn: make([]float32, cols), Inside: make([]float32, cols)}
	for i := range cols {
		v := draw(float64(i-Reach) - off)
		b.Strength[i], b.Spread[i], b.Inside[i] = float32(v*(1+0.02*rng.NormFloat64())), float32(0.3*v), 1
	}
	return b
}

// pulse is a transmit pulse that dies down to either side.
func pulse(u float64) float64 { return 0.05 + 0.6*math.Exp(-math.Abs(u)/9) }

func TestOff(t *testing.T) {
	a, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	for name, draw := range map[string]func(u float64) float64{
		"a pulse": pulse,
		"more gain to starboard": func(u float64) float64 {
			if u > 0 {
				return pulse(u)
			}
			return 0.4 * pulse(u)
		},
		"a line in the pulse": func(u float64) float64 {
			if math.Abs(u) < 1.6 {
				return 1
			}
			return 0.5 * pulse(u)
		},
		"a dark gap between the sides": func(u float64) float64 {
			if math.Abs(u) < 5 {
				return 0.01
			}
			return pulse(u)
		},
	} {
		for _, off := range []float64{-7, -2.5, 0, 3, 8.5} {
			got, sure, err := a.Off(drawn(off, draw), 8)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-off) > 2 || sure < 0.5 || sure > 1 {
				t.Errorf("%s, %v columns off: told %.2f at odds of %.2f", name, off, got, sure)
			}
		}
	}
	// where nothing tells, no place has most of the odds
	if off, sure, err := a.Off(drawn(0, func(float64) float64 { return 0.2 }), 8); err != nil || sure > 0.5 {
		t.Errorf("even water: told %.1f at odds of %.2f (%v)", off, sure, err)
	}
}

// A line in a colour of its own has no strength, and is told all the same.
func TestOffOfALineInItsOwnColour(t *testing.T) {
	a, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	const off = 6
	b := drawn(off, func(u float64) float64 { return 0.05 + 0.1*math.Exp(-math.Abs(u-off)/12) })
	for i := Reach + off - 1; i <= Reach+off+1; i++ {
		b.Drawn[i], b.Strength[i], b.Spread[i] = 1, 0, 0
	}
	if got, sure, err := a.Off(b, 8); err != nil || math.Abs(got-off) > 1.5 {
		t.Errorf("told %.2f at odds of %.2f (%v), want %d", got, sure, err, off)
	}
}

func TestOffRefusesOtherSizes(t *testing.T) {
	a, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	b := drawn(0, pulse)
	b.Drawn = b.Drawn[1:]
	if _, _, err := a.Off(b, 8); err == nil {
		t.Error("no error for planes of different lengths")
	}
	if _, _, err := a.Off(&Beside{}, 8); err == nil {
		t.Error("no error for nothing")
	}
}

func TestSettle(t *testing.T) {
	logits := make([]float32, halves*cols)
	for i := range logits {
		logits[i] = -20
	}
	logits[Reach+4], logits[cols+Reach+4] = 3, 3 // 4 and 4.5 columns to the right, alike
	if off, sure := settle(logits, 1000); math.Abs(off-4.25) > 1e-6 || sure < 0.999 {
		t.Errorf("told %v at odds of %v, want 4.25 at 1", off, sure)
	}
	logits[Reach-20] = 3 // and as likely elsewhere
	if off, sure := settle(logits, 1000); math.Abs(off-4.25) > 1e-6 || math.Abs(sure-2.0/3) > 1e-3 {
		t.Errorf("told %v at odds of %v where a third lies elsewhere, want 4.25 at two thirds", off, sure)
	}
	logits[Reach-20] = 4 // likelier than each of these, but far out for such a path
	if off, _ := settle(logits, 5); math.Abs(off-4.25) > 0.1 {
		t.Errorf("told %v, want 4.25: paths are not off by 20 columns", off)
	}
}

// A record and its mirror have the same nadir.
func TestOffInAMirror(t *testing.T) {
	a, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	b := drawn(4, func(u float64) float64 { return pulse(u) * (1 + 0.3*math.Tanh(u)) })
	there, sure, err := a.Off(b, 8)
	if err != nil {
		t.Fatal(err)
	}
	for _, plane := range [...][]float32{b.Strength, b.Spread, b.Drawn, b.Inside} {
		slices.Reverse(plane)
	}
	back, again, err := a.Off(b, 8)
	if err != nil || math.Abs(there+back) > 0.1 || math.Abs(sure-again) > 0.02 {
		t.Errorf("told %.3f at odds of %.3f, in a mirror %.3f at %.3f (%v)", there, sure, back, again, err)
	}
}
