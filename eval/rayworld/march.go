package rayworld

import (
	"math"
	"sort"
)

// piece is a bit of a body in the water as one ping sees it. Lengths are metres; echo and the spread are in bins.
type piece struct {
	ground, height, half float32 // place across track, height above the reference plane, half its vertical extent
	echo, spread         float32 // energy per bin over 2*spread bins
	opacity              float32 // share of sound it keeps from what lies behind
	thing                int16
}

// swath is one side of the record. Cell arrays are pings x cells, bin arrays pings x bins; row 0 is the newest ping.
type swath struct {
	sign            float64 // -1 port, +1 starboard
	base, height    []float32
	sand, echo      []float32 // backscatter of the bare bottom, and with things on it
	owner           []int16
	pieces          [][]piece
	bare, full      []float32 // energy without and with the things
	giver, blocker  []int16   // which thing gave most of the bin's energy, and which kept sound from it
	given           []float32
	first           []float64 // slant bin of the bare bottom's first return, by ping
	runMax, through []float32
	slant           []float32
}

// ray marches one ping over the bare bottom, or over the bottom with the things, and puts its echoes into the slant bins.
func (sc *scene) ray(sw *swath, p int, things bool) {
	n, bins := sc.cells, sc.bins
	z, sig, e := sw.base, sw.sand, sw.bare[p*bins:(p+1)*bins]
	if things {
		z, sig, e = sw.height, sw.echo, sw.full[p*bins:(p+1)*bins]
	}
	row := z[p*n : (p+1)*n]
	up, down := max(p-1, 0), min(p+1, sc.pings-1)
	above, below := z[up*n:(up+1)*n], z[down*n:(down+1)*n]
	sig = sig[p*n : (p+1)*n]
	h, dg := float32(sc.altitude[p]), float32(sc.cellM)
	perBin := float32(1 / sc.binM)

	sc.look(sw, p, row, things)

	owner := sw.owner[p*n : (p+1)*n]
	inv2x, inv2y := float32(0.5/sc.pingM), 0.5/dg
	share := dg * perBin
	for k := 1; k < n-1; k++ {
		t := sw.through[k]
		if t <= 0.02 {
			continue
		}
		y := (float32(k) + 0.5) * dg
		s := sw.slant[k]
		b := int(s)
		if b >= bins {
			if b > bins+40 {
				break
			}
			continue
		}
		sx := (below[k] - above[k]) * inv2x
		if p == 0 || p == sc.pings-1 {
			sx *= 2
		}
		sy := (row[k+1] - row[k-1]) * inv2y
		area := float32(math.Sqrt(float64(1 + sx*sx + sy*sy)))
		c := (sy*y + h - row[k]) * perBin / (s * area)
		if c < 0.02 {
			c = 0.02
		}
		v := c
		switch sc.cosPower {
		case 1:
		case 2:
			v = c * c
		default:
			v = c * float32(math.Sqrt(float64(c)))
		}
		if c > 0.9 {
			q := (1 - c) * sc.mirrorWidth
			v += sc.mirror / (1 + q*q)
		}
		// A steep cell has more surface than its footprint.
		v *= sig[k] * t * share * sc.level[b] * min(area, 5)
		from := sw.slantEdge(k)
		spread(e, from, s, v)
		if things && owner[k] > 0 {
			sw.credit(p, bins, from, s, v, owner[k])
		}
	}
	if things {
		for i := range sw.pieces[p] {
			sc.pieceEcho(sw, p, &sw.pieces[p][i], h, e)
		}
	}
}

// look follows the lines of sight over the heights of one ping: which cells are seen, how far they are, and what hides the others.
func (sc *scene) look(sw *swath, p int, row []float32, things bool) {
	n, bins := sc.cells, sc.bins
	h, dg, perBin := float32(sc.altitude[p]), float32(sc.cellM), float32(1/sc.binM)
	// Elevation of each cell seen from the boat; what lies under the highest so far is hidden.
	highest := float32(-1e9)
	var by int16
	owner := sw.owner[p*n : (p+1)*n]
	var first float32 = 1e9
	for k := range row {
		y := (float32(k) + 0.5) * dg
		d := h - row[k]
		s := float32(math.Sqrt(float64(y*y + d*d)))
		sw.slant[k] = s * perBin
		first = min(first, s)
		el := -d / y
		if el >= highest {
			highest, by = el, 0
			if things {
				by = owner[k]
			}
			sw.through[k] = 1
		} else {
			sw.through[k] = 0
			if by > 0 && things {
				mark(sw.blocker[p*bins:(p+1)*bins], sw.slantEdge(k), sw.slant[k], by)
			}
		}
		sw.runMax[k] = highest
	}
	if !things {
		sw.first[p] = float64(first * perBin)
	} else {
		for i := range sw.pieces[p] {
			sc.shade(sw, p, &sw.pieces[p][i], h)
		}
	}
}

