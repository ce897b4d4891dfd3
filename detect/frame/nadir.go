package frame

import (
	"image"
	"math"
)

// water is what a look at the columns of a panel tells about nadir and water column.
type water struct {
	nadir float64 // column in panel pixels, NaN when not in view
	line  bool    // the nadir shows as a thin bright line
	both  bool    // dark water on both sides of it
	share float64 // width of the water column over the panel's
	side  int     // -1, 1: water column at the left or right edge only; 0 none
	band  bool    // no water column, but a bright band where the nadir would be: a slant-corrected display
}

const bands = 12 // groups of rows that are looked at one by one, so that humps don't smear the first return

// profiles are the mean echo strengths of a panel's columns, band by band and over all.
type profiles struct {
	band [bands][]float64
	all  []float64
	rows int // sampled
}

func (s *sample) profiles(pal *palette, r image.Rectangle) *profiles {
	w := r.Dx()
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	p := &profiles{all: make([]float64, w), rows: j - i}
	sum := make([]float32, w)
	for b := range bands {
		p.band[b] = make([]float64, w)
		k0, k1 := i+(j-i)*b/bands, i+(j-i)*(b+1)/bands
		clear(sum)
		for k := k0; k < k1; k++ {
			for x, c := range s.row(k)[r.Min.X:r.Max.X] {
				v, _ := pal.value(c)
				sum[x] += v
			}
		}
		for x, v := range sum {
			p.band[b][x] = float64(v) / float64(max(1, k1-k0))
			p.all[x] += p.band[b][x] / bands
		}
	}
	return p
}

// flipped are the profiles of the same panel read with the palette the other way round.
func (p *profiles) flipped() *profiles {
	out := &profiles{all: make([]float64, len(p.all)), rows: p.rows}
	for x, v := range p.all {
		out.all[x] = 1 - v
	}
	for b, line := range p.band {
		out.band[b] = make([]float64, len(line))
		for x, v := range line {
			out.band[b][x] = 1 - v
		}
	}
	return out
}

// weight is how much a water column speaks for the way the palette was read, 0..1: a tenth of the width on both sides of
// a nadir's line is full evidence; without the line it may be a strip of soft bottom, at one edge a faded range.
func (w water) weight() float64 {
	switch {
	case w.both && w.line:
		return min(1, 10*w.share)
	case w.both, w.side != 0:
		return 0.4 * min(1, 10*w.share)
	}
	return 0
}

// findWater looks for columns that stay dark in nearly every band of rows.
func findWater(prof *profiles) water {
	none := water{nadir: math.NaN()}
	w := len(prof.all)
	if w < 32 || prof.rows < bands {
		return none
	}
	dark := make([]int, w)
	step := make([]float64, 0, 2*bands)
	deep := 0
	gap := max(6, w/20)
	for _, line := range prof.band {
		p := boxMean(line, max(2, w/200))
		lo, q := percentile(p, 0.03), percentile(p, 0.6)
		if q-lo < 0.06 || lo > 0.6*q {
			continue
		}
		deep++
		thr := lo + 0.42*(q-lo)
		for _, d := range darkRuns(p, thr, gap) {
			if d[1]-d[0] < max(4, w/40) {
				continue
			}
			for x := d[0]; x < d[1]; x++ {
				dark[x]++
			}
			if d[0] == 0 && d[1] < w-8 {
				step = append(step, edgeStep(p, d[1], 1)/(q-lo))
			} else if d[1] == w && d[0] > 8 {
				step = append(step, edgeStep(p, d[0], -1)/(q-lo))
			}
		}
	}
	if 3*deep < 2*bands {
		return centreBand(prof)
	}
	var best [2]int
	for _, d := range runsOver(dark, (deep*4+4)/5) {
		if d[1]-d[0] > best[1]-best[0] {
			best = d
		}
	}
	width := best[1] - best[0]
	if width < max(5, w/50) {
		return centreBand(prof)
	}
	wt := water{nadir: math.NaN(), share: float64(width) / float64(w)}
	switch {
	case best[0] > 1 && best[1] < w-1:
		wt.both = true
		wt.nadir = brightest(prof.all, best[0]+width/5, best[1]-width/5, math.NaN())
		if wt.line = !math.IsNaN(wt.nadir); !wt.line {
			wt.nadir = float64(best[0]+best[1]) / 2
		}
	case best[0] <= 1 && best[1] < w-1 && percentile(step, 0.5) > 0.3:
		wt.side = -1
		wt.nadir = brightest(prof.all, 0, best[1]-width/4, math.NaN())
	case best[1] >= w-1 && best[0] > 1 && percentile(step, 0.5) > 0.3:
		wt.side = 1
		wt.nadir = brightest(prof.all, best[0]+width/4, w, math.NaN())
	}
	return wt
}

