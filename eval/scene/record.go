package scene

import (
	"math"
	"math/rand/v2"
)

// recorder turns swaths of echo density into strength as recorded, with everything that recording and replay do to it.
type recorder struct {
	s      *Spec
	pings  []ping
	swaths [2]*swath
	level  [2][]float64 // from echo density to intensity over the mean bottom, a column
}

func newRecorder(s *Spec, pings []ping, swaths [2]*swath) *recorder {
	q := &recorder{s: s, pings: pings, swaths: swaths}
	ref := min(1.6*s.AltitudeM, (s.AltitudeM+s.RangeM)/2)
	refI := s.Bottom.Reflectivity * s.drawnLevel(ref) * flatEcho(ref, s.AltitudeM)
	for side, w := range swaths {
		if w == nil {
			continue
		}
		q.level[side] = make([]float64, w.cols)
		for c := range q.level[side] {
			q.level[side][c] = s.drawnLevel((float64(c)+0.5)*s.PixelM()) / refI
		}
	}
	return q
}

// rowGains are the gains of every ping that both sides share.
func (q *recorder) rowGains() []float64 {
	s := q.s
	rng := newRand(s.Seed, streamRecord)
	out := make([]float64, len(q.pings))
	slow := 0.0
	for r := range out {
		slow = 0.93*slow + 0.367*rng.NormFloat64()
		out[r] = fromDB(s.Record.RowDB*rng.NormFloat64() + s.Record.RowSlowDB*slow)
	}
	for _, g := range s.Record.Steps {
		if g.Row > 0 {
			for r := g.Row; r < len(out); r++ {
				out[r] *= fromDB(g.DB)
			}
		}
	}
	return out
}

// columnGains are the gains of every column that change in steps.
func (q *recorder) columnGains(n int) []float64 {
	out := make([]float64, n)
	for c := range out {
		out[c] = 1
		for _, g := range q.s.Record.Steps {
			if g.Col > 0 && c >= g.Col {
				out[c] *= fromDB(g.DB)
			}
		}
	}
	return out
}

// side records one side.
func (q *recorder) side(side int) *drawn {
	s, w := q.s, q.swaths[side]
	other := q.swaths[1-side]
	ds := s.PixelM()
	d := &drawn{swath: w, v: make([]float32, len(w.echo)), flat: make([]float32, w.cols), water: int(s.AltitudeM / ds), ds: ds}
	level := q.level[side]
	fillIn := make([]float64, w.cols)
	noise := make([]float64, w.cols)
	for c := range level {
		d.flat[c] = float32(s.Bottom.Reflectivity * flatEcho((float64(c)+0.5)*ds, s.AltitudeM))
		fillIn[c] = fromDB(s.Sonar.FillDB) * float64(d.flat[c]) * level[c]
		u := float64(c) / float64(w.cols)
		noise[c] = fromDB(s.Sonar.NoiseDB) * (1 + (max(1, s.Record.NoiseOuter)-1)*u*u*u)
	}
	rowGain, colGain := q.rowGains(), q.columnGains(w.cols)
	strip, far := q.strip(w.cols), q.far()
	g := newGrain(s, side, w.cols)
	wat := newWater(s, side, w.cols)
	waves := newSurface(s, side)
	tone := newTone(s)
	bright := newShells(s, side, w.rows, w.cols)
	lit := make([]float64, w.cols)
	factors, extra := make([]float64, w.cols), make([]float64, w.cols)
	gritRng := rand.NewPCG(uint64(s.Seed), uint64(streamRecord*16+side))
	d.rowScale = make([]float32, w.rows)
	for r := range w.rows {
		k := q.pings[r].h / s.AltitudeM
		d.rowScale[r] = float32(k * k)
		gain := q.pings[r].level[side] * math.Pow(k, -1.4) * fromDB(s.Record.SideDB[side])
		first := w.first[r] / ds
		g.line(r, factors)
		wat.line(r, first, extra)
		waves.line(r)
		row, out := w.echo[r*w.cols:(r+1)*w.cols], d.v[r*w.cols:(r+1)*w.cols]
		perCol := float64(len(far)-1) / max(1, float64(w.cols)-first)
		for c, v := range row {
			lit[c] = float64(v)
		}
		bright.line(r, lit, int(first))
		for c := range row {
			e := lit[c] * level[c] * gain
			if off := c - int(first); off >= 0 {
				e *= strip[off] * far[min(len(far)-1, int(float64(off)*perCol))]
			} else {
				e *= strip[0]
			}
			if s.Bottom.Grit > 0 && e > 0.3 && float64(gritRng.Uint64()>>11)*0x1p-53 < s.Bottom.Grit {
				e *= 5
			}
			i := e + noise[c] + fillIn[c] + extra[c]
			if waves.on {
				i += waves.at(c)
			}
			if s.Record.Cross > 0 && other != nil && c < other.cols {
				i += s.Record.Cross * float64(other.echo[r*other.cols+c]) * q.level[1-side][c]
			}
			out[c] = tone.of(i * factors[c] * rowGain[r] * colGain[c])
		}
	}
	spoil(d, s, side)
	q.nadir(d, side)
	q.holes(d, side)
	return d
}

