package features

import (
	"math"
	"testing"
)

// The projection that takes the unit square to a given quadrilateral has a closed form (Heckbert, Fundamentals of Texture Mapping and
// Image Warping, 1989, 2.2.3; from memory): for (0,0) (4,0) (3,2) (1,2) it takes the middle to (2, 4/3).
func TestProjection(t *testing.T) {
	from := [4]Point{{0, 0}, {1, 0}, {1, 1}, {0, 1}}
	to := [4]Point{{0, 0}, {4, 0}, {3, 2}, {1, 2}}
	h := ProjectionOf(from, to)
	close := func(what string, got, want Point) {
		if !(math.Hypot(got.X-want.X, got.Y-want.Y) <= 1e-9) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	for i := range from {
		close("a corner", h.Apply(from[i]), to[i])
	}
	close("where the diagonals meet", h.Apply(Point{0.5, 0.5}), Point{2, 4.0 / 3})
	close("there and back", h.Inverse().Apply(h.Apply(Point{0.3, 0.8})), Point{0.3, 0.8})
}
