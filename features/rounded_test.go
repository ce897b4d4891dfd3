package features

import (
	"fmt"
	"math"
	"testing"
)

// The outer ends of half an ellipse on a flat bottom, found by going round its outline, give its height back.
func TestRoundedHeightAgreesWithAnOutline(t *testing.T) {
	for _, c := range []struct{ h, g, z, long float64 }{{10, 12, 1, 1.1}, {10, 30, 1, 1.1}, {6, 4, 0.5, 1.1}, {20, 60, 2, 0.7}, {8, 8, 1, 2}} {
		near, end := math.Inf(1), 0.0
		for i := range 200_000 {
			a := math.Pi * float64(i) / 200_000
			x, z := c.g+c.long*c.z*math.Cos(a), c.z*math.Sin(a)
			near = math.Min(near, math.Hypot(x, c.h-z))
			end = math.Max(end, math.Hypot(x, c.h-z)*c.h/(c.h-z)) // the ray through this point, on to the bottom
		}
		z, err := RoundedHeightFromShadow(exact(c.h), exact(near), exact(end), c.long)
		if err != nil {
			t.Fatal(err)
		}
		tol := 0.02 * c.z // the nearest point is taken along the ray to the centre
		if math.Abs(z.Value-c.z) > tol || z.SD != 0 {
			t.Errorf("%+v: %.4f ± %.4f, want %.4f within %.4f", c, z.Value, z.SD, c.z, tol)
		}
	}
}

func TestRoundedHeightStatesItsErrors(t *testing.T) {
	h, near, end := exact(10), Measured{29.5, 0.1}, exact(33)
	z, err := RoundedHeightFromShadow(h, near, end, 1.1)
	if err != nil {
		t.Fatal(err)
	}
	moved, err := RoundedHeightFromShadow(h, exact(29.6), end, 1.1)
	if err != nil {
		t.Fatal(err)
	}
	if want := math.Abs(moved.Value - z.Value); z.SD <= 0 || math.Abs(z.SD-want) > 1e-9 {
		t.Errorf("stated error %v, moving the near edge by its own moves the height by %v", z.SD, want)
	}
	for _, long := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := RoundedHeightFromShadow(h, near, end, long); err == nil {
			t.Errorf("a length of %v heights was taken", long)
		}
	}
	if _, err := RoundedHeightFromShadow(h, exact(8), exact(9), 1.1); err == nil {
		t.Error("a shadow that ends in the water column was taken")
	}
}

// Against the moments of the slopes that a ray can reach, added up.
func TestFacingSlopeAgreesWithAddedUpSlopes(t *testing.T) {
	for _, c := range []struct{ sin, spread float64 }{{0.02, 0.05}, {0.05, 0.05}, {0.1, 0.05}, {0.5, 0.05}} {
		var n, sum, squares float64
		for m := -c.sin; m < 10*c.spread; m += c.spread / 10_000 {
			w := math.Exp(-m * m / (2 * c.spread * c.spread))
			n, sum, squares = n+w, sum+w*m, squares+w*m*m
		}
		mean := sum / n
		got := FacingSlope(c.sin, c.spread)
		near(t, fmt.Sprintf("mean of %+v", c), got.Value, mean, 1e-4)
		near(t, fmt.Sprintf("spread of %+v", c), got.SD, math.Sqrt(squares/n-mean*mean), 1e-4)
	}
	if got := FacingSlope(0.1, 0); got != (Measured{}) {
		t.Errorf("a level bottom slopes by %+v", got)
	}
}
