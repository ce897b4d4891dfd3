package pulseworld

import (
	"math"

	"shadowgap/detect"
)

// post is an upright piece of a thing's outline: it hides from base to top.
type post struct {
	x, y      float32 // ground range and along track, metres
	base, top float32 // above the bottom, metres
	wide      float32 // along track, metres
	opacity   float32
}

// scatterer is one point that echoes.
type scatterer struct {
	x, y, z float32
	amp     float32 // of its echo, in units where plain bottom has power 1 a cell
	norm    float32 // direction it faces, radians off the look
	width   float32 // of the lobe it sends back; 0 for all round
	phase   float32
	drift   float32 // of the phase from ping to ping
}

// reach is a stretch of bins and pings, half open.
type reach struct{ b0, b1, p0, p1 int }

func (r reach) empty() bool { return r.b1 <= r.b0 || r.p1 <= r.p0 }

// thing is something on the bottom or in the water.
type thing struct {
	class   detect.Class
	kind    string
	sw      int
	silent  bool // drawn and not labelled: soft stems, the stones of a field
	posts   []post
	pts     []scatterer
	heightM float64
	offM    float64
	hangs   bool
	x, y    float64 // middle
	bright  reach   // what its echo fills, in bins and pings
	dark    reach   // what its shadow fills
	// Samples of both, bin and ping: slanting and broken things fill little of their box.
	brightAt, darkAt [][2]int
}

// bed holds what drawing one thing needs: an expected power and a hidden share of every cell near it.
type bed struct {
	nb    int
	pings []int
	pow   []float32
	occ   []float32
}

// cast draws a thing into its side of the record: shadow into the light, scatterers into the amplitudes. What they fill is kept.
func (w *world) cast(t *thing) {
	sw := w.swaths[t.sw]
	bd := w.makeBed(t, sw)
	if len(bd.pings) == 0 {
		return
	}
	w.castEcho(t, sw, bd) // before its own shadow darkens the place: only what stood there earlier hides it
	w.castShadow(t, sw, bd)
	if t.silent {
		return
	}
	w.measureReach(t, sw, bd)
}

// makeBed finds the pings whose beam touches a thing.
func (w *world) makeBed(t *thing, sw *swath) *bed {
	ylo, yhi, xhi := float32(math.Inf(1)), float32(math.Inf(-1)), float32(0)
	for i := range t.posts {
		q := &t.posts[i]
		ylo, yhi, xhi = min(ylo, q.y), max(yhi, q.y), max(xhi, q.x)
	}
	for i := range t.pts {
		q := &t.pts[i]
		ylo, yhi, xhi = min(ylo, q.y), max(yhi, q.y), max(xhi, q.x)
	}
	pad := 3 * w.beam(w.rangeM)
	bd := &bed{nb: sw.nb}
	for p := range w.pings {
		lean := w.psi[p] * float64(xhi)
		lo, hi := w.y[p]-pad+min(0, lean), w.y[p]+pad+max(0, lean)
		if hi >= float64(ylo) && lo <= float64(yhi) {
			bd.pings = append(bd.pings, p)
		}
	}
	bd.pow = make([]float32, len(bd.pings)*sw.nb)
	bd.occ = make([]float32, len(bd.pings)*sw.nb)
	return bd
}

// castShadow hides the bottom behind each post, weighted with the beam.
func (w *world) castShadow(t *thing, sw *swath, bd *bed) {
	diff := make([]float32, sw.nb+1)
	for k, p := range bd.pings {
		h := sw.h[p]
		lo, hi := sw.nb, 0
		for i := range t.posts {
			q := &t.posts[i]
			g := float64(q.x)
			sd := w.beam(math.Sqrt(g*g + h*h))
			d := (float64(q.y) - w.y[p] - g*w.psi[p]) / sd
			if d > 2.6 || d < -2.6 {
				continue
			}
			wgt := math.Exp(-d*d/2) * float64(q.wide) / (sd * 2.5066) * float64(q.opacity)
			s0, s1 := g, math.Inf(1)
			if q.base > 0 && float64(q.base) < h {
				s0 = g * h / (h - float64(q.base))
			}
			if float64(q.base) >= h {
				continue
			}
			if float64(q.top) < h*0.995 {
				s1 = g * h / (h - float64(q.top))
			}
			b0 := int(math.Round(w.binAt(math.Sqrt(s0*s0 + h*h))))
			b1 := sw.nb
			if e := w.binAt(math.Sqrt(s1*s1 + h*h)); e < float64(sw.nb) {
				b1 = int(math.Round(e))
			}
			b0 = min(max(b0, 0), sw.nb)
			if b1 <= b0 {
				continue
			}
			diff[b0] += float32(wgt)
			diff[b1] -= float32(wgt)
			lo, hi = min(lo, b0), max(hi, b1)
		}
		sum := float32(0)
		lit, occ := sw.lit[p*sw.nb:(p+1)*sw.nb], bd.occ[k*sw.nb:(k+1)*sw.nb]
		for b := lo; b < hi; b++ {
			sum += diff[b]
			diff[b] = 0
			o := min(max(sum, 0), 1)
			occ[b] = o * lit[b]
			lit[b] *= 1 - o
		}
		if hi >= lo {
			diff[hi] = 0
		}
	}
}