// slantEdge is where cell k's stretch of slant bins begins: at the cell before it.
func (sw *swath) slantEdge(k int) float32 {
	if k == 0 {
		return sw.slant[0]
	}
	return sw.slant[k-1]
}

// shade dims what lies behind a piece, between the lines of sight over its top and under its bottom.
func (sc *scene) shade(sw *swath, p int, f *piece, h float32) {
	k0 := int(float64(f.ground) / sc.cellM)
	if k0 < 1 || k0 >= sc.cells {
		return
	}
	lo, hi := -(h-f.height+f.half)/f.ground, -(h-f.height-f.half)/f.ground
	rest := sw.runMax[k0:]
	a := sort.Search(len(rest), func(i int) bool { return rest[i] >= lo })
	b := sort.Search(len(rest), func(i int) bool { return rest[i] > hi })
	blocked := sw.blocker[p*sc.bins : (p+1)*sc.bins]
	for k := k0 + a; k < k0+b; k++ {
		sw.through[k] *= 1 - f.opacity
		if f.opacity > 0.25 && f.thing > 0 {
			mark(blocked, sw.slantEdge(k), sw.slant[k], f.thing)
		}
	}
}

// pieceEcho adds a piece's own echo where the bottom before it doesn't hide it.
func (sc *scene) pieceEcho(sw *swath, p int, f *piece, h float32, e []float32) {
	k0 := int(float64(f.ground) / sc.cellM)
	if k0 < 1 || k0 >= sc.cells || -(h-f.height-f.half)/f.ground < sw.runMax[k0-1] {
		return
	}
	d := h - f.height
	s := float32(math.Sqrt(float64(f.ground*f.ground+d*d)) / sc.binM)
	v := f.echo * 2 * f.spread
	spread(e, s-f.spread, s+f.spread, v)
	if f.thing > 0 {
		sw.credit(p, sc.bins, s-f.spread, s+f.spread, v, f.thing)
	}
}

// credit notes whose echo went into the bins a..b.
func (sw *swath) credit(p, bins int, a, b, v float32, thing int16) {
	spread(sw.given[p*bins:(p+1)*bins], a, b, v)
	mark(sw.giver[p*bins:(p+1)*bins], a, b, thing)
}

// mark sets the bins whose middle a..b covers, or the one they lie in.
func mark(dst []int16, a, b float32, thing int16) {
	if a > b {
		a, b = b, a
	}
	for i := max(int(a), 0); i <= int(b) && i < len(dst); i++ {
		dst[i] = thing
	}
}

// spread shares v out evenly over the bins between a and b.
func spread(dst []float32, a, b, v float32) {
	if a > b {
		a, b = b, a
	}
	if b-a < 1e-3 {
		b = a + 1e-3
	}
	i, j := int(a), int(b)
	if a < 0 || j >= len(dst) {
		if a < 0 && b > 0 && j < len(dst) {
			dst[0] += v
		}
		return
	}
	if i == j {
		dst[i] += v
		return
	}
	per := v / (b - a)
	dst[i] += per * (float32(i+1) - a)
	for m := i + 1; m < j; m++ {
		dst[m] += per
	}
	dst[j] += per * (b - float32(j))
}

// widen averages along track over the beam, whose width grows with range: rows is its width at the outer rim.
func (sc *scene) widen(e []float32, rows float64) {
	n, p := sc.bins, sc.pings
	sums := make([]float32, (p+1)*n)
	for r := range p {
		a, b, src := sums[r*n:(r+1)*n], sums[(r+1)*n:(r+2)*n], e[r*n:(r+1)*n]
		for i := range src {
			b[i] = a[i] + src[i]
		}
	}
	for r := range p {
		dst := e[r*n : (r+1)*n]
		for i := range dst {
			half := (rows*float64(i)/float64(n) - 1) / 2
			if half <= 0 {
				continue
			}
			w := int(half)
			f := float32(half - float64(w))
			dst[i] = (1-f)*boxMean(sums, n, p, i, r, w) + f*boxMean(sums, n, p, i, r, w+1)
		}
	}
}

func boxMean(sums []float32, n, pings, bin, row, w int) float32 {
	a, b := max(row-w, 0), min(row+w+1, pings)
	return (sums[b*n+bin] - sums[a*n+bin]) / float32(b-a)
}