// strip is the factor of the bright strip, a column outward from the first return.
func (q *recorder) strip(n int) []float64 {
	out := make([]float64, n+1)
	k := fromDB(q.s.Record.StripDB) - 1
	for c := range out {
		out[c] = 1
		if q.s.Record.StripPx > 0 {
			out[c] += k * math.Exp(-float64(c)/q.s.Record.StripPx)
		}
	}
	return out
}

// far is the factor of the loss outward, from the first return to the outer edge.
func (q *recorder) far() []float64 {
	out := make([]float64, 256)
	for i := range out {
		out[i] = fromDB(-q.s.Record.FarDB * float64(i) / float64(len(out)-1))
	}
	return out
}

// nadir draws the transmit pulse.
func (q *recorder) nadir(d *drawn, side int) {
	n := &q.s.Nadir
	if !n.On {
		return
	}
	rng := newRand(q.s.Seed, streamRecord+300)
	for r := range d.rows {
		row := d.v[r*d.cols : (r+1)*d.cols]
		flicker := 1 - n.Flicker*rng.Float64()
		for c := range min(n.DarkCols, d.cols) {
			row[c] *= 0.15
		}
		if n.DashOff > 0 && r%(n.DashOn+n.DashOff) >= n.DashOn {
			continue
		}
		for _, b := range n.Bands {
			if b.OneSide == 0 || b.OneSide-1 == side {
				for c := b.From; c < min(b.To, d.cols); c++ {
					row[c] = float32(b.Strength * flicker)
				}
			}
		}
	}
}

// holes blanks lost pings, in the truth too.
func (q *recorder) holes(d *drawn, side int) {
	rng := newRand(q.s.Seed, uint64(streamRecord+400+side))
	for _, h := range q.s.Record.Holes {
		for r := h.Row0; r < h.Row1; r++ {
			at := r * d.cols
			row := d.v[at : at+d.cols]
			switch {
			case h.Fill == "repeat" && h.Row0 > 0:
				copy(row, d.v[(h.Row0-1)*d.cols:h.Row0*d.cols])
			case h.Fill == "grey":
				for c := range row {
					row[c] = 0.3
				}
			case h.Fill == "noise":
				for c := range row {
					row[c] = float32(0.5 * rng.Float64() * rng.Float64())
				}
			default:
				clear(row)
			}
			clear(d.echo[at : at+d.cols])
			clear(d.objEcho[at : at+d.cols])
			clear(d.objID[at : at+d.cols])
			clear(d.dark[at : at+d.cols])
			clear(d.blockID[at : at+d.cols])
		}
	}
}
