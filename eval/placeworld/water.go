package placeworld

import "math"

// addWater gives the column its contents, then speckle to everything and the receiver's noise.
func (w *world) addWater() {
	w.typical()
	if w.chance(0.25) {
		w.secondEcho()
	}
	if w.chance(0.2) {
		w.crosstalk()
	}
	if w.chance(0.35) {
		w.columnLines()
	}
	if w.chance(0.35) {
		w.plankton()
	}
	if w.chance(0.3) {
		w.drifters()
	}
	w.speckle()
	w.nadirLine()
}

// typical makes the mean echo of the bottom 1.
func (w *world) typical() {
	sum, n := 0.0, 0.0
	for y := 0; y < w.h; y += 3 {
		for side := range 2 {
			for k := int(w.firstBin[side][y]) + 3; k < w.ng; k += 5 {
				sum += math.Min(float64(w.echo[w.at(y, side, k)]), 8)
				n++
			}
		}
	}
	f := float32(n / math.Max(sum, 1e-3))
	if n == 0 {
		f = 1
	}
	for i := range w.echo {
		w.echo[i] *= f
	}
}

// secondEcho is the echo that went to the surface and back: the ping again at twice its range.
func (w *world) secondEcho() {
	f := float32(w.logUni(0.05, 0.5))
	for y := range w.h {
		for side := range 2 {
			for k := w.ng - 1; k >= 2*int(w.firstBin[side][y]); k-- {
				w.echo[w.at(y, side, k)] += f * w.echo[w.at(y, side, k/2)]
			}
		}
	}
}

// crosstalk is the other side heard faintly.
func (w *world) crosstalk() {
	f := float32(w.logUni(0.01, 0.12))
	for y := range w.h {
		for k := range w.ng {
			a, b := w.at(y, 0, k), w.at(y, 1, k)
			w.echo[a], w.echo[b] = w.echo[a]+f*w.echo[b], w.echo[b]+f*w.echo[a]
		}
	}
}

// columnLines are echoes of the surface and of layers: lines at almost the same range for a long while.
func (w *world) columnLines() {
	for range w.between(1, 3) {
		at, level, wide := w.uni(0.1, 1.1)*w.depthM/w.dg, w.logUni(0.05, 1), w.logUni(0.5, 3)
		wave := make([]float32, w.h)
		w.fractal(wave, 1, lattice{1, w.uni(10, 120), 0}, 3, 0.5, w.uni(0.2, 0.06*w.depthM/w.dg+0.3))
		q := w.quick()
		broken := float32(w.uni(0, 0.7))
		for y := range w.h {
			for side := range 2 {
				for k := max(0, int(at-3*wide)); k < min(w.ng, int(at+3*wide)+2); k++ {
					d := (float64(k) - at - float64(wave[y])) / wide
					if q.unit() > broken {
						w.echo[w.at(y, side, k)] += float32(level * math.Exp(-d*d))
					}
				}
			}
		}
	}
}

// plankton is a faint cloud or a shower of specks in the column.
func (w *world) plankton() {
	cloud := make([]float32, len(w.echo))
	w.fractal(cloud, 2*w.ng, lattice{w.uni(15, 120), w.uni(15, 120), 0}, 4, 0.6, 1)
	level, above := float32(w.logUni(0.02, 0.25)), float32(w.uni(-0.5, 0.6))
	share := float32(1)
	if w.chance(0.5) {
		share, level = float32(w.logUni(0.002, 0.05)), level*8
	}
	q := w.quick()
	for y := range w.h {
		for side := range 2 {
			for k := range int(math.Min(float64(w.firstBin[side][y]), float64(w.ng))) {
				i := w.at(y, side, k)
				if m := cloud[i] - above; m > 0 && q.unit() < share {
					w.echo[i] += level * min(m*3, 1.5)
				}
			}
		}
	}
}

// drifters are lone specks anywhere over the bottom: a pixel or two, without a shadow, too many and too small to tell.
func (w *world) drifters() {
	n := int(w.logUni(10, 1500))
	level := w.logUni(0.5, 5)
	tall := w.between(1, 3)
	for range n {
		x, y := w.IntN(2*w.ng), w.IntN(w.h-tall)
		for d := range tall {
			w.echo[(y+d)*2*w.ng+x] += float32(level * w.Float64())
		}
	}
}

