package screenworld

import (
	"image"
	"math"
)

// downward draws a down-looking strip in the record's palette: the newest sounding at the right, or at the top where the strip runs
// down the screen.
func (s *screen) downward(b image.Rectangle) {
	r := s.r
	upright := b.Dy() > b.Dx() && chance(r, 0.6) // time runs down and depth to the right
	long, deep := b.Dx(), b.Dy()
	if upright {
		long, deep = deep, long
	}
	floor := fractal(r, long, 1, 3, float64(long)/2, 1)
	at, rise, tail := between(r, 0.3, 0.75), between(r, 0.02, 0.09), between(r, 0.03, 0.3)
	looks := gammaTable(r, between(r, 1.5, 5))
	quiet, bright := between(r, 0.01, 0.1), between(r, 0.6, 1.3)
	again := between(r, 0, 0.5)
	strip := newGrid(long, deep)
	for t := range long {
		bottom := (at + rise*float64(floor.v[t])) * float64(deep)
		for d := range deep {
			v := quiet
			if under := float64(d) - bottom; under >= 0 {
				v += bright * math.Exp(-under/float64(deep)/tail)
			}
			if under := float64(d) - 2*bottom; under >= 0 {
				v += again * bright * math.Exp(-under/float64(deep)/tail)
			}
			if d < deep/30 {
				v = 1
			}
			strip.row(d)[t] = float32(v) * (0.3 + 0.7*looks.draw(r.Uint64()))
		}
	}
	for range r.IntN(14) { // fish, as arcs
		x0, y0 := r.IntN(long), between(r, 0.08, 0.9)*at*float64(deep)
		half, sag := between(r, 4, 24), between(r, 2, 9)
		for x := max(x0-int(half), 0); x < min(x0+int(half), long); x++ {
			u := float64(x-x0) / half
			for k := range 3 {
				if y := int(y0+sag*u*u) + k; y < deep {
					strip.row(y)[x] = max(strip.row(y)[x], float32((1-u*u)*bright))
				}
			}
		}
	}
	for d := range deep {
		for t, v := range strip.row(d) {
			x, y := t, d
			if upright {
				x, y = d, t
			}
			s.img.SetRGBA(b.Min.X+x, b.Min.Y+y, s.pal.at(v))
		}
	}
	s.write(figure(r), s.theme.type2, math.Min(float64(b.Dy())/6, 40), b.Min.Add(image.Pt(6, 6)), s.theme.ink)
	if chance(r, 0.5) {
		for k := 1; k < 5; k++ {
			s.writeIn(b, figure(r), 11, image.Pt(b.Max.X-32, b.Min.Y+b.Dy()*k/5), s.theme.ink)
		}
	}
}