// castEcho adds each scatterer's amplitude to every ping whose beam meets it; the beam counts on the way out and on the way back.
func (w *world) castEcho(t *thing, sw *swath, bd *bed) {
	for k, p := range bd.pings {
		h := sw.h[p]
		for i := range t.pts {
			q := &t.pts[i]
			g, up := float64(q.x), h-float64(q.z)
			s := math.Sqrt(g*g + up*up)
			sd := w.beam(s) * 1.25
			d := (float64(q.y) - w.y[p] - g*w.psi[p]) / sd
			if d > 2.6 || d < -2.6 {
				continue
			}
			b := int(w.binAt(s))
			if s < w.near || b < 0 || b >= sw.nb {
				continue
			}
			amp := float64(q.amp) * math.Exp(-d*d/2)
			if foot := int(w.binAt(s * h / max(up, 0.01*h))); foot >= 0 && foot < sw.nb && up > 0 {
				amp *= math.Sqrt(float64(sw.lit[p*sw.nb+foot]))
			}
			if q.width > 0 {
				a := (float64(q.norm) - w.psi[p]) / float64(q.width)
				amp *= math.Exp(-a*a/2) + 0.08
			}
			sin, cos := math.Sincos(float64(q.phase) + float64(q.drift)*float64(p))
			at := p*sw.nb + b
			sw.re[at] += float32(amp * cos)
			sw.im[at] += float32(amp * sin)
			bd.pow[k*sw.nb+b] += float32(amp * amp)
			if gb := b + w.sonar.ghost; w.sonar.ghost > 0 && gb < sw.nb {
				sw.re[at+w.sonar.ghost] += w.sonar.ghostAmp * float32(amp*sin)
				sw.im[at+w.sonar.ghost] += w.sonar.ghostAmp * float32(amp*cos)
			}
		}
	}
}

// measureReach finds the bins and pings where a thing's echo outdoes its surroundings and where its shadow is dark.
func (w *world) measureReach(t *thing, sw *swath, bd *bed) {
	n := len(bd.pings)
	var peak, ground float64
	var cells int
	for k := range n {
		p := bd.pings[k]
		for b := range sw.nb {
			v := float64(bd.pow[k*sw.nb+b])
			if v == 0 {
				continue
			}
			peak = max(peak, v)
			ground += float64(min(sw.power[p*sw.nb+b], 30))
			cells++
		}
	}
	last := make([]int, n) // the farthest bin of each ping that shines
	if cells > 0 {
		limit := float32(max(1.5*ground/float64(cells), 0.05*peak))
		shines := func(at int) bool { return bd.pow[at] > limit }
		t.bright = bd.trim(shines, 0.02)
		t.brightAt = bd.sample(t.bright, shines)
		for k := range last {
			for b := t.bright.b0; b < t.bright.b1; b++ {
				if shines(k*sw.nb + b) {
					last[k] = b
				}
			}
		}
		if grow := len(w.sonar.pulse) / 2; !t.bright.empty() {
			t.bright.b0, t.bright.b1 = max(0, t.bright.b0-grow), min(sw.nb, t.bright.b1+grow)
		}
	}
	// Where its own top or far flank echoes, the picture is not dark although no sound reaches the bottom.
	hidden := func(at int) bool { return bd.occ[at] > 0.45 && at%sw.nb > last[at/sw.nb] }
	t.dark = bd.trim(hidden, 0.012)
	t.darkAt = bd.sample(t.dark, hidden)
}

// sample lists some cells of a reach that hold, spread over it.
func (bd *bed) sample(r reach, holds func(at int) bool) [][2]int {
	var out [][2]int
	for k, p := range bd.pings {
		if p < r.p0 || p >= r.p1 {
			continue
		}
		for b := r.b0; b < r.b1; b++ {
			if holds(k*bd.nb + b) {
				out = append(out, [2]int{b, p})
			}
		}
	}
	if step := len(out)/1500 + 1; step > 1 {
		for i := 0; i*step < len(out); i++ {
			out[i] = out[i*step]
		}
		out = out[:(len(out)+step-1)/step]
	}
	return out
}

// trim is the tightest reach of the cells that hold, less a small share of stragglers on each side.
func (bd *bed) trim(holds func(at int) bool, share float64) reach {
	rows, cols := make([]int, len(bd.pings)), make([]int, bd.nb)
	total := 0
	for k := range rows {
		for b := range cols {
			if holds(k*bd.nb + b) {
				rows[k]++
				cols[b]++
				total++
			}
		}
	}
	if total == 0 {
		return reach{}
	}
	cut := int(share * float64(total))
	r0, r1 := span(rows, cut)
	c0, c1 := span(cols, cut)
	if r1 <= r0 || c1 <= c0 {
		return reach{}
	}
	return reach{c0, c1, bd.pings[r0], bd.pings[r1-1] + 1}
}

// span is the half-open stretch left when cut counts are dropped at either end.
func span(counts []int, cut int) (from, to int) {
	sum := 0
	for from < len(counts) && sum+counts[from] <= cut {
		sum += counts[from]
		from++
	}
	to, sum = len(counts), 0
	for to > from && sum+counts[to-1] <= cut {
		sum += counts[to-1]
		to--
	}
	return from, to
}
