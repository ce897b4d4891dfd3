package groundworld

import (
	"math"

	"shadowgap/detect"
)

// record is what the receiver writes down: strengths by ping and column, where a side may run to the left.
type record struct {
	w          *world
	sides      []*sounding
	cols, rows int
	v          []float32 // strength, about 1 on the bottom
	gain       []float32 // bin by bin
}

func newRecord(w *world, sides []*sounding) *record {
	r := &record{w: w, sides: sides, cols: w.bins * len(sides), rows: w.pings}
	r.v = make([]float32, r.cols*r.rows)
	r.gain = w.gainCurve(sides[0].flat)
	return r
}

// leftward reports whether a side's range runs to the left.
func (r *record) leftward(s *sounding) bool { return s.sign < 0 || r.w.side == detect.Port }

// sideOf names a side.
func (r *record) sideOf(s *sounding) detect.Side {
	if r.leftward(s) {
		return detect.Port
	}
	return detect.Starboard
}

// axis is the column edge at which a side's bins begin.
func (r *record) axis(s *sounding) int {
	if r.w.frame == wholeSwath || r.leftward(s) {
		return r.w.bins
	}
	return 0
}

// col is the column of a side's bin.
func (r *record) col(s *sounding, bin int) int {
	if r.leftward(s) {
		return r.axis(s) - 1 - bin
	}
	return r.axis(s) + bin
}

// gainCurve takes out part of the range law and leaves a fall and a hot near bottom; its bottom has strength 1 on average.
func (p *plan) gainCurve(flat []float64) []float32 {
	gain, t := make([]float32, p.bins), p.texture
	sum, n := 0.0, 0.0
	far := p.startM + p.binM*float64(p.bins)
	for b := range flat {
		slant := max(p.altM, p.startM+(float64(b)+0.5)*p.binM)
		over := (slant - p.altM) / (0.4 * p.altM)
		k := math.Pow(flat[b], -t.tvg) * math.Exp(-t.fall*(slant-p.startM)/(far-p.startM)) * (1 + t.nearHot*math.Exp(-over*over))
		gain[b] = float32(k)
		if slant > p.altM {
			sum += k * flat[b]
			n++
		}
	}
	for b := range gain {
		gain[b] *= float32(n / sum)
	}
	return gain
}

// receive writes the record: echoes with gain and what else sounds, speckle, and the faults of the electronics.
func (r *record) receive() {
	w := r.w
	for _, s := range r.sides {
		water := newWater(w, s)
		for p := range w.pings {
			at := p * w.bins
			water.add(p)
			for b := range w.bins {
				r.v[p*r.cols+r.col(s, b)] = s.echo[at+b]*r.gain[b] + water.row[b]
			}
		}
	}
	r.crosstalk()
	r.speckle()
	r.electronics()
}

// speckle multiplies by gamma noise, drawn out along range and track, and on two bottoms of five by a slow part as well.
func (r *record) speckle() {
	w := r.w
	t := w.texture
	fast := newGammas(w.d, t.looks)
	slow := new(gammas)
	for i := range slow {
		slow[i] = 1
	}
	if t.kShape > 0 {
		slow = newGammas(w.d, t.kShape)
	}
	grain := make([]float32, r.cols)
	bx, by := float32(t.blurX), float32(t.blurY)
	last, drift := float32(1), float32(1)
	for p := range r.rows {
		row := r.v[p*r.cols : (p+1)*r.cols]
		for c := range row {
			bits := w.d.Uint64()
			drift = 0.6*drift + 0.4*slow[bits>>20&16383]
			n := fast[bits&16383] * drift
			last = bx*last + (1-bx)*n
			if p == 0 {
				grain[c] = last
			}
			grain[c] = by*grain[c] + (1-by)*last
			row[c] *= grain[c]
		}
	}
}