// speckle is gamma of some looks, often K distributed (the looks' mean itself gamma), and correlated along the track.
func (w *world) speckle() {
	looks := w.logUni(0.9, 9)
	shape := w.logUni(1.5, 12)
	k := w.chance(0.5)
	table := make([]float32, 1<<14)
	for i := range table {
		f := w.gamma(looks)
		if k {
			f *= w.gamma(shape)
		}
		table[i] = float32(f)
	}
	water := float32(w.logUni(0.0005, 0.12))
	rise := float32(w.logUni(0.01, 3))
	keep, across := float32(0), float32(0)
	if w.chance(0.5) {
		keep = float32(w.uni(0.1, 0.6))
	}
	if w.chance(0.5) {
		across = float32(w.uni(0.1, 0.5))
	}
	q := w.quick()
	wd := 2 * w.ng
	for y := range w.h {
		row := w.echo[y*wd : (y+1)*wd]
		carry := row[0]
		for x := range row {
			k := x - w.ng
			if k < 0 {
				k = -1 - k
			}
			r := float32(k) / float32(w.ng)
			e := (row[x] + water*(1+rise*r*r*r)) * table[q.next()>>50]
			e += across * (carry - e)
			carry = e
			if y > 0 {
				e += keep * (w.echo[(y-1)*wd+x] - e)
			}
			row[x] = e
		}
	}
}

// nadirLine is the transducer's own ringing: bright, dark or hardly there, with bars beside it.
func (w *world) nadirLine() {
	wide, level := w.logUni(0.6, 8), w.logUni(0.05, 20)
	if w.chance(0.2) {
		level = 0
	}
	bars := w.between(0, 3)
	var at, bright [3]float64
	for b := range bars {
		at[b], bright[b] = w.uni(1, 0.4*w.depthM/w.dg+2), w.logUni(0.05, 3)
	}
	for y := range w.h {
		for side := range 2 {
			for k := range min(w.ng, int(4*wide)+1) {
				d := float64(k) / wide
				w.echo[w.at(y, side, k)] += float32(level * math.Exp(-d*d) * (0.7 + 0.6*float64(hash(1, y, k))))
			}
			for b := range bars {
				if k := int(at[b]); k < w.ng {
					w.echo[w.at(y, side, k)] += float32(bright[b]) * (0.5 + hash(2, y, b))
				}
			}
		}
	}
}

// addFaults are what other machines, a rolling boat and a lost link do to a record.
func (w *world) addFaults() {
	wd := 2 * w.ng
	if w.chance(0.25) {
		gain := float32(1)
		for y, next := 0, w.IntN(w.h); y < w.h; y++ {
			if y == next {
				gain, next = float32(w.logUni(0.4, 2.5)), y+w.between(10, w.h)
			}
			scale(w.echo[y*wd:(y+1)*wd], gain)
		}
	}
	if w.chance(0.3) {
		jitter := w.logUni(0.02, 0.4)
		for y := range w.h {
			scale(w.echo[y*wd:(y+1)*wd], exp32(float32(jitter*w.NormFloat64())))
		}
	}
	if w.chance(0.3) {
		gain := float32(w.logUni(0.5, 2))
		for y := range w.h {
			scale(w.echo[y*wd:y*wd+w.ng], gain)
		}
	}
	if w.chance(0.2) {
		w.otherSounder()
	}
	if w.chance(0.15) {
		w.loseRows()
	}
}

func scale(row []float32, f float32) {
	for i := range row {
		row[i] *= f
	}
}

// otherSounder strews dots or dashes whose range creeps from ping to ping.
func (w *world) otherSounder() {
	step, at, long := w.logUni(0.3, 60), w.uni(0, float64(w.ng)), w.between(1, 9)
	level, every := w.logUni(0.2, 5), w.between(1, 5)
	both := w.chance(0.5)
	from := w.IntN(w.h)
	for y := from; y < min(w.h, from+w.between(20, w.h)); y++ {
		at = math.Mod(at+step, float64(w.ng))
		if y%every != 0 {
			continue
		}
		for k := int(at); k < min(w.ng, int(at)+long); k++ {
			w.echo[w.at(y, 1, k)] += float32(level * w.Float64())
			if both {
				w.echo[w.at(y, 0, k)] += float32(level * w.Float64())
			}
		}
	}
}

func (w *world) loseRows() {
	wd := 2 * w.ng
	level := float32(0)
	if w.chance(0.3) {
		level = float32(w.logUni(0.1, 10))
	}
	y := 0
	for range w.between(1, 5) {
		y += w.between(4, w.h/2)
		n := w.between(1, 12)
		if y+n >= w.h {
			return
		}
		for i := y * wd; i < (y+n)*wd; i++ {
			w.echo[i], w.lit[i], w.shaded[i] = level, 0, 0
		}
		w.lost = append(w.lost, [2]int{y, y + n})
		y += n
	}
}
