package screenworld

import (
	"context"
	"math"
)

// echo is one side of a record, bins outward from the nadir, pings down.
type echo struct {
	level     *grid     // strength of what comes back
	thing     *grid     // the part of it that things throw back
	lit       *grid     // how much of the bottom in a bin is heard, 1 all and 0 none; -1 where there is no bottom
	of        []uint8   // the thing heard in a bin
	shadow    []uint8   // the thing in whose shadow a bin lies
	firstBins []float64 // slant range of the nearest bottom, in bins
}

// sounding is the sounding of one ping of one side.
type sounding struct {
	w        *world
	e        *echo
	h        float64 // altitude, metres
	horizon  float64 // greatest tangent over which something was met that stands on the bottom
	owner    uint8   // what set it
	blocks   []block
	law      *[257]float64
	gain     []float64
	ping     int
	num, den []float32
	seen     []float32
}

// block is what something hanging hides: tangents between two.
type block struct {
	low, high float64
	id        uint8
}

// sound hears a side (0 port, 1 starboard) ping by ping.
func (w *world) sound(ctx context.Context, side int) (*echo, error) {
	n := w.pings * w.cells
	e := &echo{level: newGrid(w.cells, w.pings), thing: newGrid(w.cells, w.pings), lit: newGrid(w.cells, w.pings),
		of: make([]uint8, n), shadow: make([]uint8, n), firstBins: make([]float64, w.pings)}
	steep := pick(w.r, []float64{0.5, 0.8, 1, 1.4, 2})
	mirror := between(w.r, 0, 1.2) // how much more level bottom throws straight back
	var law [257]float64
	for i := range law {
		facing := math.Max(float64(i)/256, 0.01)
		law[i] = math.Pow(facing, steep) + mirror*math.Pow(facing, 14)
	}
	m := sounding{w: w, e: e, law: &law, gain: w.rangeGain(steep),
		num: make([]float32, w.cells), den: make([]float32, w.cells), seen: make([]float32, w.cells)}
	for p := range w.pings {
		if p%64 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		m.hear(side, p)
	}
	e.spreadBeam(between(w.r, 0, 0.3))
	return e, nil
}

// rangeGain is what the recorder multiplies every bin by to take out the fall with range, and what it leaves of it.
func (w *world) rangeGain(steep float64) []float64 {
	alt := w.plan.altitudePart * float64(w.cells)
	taken, rest := between(w.r, 0.45, 1), between(w.r, -0.1, 0.5)
	gain := make([]float64, w.cells)
	for b := range gain {
		over := math.Max(float64(b)/alt, 1)
		gain[b] = math.Pow(over, steep*taken) * math.Exp(-rest*float64(b)/float64(w.cells))
	}
	return gain
}

// at is the column of the world's grids for a cell of a side.
func (w *world) at(side, cell int) int {
	if side == 0 {
		return w.cells - 1 - cell
	}
	return w.cells + cell
}

// hear fills one ping of the echo.
func (m *sounding) hear(side, ping int) {
	w := m.w
	m.ping, m.h, m.horizon, m.owner, m.blocks = ping, w.altM[ping], math.Inf(-1), 0, m.blocks[:0]
	clear(m.num)
	clear(m.den)
	clear(m.seen)
	first := math.Inf(1)
	cols := w.columns[side][ping]
	z, refl := w.z.row(ping), w.refl.row(ping)
	last, before := -1, float64(z[w.at(side, 0)])
	for c := range w.cells {
		g := (float64(c) + 0.5) * w.cellM
		col := w.at(side, c)
		high := float64(z[col])
		horizon := m.horizon
		for len(cols) > 0 && cols[0].cell == c {
			m.meet(cols[0], g)
			cols = cols[1:]
		}
		slant := math.Hypot(g, m.h-high)
		first = math.Min(first, slant)
		bin := int(slant / w.cellM)
		if bin >= w.cells {
			continue
		}
		slope := (high - before) / w.cellM
		before = high
		facing := (g*slope + m.h - high) / (slant * math.Sqrt(1+slope*slope))
		tangent := (high - m.h) / g
		if last < 0 {
			last = bin - 1
		}
		m.bottom(min(last+1, bin), bin, tangent, float64(refl[col])*m.law[int(math.Max(facing, 0)*256)])
		own := w.owner[ping*2*w.cells+col]
		if own > 0 && slope > 0.08 && tangent >= horizon {
			m.e.of[ping*w.cells+bin] = own
		}
		if tangent > m.horizon {
			m.horizon, m.owner = tangent, own
		}
		last = bin
	}
	m.e.firstBins[ping] = first / w.cellM
	m.sum()
}

