package scene

import (
	"math"
	"math/rand/v2"
)

// water adds to a row what is in the water and what parallels the track: specks, clouds, ghost lines.
type water struct {
	s      *Spec
	side   int
	rng    *rand.Rand
	specks []speck
	clouds []octaves
	lines  []Line
	buf    []float64
}

// speck is one that goes on over the rows below.
type speck struct {
	col, rows int
	strength  float64
}

func newWater(s *Spec, side, cols int) *water {
	w := &water{s: s, side: side, rng: newRand(s.Seed, uint64(streamWater*16+side)), buf: make([]float64, cols)}
	for i, c := range s.Water.Clouds {
		w.clouds = append(w.clouds, newOctaves(uint64(s.Seed)*131+uint64(streamWater*64+i), c.Cell/4, c.Aspect, 0.2, 3, 3.2))
	}
	w.lines = append(w.lines, s.Water.Lines...)
	w.lines = append(w.lines, s.Record.Echoes...)
	w.lines = append(w.lines, s.Record.CrossLines...)
	return w
}

// line fills dst with what row r adds to intensity, mean bottom = 1; first is the first return's column.
func (w *water) line(r int, first float64, dst []float64) {
	clear(dst)
	for i := range w.clouds {
		w.cloud(i, r, first, dst)
	}
	for i := range w.lines {
		w.ghost(&w.lines[i], r, first, dst)
	}
	end := min(len(dst), int(first))
	if rate := w.s.Water.SpeckRate; rate > 0 {
		live := w.specks[:0]
		for _, p := range w.specks {
			if p.col < end {
				dst[p.col] += p.strength
			}
			if p.rows--; p.rows > 0 {
				live = append(live, p)
			}
		}
		w.specks = live
		for c := int(w.rng.ExpFloat64() / rate); c < end; c += 1 + int(w.rng.ExpFloat64()/rate) {
			p := speck{c, w.rng.IntN(max(1, w.s.Water.SpeckMax)), w.s.Water.SpeckGain * w.rng.ExpFloat64()}
			dst[c] += p.strength
			if p.rows > 0 {
				w.specks = append(w.specks, p)
			}
		}
	}
}

func (w *water) cloud(i, r int, first float64, dst []float64) {
	c := &w.s.Water.Clouds[i]
	if c.Side != w.side || r < c.Row0 || r >= c.Row1 {
		return
	}
	n := min(len(w.buf), int(first))
	if n < 2 {
		return
	}
	buf := w.buf[:n]
	clear(buf)
	w.clouds[i].addTo(buf, float64(r), 0, 1, 1)
	// A cloud thins out towards its ends.
	u := (float64(r-c.Row0) + 0.5) / float64(c.Row1-c.Row0)
	dense := c.Dense - 1.6*math.Pow(math.Abs(2*u-1), 3)
	for k, v := range buf {
		if f := float64(k) / first; f < c.FadeIn || f > c.Fade {
			continue
		}
		if v += dense * 1.5; v > 0 {
			dst[k] += c.Strength * v * v
		}
	}
}

func (w *water) ghost(l *Line, r int, first float64, dst []float64) {
	if l.Side != 2 && l.Side != w.side {
		return
	}
	if l.Row1 > 0 && (r < l.Row0 || r >= l.Row1) || l.DashRows > 0 && r/l.DashRows%2 == 1 {
		return
	}
	at := l.Col
	if at == 0 {
		at = l.Times * first
	}
	k := l.Strength
	if l.Flicker > 0 {
		k *= max(0, 1+l.Flicker*w.rng.NormFloat64())
	}
	reach := 3 * l.WidePx
	for c := max(0, int(at-reach)); c < min(len(dst), int(at+reach)+2); c++ {
		u := (float64(c) + 0.5 - at) / l.WidePx
		dst[c] += k * math.Exp(-u*u/2)
	}
}
