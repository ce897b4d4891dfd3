package bedworld

import (
	"math"

	"shadowgap/detect"
)

// edgers sets things on the bottom right at the first return: they show against the dark column, and their shadow falls on the near bottom.
func (w *world) edgers(s *side) {
	for range w.whole(1, 4) {
		r := w.Float64() * float64(s.rows)
		tall, b := w.spread(4, 22)/w.kx, max(w.spread(5, 30)/2/w.ky, 1)
		first := s.first[int(r)]
		long := tall * w.spread(0.8, 3)
		if first < tall+3 || !s.free(rect{int(first - tall - 3), int(r - b - 2), int(first + long + 4), int(r + b + 3)}) {
			continue
		}
		t := w.start(s, detect.BottomObject, "edge")
		strong := float64(s.level(0, int(r))) * w.spread(0.4, 3)
		o := newOutline(w.dice, 0.35)
		left := w.spread(0.03, 0.3)
		skew := w.between(-0.5, 0.5)
		over := tall * w.between(0, 0.4)
		for y := int(r - 1.3*b); y <= int(r+1.3*b); y++ {
			if y < 0 || y >= s.rows {
				continue
			}
			v := (float64(y) - r) / b
			for i := int(s.first[y] - 1.3*tall); i <= int(s.first[y]+over); i++ {
				u := (s.first[y] - float64(i)) / tall
				if u*u+(v+skew*u)*(v+skew*u) < o.at(u, v) {
					t.glow(i, y, float32(strong*w.between(0.3, 1.2)))
				}
			}
			if v*v < 1 {
				reach := long * w.between(0.8, 1.05) * (1 - v*v*v*v)
				from := s.first[y] + 1 + over*math.Sqrt(1-v*v)
				t.streak(int(from), int(from+reach), y, left)
			}
		}
	}
}

// streak shades the samples from i0 to i1 of one ping.
func (t *thing) streak(i0, i1, r int, left float64) {
	for i := i0; i < i1; i++ {
		t.dim(i, r, float32(left))
	}
}

// closeBy hangs things a little above the first return, their shadow a short gap behind them on the near bottom.
func (w *world) closeBy(s *side) {
	for range w.whole(1, 4) {
		r := w.Float64() * float64(s.rows)
		a, b := max(w.spread(4, 12)/2/w.kx, 0.8), max(w.spread(4, 20)/2/w.ky, 0.8)
		over := max(w.spread(2, 14)/w.kx, 1.5)
		first := s.first[int(r)]
		gap := over * w.between(0.3, 1.2)
		i := first - over - a
		if i < a+4 || !s.free(rect{int(i - a - 3), int(r - b - 3), int(first + gap + 3*a + 3), int(r + b + 4)}) {
			continue
		}
		t := w.start(s, detect.SuspendedTarget, "hanging")
		t.hangs = true
		t.spot(i, r, a*0.8, b*0.8, float64(s.level(0, int(r)))*w.spread(0.2, 1.5))
		near := first + gap
		long := a * w.between(0.8, 1.8)
		t.patch(near+long, r, long, b, w.spread(0.05, 0.45), w.dice)
	}
}

// hoverers hang things in the water: over the bottom with their shadow clearly farther out, or alone in the column.
func (w *world) hoverers(s *side) {
	for range w.whole(1, 5) {
		i, r := w.aground(s, 0, 0.7)
		column := w.water && w.chance(0.4)
		if column {
			i = s.first[int(r)] * w.between(0.25, 0.85)
		}
		a, b := max(w.spread(4, 11)/2/w.kx, 0.8), max(w.spread(4, 20)/2/w.ky, 0.8)
		gap := w.spread(7, 45) / w.kx
		long := a * w.between(0.9, 2)
		if !s.free(rect{int(i - a - 3), int(r - b - 3), int(i + a + gap + 2*long + 4), int(r + b + 4)}) {
			continue
		}
		t := w.start(s, detect.SuspendedTarget, "fish")
		t.hangs = true
		strong := float64(s.level(int(i), int(r))) * w.spread(2, 9)
		if column {
			strong *= 0.15
		}
		t.spot(i, r, a*0.8, b*0.8, strong)
		if !column {
			t.patch(i+a+gap+long, r, long, b, w.spread(0.05, 0.4), w.dice)
		}
	}
}