// bottom lays the echo of a bit of bottom into bins, or its silence where it is hidden.
func (m *sounding) bottom(from, to int, tangent, strength float64) {
	hiddenBy, hidden := m.owner, tangent < m.horizon-1e-9
	for _, b := range m.blocks {
		if !hidden && tangent >= b.low && tangent <= b.high {
			hidden, hiddenBy = true, b.id
		}
	}
	for b := max(from, 0); b <= to; b++ {
		m.den[b]++
		if hidden {
			m.e.shadow[m.ping*m.w.cells+b] = hiddenBy
			continue
		}
		m.num[b] += float32(strength * m.gain[b])
		m.seen[b]++
	}
}

// meet lays the echo of a column into bins, as much of it as is heard, and remembers what it hides.
func (m *sounding) meet(c column, g float64) {
	w := m.w
	low, high := c.low, c.high
	if m.horizon > math.Inf(-1) {
		low = math.Max(low, m.h+m.horizon*g)
	}
	top := (c.high - m.h) / g
	for _, b := range m.blocks {
		if b.low <= (c.low-m.h)/g && top <= b.high {
			return
		}
	}
	if high > low {
		near, far := slants(g, m.h-low, m.h-high)
		b0, b1 := int(near/w.cellM), min(int(far/w.cellM), w.cells-1)
		// What faces the sound, against what a cell of level bottom at the same range would.
		face := ((high-low)*g + w.cellM*math.Abs(m.h-high)) / (w.cellM * math.Max(m.h, 0.1))
		each := c.strength * math.Pow(math.Min(face, 30), 0.6) / math.Pow(float64(b1-b0+1), 0.5)
		for b := max(b0, 0); b <= b1; b++ {
			i := m.ping*w.cells + b
			m.e.thing.v[i] += float32(each * m.gain[b] * m.law[int(math.Min(m.h/math.Max(far, m.h), 1)*256)])
			m.e.of[i] = c.id
		}
	}
	if c.hangs {
		m.blocks = append(m.blocks, block{(c.low - m.h) / g, top, c.id})
	} else if top > m.horizon {
		m.horizon, m.owner = top, c.id
	}
}

// slants are the nearest and the farthest slant range of an upright line at ground range g whose ends lie below the transducer by a, b.
func slants(g, a, b float64) (near, far float64) {
	near, far = math.Hypot(g, a), math.Hypot(g, b)
	if near > far {
		near, far = far, near
	}
	if a*b < 0 {
		near = g
	}
	return near, far
}

// sum turns what was laid into a ping's bins into strengths.
func (m *sounding) sum() {
	level, lit := m.e.level.row(m.ping), m.e.lit.row(m.ping)
	for b, n := range m.den {
		if n == 0 {
			lit[b] = -1
			continue
		}
		level[b] = m.num[b] / n
		lit[b] = m.seen[b] / n
	}
}

// spreadBeam mixes every ping with its neighbours, more so farther out: most is the share that each neighbour gives at the last bin.
func (e *echo) spreadBeam(most float64) {
	for _, g := range []*grid{e.level, e.thing} {
		above := make([]float32, g.w)
		copy(above, g.row(0))
		for p := 1; p+1 < g.h; p++ {
			row, below := g.row(p), g.row(p+1)
			for b, v := range row {
				k := float32(most) * float32(b) / float32(g.w)
				row[b] = v*(1-2*k) + k*(above[b]+below[b])
				above[b] = v
			}
		}
	}
}
