package features

import (
	"math"
	"testing"
)

func TestFitLine(t *testing.T) {
	line := Line{At: 40, Slope: 0.1}
	nan := math.NaN()
	for _, tt := range []struct {
		name   string
		n      int
		change func(i int, v float64) float64 // of the value at place i
		part   float64
	}{
		{"all on it", 100, func(_ int, v float64) float64 { return v }, 1},
		{"a third beside it", 90, func(i int, v float64) float64 {
			if i >= 60 {
				return v + 25
			}
			return v
		}, 2.0 / 3},
		{"some unknown", 100, func(i int, v float64) float64 {
			if i%4 == 0 {
				return nan
			}
			return v
		}, 0.75},
		{"too few", 23, func(_ int, v float64) float64 { return v }, 0},
	} {
		for _, up := range []bool{false, true} {
			want := line
			want.Up = up
			points := make([]Point, tt.n)
			for i := range points {
				x := 3 * float64(i)
				v := tt.change(i, line.At+line.Slope*x)
				points[i] = Point{x, v}
				if up {
					points[i] = Point{v, x}
				}
			}
			got, part := FitLine(points, up, 0.5)
			if math.Abs(part-tt.part) > 1e-9 {
				t.Errorf("%s, up %v: %.3f of the points on the line, want %.3f", tt.name, up, part, tt.part)
			}
			if part == 0 {
				continue
			}
			if got.Up != up || math.Abs(got.At-want.At) > 1e-6 || math.Abs(got.Slope-want.Slope) > 1e-6 {
				t.Errorf("%s, up %v: %+v, want %+v", tt.name, up, got, want)
			}
			if off := got.Off(points[1]); math.Abs(off) > 1e-6 {
				t.Errorf("%s, up %v: a point of the line lies %v off it", tt.name, up, off)
			}
		}
	}
}

func TestCross(t *testing.T) {
	across, up := Line{At: 10, Slope: 0.5}, Line{At: 4, Slope: -0.25, Up: true}
	p := Cross(across, up)
	if math.Abs(across.Off(p)) > 1e-9 || math.Abs(up.Off(p)) > 1e-9 {
		t.Errorf("the lines meet at %v, which is %v and %v off them", p, across.Off(p), up.Off(p))
	}
}