// centreBand looks for the narrow bright band that is left of the nadir in a slant-corrected display, well inside the
// panel, fallen off on both sides alike, in nearly every band of rows.
func centreBand(prof *profiles) water {
	out := water{nadir: math.NaN()}
	w := len(prof.all)
	p := boxMean(prof.all, max(1, w/200))
	base := percentile(p, 0.5)
	best := w / 5
	for x := w / 5; x < w-w/5; x++ {
		if p[x] > p[best] {
			best = x
		}
	}
	rise := p[best] - base
	if rise < 0.2 {
		return out
	}
	lo, hi := best, best
	for lo > 0 && p[lo-1] > base+rise/2 {
		lo--
	}
	for hi < w-1 && p[hi+1] > base+rise/2 {
		hi++
	}
	if hi-lo > w/8 {
		return out
	}
	mid, reach := (lo+hi)/2, w/6
	agree := 0
	for _, line := range prof.band {
		if line[mid]-percentile(line, 0.5) > rise/3 {
			agree++
		}
	}
	left, right := p[max(0, mid-reach)], p[min(w-1, mid+reach)]
	if agree < bands-1 || math.Abs(left-right) > rise/3 {
		return out
	}
	out.nadir, out.band = float64(lo+hi)/2, true
	return out
}

func boxMean(v []float64, radius int) []float64 {
	out := make([]float64, len(v))
	sum := 0.0
	n := 0
	for x := range min(radius, len(v)) {
		sum += v[x]
		n++
	}
	for x := range v {
		if q := x + radius; q < len(v) {
			sum += v[q]
			n++
		}
		if q := x - radius - 1; q >= 0 {
			sum -= v[q]
			n--
		}
		out[x] = sum / float64(n)
	}
	return out
}

// darkRuns lists the stretches of p below thr; two are one when what parts them is no wider than gap or than the two
// together (surface clutter about the nadir), and they are alike in width.
func darkRuns(p []float64, thr float64, gap int) [][2]int {
	var runs [][2]int
	for x := 0; x < len(p); x++ {
		if p[x] >= thr {
			continue
		}
		start := x
		for x < len(p) && p[x] < thr {
			x++
		}
		runs = append(runs, [2]int{start, x})
	}
	for k := 0; k+1 < len(runs); {
		a, b := runs[k], runs[k+1]
		between, wa, wb := b[0]-a[1], a[1]-a[0], b[1]-b[0]
		alike := wa >= gap/2 && wb >= gap/2 && between <= wa+wb && 2*wa >= wb && 2*wb >= wa
		if between <= gap || alike {
			runs[k] = [2]int{a[0], b[1]}
			runs = append(runs[:k+1], runs[k+2:]...)
			continue
		}
		k++
	}
	return runs
}

func runsOver(n []int, least int) [][2]int {
	p := make([]float64, len(n))
	for x, v := range n {
		p[x] = -float64(v)
	}
	return darkRuns(p, -float64(least)+0.5, 2)
}

// edgeStep is how much the level rises across position x, looking in direction dir, within a twentieth of the width.
func edgeStep(p []float64, x, dir int) float64 {
	reach := max(6, len(p)/25)
	at := func(q int) float64 { return p[min(len(p)-1, max(0, q))] }
	return at(x+dir*reach) - at(x-dir*reach)
}

// brightest is the middle of the thin bright band that stands out between a and b, or other when none does.
func brightest(v []float64, a, b int, other float64) float64 {
	if b-a < 3 {
		return other
	}
	best := a
	for x := a; x < b; x++ {
		if v[x] > v[best] {
			best = x
		}
	}
	base := percentile(v[a:b], 0.4)
	if v[best] < base+0.15 {
		return other
	}
	half := (v[best] + base) / 2
	lo, hi := best, best
	for lo > a && v[lo-1] >= half {
		lo--
	}
	for hi+1 < b && v[hi+1] >= half {
		hi++
	}
	return float64(lo+hi) / 2
}
