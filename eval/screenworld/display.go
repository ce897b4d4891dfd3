package screenworld

import (
	"math"
	"slices"
)

// kernels are the windows that displays stretch with; a box that is stretched repeats samples.
var kernels = []kernel{boxKernel, tentKernel, splineKernel, sharpKernel}

// tone is how strengths become what is shown.
type tone struct {
	target, gamma, offset, slope float64
	log                          bool
}

func (rec *record) tone() tone {
	r := rec.r
	t := tone{target: between(r, 0.18, 0.6), gamma: between(r, 0.4, 1), offset: between(r, -0.06, 0.04),
		slope: between(r, 0.12, 0.28), log: chance(r, 0.3)}
	switch u := r.Float64(); {
	case u < 0.05:
		t.target = between(r, 0.06, 0.14)
	case u < 0.1:
		t.target = between(r, 0.7, 0.95)
	}
	return t
}

// table tabulates the tone over strengths from 0 to 16 in steps of 1/256.
func (t tone) table() []float32 {
	out := make([]float32, 16*256)
	for i := range out {
		s := float64(i) / 256
		v := t.target * math.Pow(s, t.gamma)
		if t.log {
			v = t.target + t.slope*math.Log(s+0.004)
		}
		out[i] = float32(math.Min(math.Max(v+t.offset, 0), 1))
	}
	return out
}

// show stretches both sides into the rectangle.
func (rec *record) show() {
	wide, high := rec.rect.Dx(), rec.rect.Dy()
	rec.v = newGrid(wide, high)
	rec.of, rec.shadow = make([]uint8, wide*high), make([]uint8, wide*high)
	kx, ky := pick(rec.r, kernels), pick(rec.r, kernels)
	table := rec.tone().table()
	before := chance(rec.r, 0.4) // the tone comes before the stretching
	look := func(g *grid) {
		for i, v := range g.v {
			g.v[i] = table[int(min(max(v*256, 0), float32(len(table)-1)))]
		}
	}
	for s, e := range rec.sides {
		if e == nil {
			continue
		}
		if before {
			look(e.level)
		}
		out := e.level.resampled(float64(rec.width[s])/rec.across, rec.width[s], high, kx, ky)
		if !before {
			look(out)
		}
		for y := range high {
			for x, v := range out.row(y) {
				rec.v.row(y)[rec.column(s, x)] = min(max(v, 0), 1)
			}
		}
		rec.paint(s, e.of, rec.of)
		rec.paint(s, e.shadow, rec.shadow)
	}
	for i, id := range rec.of {
		if id > 0 {
			rec.shadow[i] = 0
		}
	}
}

// paint carries a side's numbers of things over to pixels.
func (rec *record) paint(side int, from, to []uint8) {
	n := rec.w.cells
	wide := rec.rect.Dx()
	for i, id := range from {
		if id == 0 {
			continue
		}
		x0, x1 := spread(i%n, rec.across, rec.width[side])
		y0, y1 := spread(i/n, rec.down, rec.rect.Dy())
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				to[y*wide+rec.column(side, x)] = id
			}
		}
	}
}

// spread is the pixels, of n, that a sample is drawn over.
func spread(i int, scale float64, n int) (from, to int) {
	from = int(math.Round(float64(i) * scale))
	to = max(int(math.Round(float64(i+1)*scale)), from+1)
	return min(from, n), min(to, n)
}

// lose blanks stretches of rows.
func (rec *record) lose() {
	if !slices.Contains(rec.plan.faults, "lost") {
		return
	}
	r, high := rec.r, rec.rect.Dy()
	blank := pick(r, []float32{0, 0, 0, 0.5, 1})
	at := r.IntN(high)
	for range 1 + r.IntN(3) {
		from := at
		to := min(from+1+int(math.Pow(r.Float64(), 3)*40), high)
		if from >= to {
			break
		}
		rec.lost = append(rec.lost, [2]int{from, to})
		for i := from * rec.v.w; i < to*rec.v.w; i++ {
			rec.v.v[i], rec.of[i], rec.shadow[i] = blank, 0, 0
		}
		at = to + 5 + r.IntN(high)
	}
}
