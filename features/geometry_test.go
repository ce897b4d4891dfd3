package features

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func exact(v float64) Measured { return Measured{Value: v} }

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

// Worked by hand from similar triangles; no published example was found.
func TestHeightFromShadowWorkedExamples(t *testing.T) {
	for _, c := range []struct{ h, start, end, want, correctedWrongly float64 }{
		{10, 40, 50, 2.000, 2.094},
		{8, 20, 25, 1.600, 1.809},
	} {
		z, err := HeightFromShadow(exact(c.h), exact(c.start), exact(c.end))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "height", z.Value, c.want, 1e-12)

		// The trap: taking the shadow's start as a point on the bottom before the triangle is drawn.
		gs, err := GroundRange(exact(c.start), exact(c.h))
		if err != nil {
			t.Fatal(err)
		}
		ge, err := GroundRange(exact(c.end), exact(c.h))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "height with the trap", c.h*(ge.Value-gs.Value)/ge.Value, c.correctedWrongly, 5e-4)
	}
}

// shadowByRays marches rays from a transducer at altitude h past a thin upright plate at ground range g that spans heights
// z0 to z1, and returns the slant range of the plate's lower and upper edge and of the shadow's ends on a flat bottom.
func shadowByRays(h, g, z0, z1 float64) (lower, upper, near, end float64) {
	near, end = math.Inf(1), 0
	for i := 1; i < 2_000_000; i++ {
		depression := float64(i) * (math.Pi / 2) / 2_000_000 // below horizontal
		z := h - g*math.Tan(depression)
		if z < z0 || z > z1 || z < 0 {
			continue
		}
		s := h / math.Sin(depression) // where it would have met the bottom
		near, end = math.Min(near, s), math.Max(end, s)
	}
	return math.Hypot(g, h-z0), math.Hypot(g, h-z1), near, end
}

func TestHeightsAgreeWithRayTracing(t *testing.T) {
	for _, c := range []struct{ h, g, z0, z1 float64 }{
		{10, 30, 0, 1}, {10, 30, 2, 2.5}, {6, 12, 1, 1.4}, {15, 8, 0, 3}, {4, 20, 0.5, 0.9},
	} {
		lower, upper, sn, se := shadowByRays(c.h, c.g, c.z0, c.z1)
		top, err := HeightFromShadow(exact(c.h), exact(upper), exact(se))
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("top of %+v", c), top.Value, c.z1, 1e-3)
		under, err := UndersideFromShadow(exact(c.h), exact(lower), exact(sn))
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("underside of %+v", c), under.Value, c.z0, 1e-3)
	}
}

func TestErrorsAgreeWithMonteCarlo(t *testing.T) {
	const n = 200_000
	rng := rand.New(rand.NewPCG(7, 11))
	draw := func(m Measured) Measured { return exact(m.Value + m.SD*rng.NormFloat64()) }
	h, a, b := Measured{9, 0.12}, Measured{24, 0.08}, Measured{29, 0.2}
	for _, c := range []struct {
		name string
		f    func(h, a, b Measured) (Measured, error)
	}{
		{"height from shadow", HeightFromShadow},
		{"underside from shadow", UndersideFromShadow},
		{"ground range", func(h, a, _ Measured) (Measured, error) { return GroundRange(a, h) }},
		{"gap", func(_, a, b Measured) (Measured, error) { return Gap(a, b), nil }},
		{"product", func(h, a, _ Measured) (Measured, error) { return Product(h, a), nil }},
	} {
		want, err := c.f(h, a, b)
		if err != nil {
			t.Fatal(err)
		}
		var sum, sum2 float64
		for range n {
			m, err := c.f(draw(h), draw(a), draw(b))
			if err != nil {
				t.Fatal(err)
			}
			sum += m.Value
			sum2 += m.Value * m.Value
		}
		mean := sum / n
		sd := math.Sqrt(sum2/n - mean*mean)
		if math.Abs(mean-want.Value) > 0.02*want.SD+4*sd/math.Sqrt(n) {
			t.Errorf("%s: Monte Carlo mean %v, formula %v", c.name, mean, want.Value)
		}
		if math.Abs(sd/want.SD-1) > 0.02 {
			t.Errorf("%s: Monte Carlo deviation %v, formula %v", c.name, sd, want.SD)
		}
	}
}

func TestGroundRangeErrorStaysFiniteAtFirstReturn(t *testing.T) {
	g, err := GroundRange(Measured{10, 0.1}, Measured{10, 0.1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ground range", g.Value, 0, 0)
	near(t, "its error", g.SD, math.Sqrt(2*math.Sqrt2), 1e-9) // √(2·√(1²+1²))
}

func TestGeometryRefusesTheImpossible(t *testing.T) {
	if _, err := GroundRange(exact(5), exact(6)); !errors.Is(err, ErrInsideWaterColumn) {
		t.Errorf("ground range inside the water column: error %v", err)
	}
	nan := math.NaN()
	for name, err := range map[string]error{
		"nan range":       second(SlantPerPixel(nan, 10)),
		"no pixels":       second(SlantPerPixel(30, 0)),
		"negative range":  second(SlantPerPixel(-30, 400)),
		"nan slant":       second(GroundRange(exact(nan), exact(5))),
		"no altitude":     second(HeightFromShadow(exact(0), exact(5), exact(6))),
		"shadow in front": second(HeightFromShadow(exact(5), exact(7), exact(6))),
		"nan shadow":      second(UndersideFromShadow(exact(5), exact(7), exact(nan))),
		"zero speed":      second(RescaleForSoundSpeed(exact(5), 0, 1500)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestSlopedAltitudeWidens(t *testing.T) {
	h, sigmas := SlopedAltitude(Measured{10, 0.3}, Measured{12, 0.4})
	near(t, "sigmas", sigmas, 4, 1e-12)
	near(t, "error", h.SD, math.Hypot(0.3, 1), 1e-12)
	if h, sigmas = SlopedAltitude(exact(10), exact(10)); h.SD != 0 || sigmas != 0 {
		t.Errorf("equal sides: %v, %v sigmas", h, sigmas)
	}
}

func ExampleHeightFromShadow() {
	altitude := Measured{Value: 10, SD: 0.1}  // metres
	highlight := Measured{Value: 40, SD: 0.1} // slant range in metres
	shadowEnd := Measured{Value: 50, SD: 0.2}
	z, err := HeightFromShadow(altitude, highlight, shadowEnd)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f ± %.2f m\n", z.Value, z.SD)
	// Output: 2.00 ± 0.04 m
}

func ExampleUndersideFromShadow() {
	altitude := Measured{Value: 8, SD: 0.05}
	z, err := UndersideFromShadow(altitude, Measured{Value: 20, SD: 0.1}, Measured{Value: 23, SD: 0.1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f ± %.2f m off the bottom\n", z.Value, z.SD)
	// Output: 1.04 ± 0.05 m off the bottom
}

func ExampleGroundRange() {
	_, err := GroundRange(Measured{Value: 4}, Measured{Value: 9})
	fmt.Println(errors.Is(err, ErrInsideWaterColumn))
	// Output: true
}
