package frame

import (
	"image"
	"math"
)

// levels is a grid of mean display levels, cell by cell, with sums that give the mean of any part at once.
type levels struct {
	box image.Rectangle // in cells of the sample
	sum []float64       // (rows+1) × (columns+1) cumulative
}

func newLevels(s *sample, cells []cellStat, pal *palette, box image.Rectangle) *levels {
	l := &levels{box: box}
	w := box.Dx() + 1
	l.sum = make([]float64, w*(box.Dy()+1))
	for y := range box.Dy() {
		run := 0.0
		for x := range box.Dx() {
			c := cells[(y+box.Min.Y)*s.cw+x+box.Min.X]
			v, _ := pal.value(c.mean())
			run += float64(v)
			l.sum[(y+1)*w+x+1] = l.sum[y*w+x+1] + run
		}
	}
	return l
}

// mean is the average level of the cells [x0, x1) × [y0, y1), counted from the box's corner.
func (l *levels) mean(x0, y0, x1, y1 int) float64 {
	w := l.box.Dx() + 1
	return (l.sum[y1*w+x1] - l.sum[y0*w+x1] - l.sum[y1*w+x0] + l.sum[y0*w+x0]) / float64((x1-x0)*(y1-y0))
}

// layering says how a part of the box varies: the variance of its rows' means and the part that takes in all variance
// of rows' and columns' means, 0..1. A down-looking record lies in layers (near 1), side-scan stands in columns (near 0).
func (l *levels) layering(x0, y0, x1, y1 int) (rows, part float64) {
	var m, q float64
	for y := y0; y < y1; y++ {
		v := l.mean(x0, y, x1, y+1)
		m, q = m+v, q+v*v
	}
	n := float64(y1 - y0)
	rows = max(0, q/n-m*m/n/n)
	m, q = 0, 0
	for x := x0; x < x1; x++ {
		v := l.mean(x, y0, x+1, y1)
		m, q = m+v, q+v*v
	}
	n = float64(x1 - x0)
	cols := max(0, q/n-m*m/n/n)
	const floor = 4e-4 // what speckle leaves in the means
	return rows, rows / (rows + cols + floor)
}

// The limits that tell a down-looking record from side-scan beside it.
const (
	layered      = 0.75  // least part of a down-looking record
	layeredRows  = 0.002 // least variance of its rows' means
	layeredGain  = 0.4   // least difference of the two parts
	leastShare   = 0.12  // of the box's width or height that a second panel takes
	leastLayered = 6     // cells a part needs to be judged
)

// cutHistory looks for a down-looking record beside, over or under the side-scan in box, and returns what is left. dir
// tells the side that was cut off: -1 none, 0 left, 1 right, 2 top, 3 bottom.
func cutHistory(s *sample, cells []cellStat, pal *palette, box image.Rectangle) (rest image.Rectangle, dir int) {
	l := newLevels(s, cells, pal, box)
	w, h := box.Dx(), box.Dy()
	best := layeredGain
	rest, dir = box, -1
	try := func(side int, a, b image.Rectangle) {
		// a is the record, b the side-scan, counted from the box's corner
		if min(a.Dx(), a.Dy(), b.Dx(), b.Dy()) < leastLayered {
			return
		}
		ra, pa := l.layering(a.Min.X, a.Min.Y, a.Max.X, a.Max.Y)
		if pa < layered || ra < layeredRows {
			return
		}
		_, pb := l.layering(b.Min.X, b.Min.Y, b.Max.X, b.Max.Y)
		if pa-pb > best {
			best, dir = pa-pb, side
			rest = b.Add(box.Min)
		}
	}
	for x := max(leastLayered, int(leastShare*float64(w))); x <= w-leastLayered; x++ {
		a, b := image.Rect(0, 0, x, h), image.Rect(x, 0, w, h)
		try(0, a, b)
		try(1, b, a)
	}
	for y := max(leastLayered, int(leastShare*float64(h))); y <= h-leastLayered; y++ {
		a, b := image.Rect(0, 0, w, y), image.Rect(0, y, w, h)
		try(2, a, b)
		try(3, b, a)
	}
	return rest, dir
}

// seam finds the pixel columns (or rows) near a cut where two panels meet: those that vary far less along their length
// than their neighbours. It returns the first pixel of the seam and the first after it, the same when there is none.
func (s *sample) seam(r image.Rectangle, at int, vertical bool) (lo, hi int) {
	reach := s.cell + s.cell/2
	var a, b int
	if vertical {
		a, b = max(r.Min.X+1, at-reach), min(r.Max.X-1, at+reach)
	} else {
		a, b = max(r.Min.Y+1, at-reach), min(r.Max.Y-1, at+reach)
	}
	if b-a < 3 {
		return at, at
	}
	spreads := make([]float64, b-a)
	var line []uint32
	if !vertical {
		line = make([]uint32, r.Dx())
	}
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	for k := range spreads {
		var n, m, q float64
		add := func(c uint32) {
			v := unpack(c).luma()
			n, m, q = n+1, m+v, q+v*v
		}
		if vertical {
			for t := i; t < j; t++ {
				add(s.row(t)[a+k])
			}
		} else {
			s.p.read(line, r.Min.X, a+k)
			for x := 0; x < len(line); x += 3 {
				add(line[x])
			}
		}
		spreads[k] = math.Sqrt(max(0, q/n-m*m/n/n))
	}
	least := 0
	for k, v := range spreads {
		if v < spreads[least] {
			least = k
		}
	}
	level := 0.5 * percentile(spreads, 0.5)
	if spreads[least] > level {
		return at, at
	}
	lo, hi = least, least
	for lo > 0 && spreads[lo-1] < level {
		lo--
	}
	for hi+1 < len(spreads) && spreads[hi+1] < level {
		hi++
	}
	return a + lo, a + hi + 1
}

// withoutHistory cuts down-looking records off r. limit is the part of the picture the side-scan panel may still use.
func (s *sample) withoutHistory(cells []cellStat, pal *palette, r, limit image.Rectangle) (image.Rectangle, image.Rectangle) {
	for range 2 {
		box := image.Rect((r.Min.X+s.cell/2)/s.cell, (r.Min.Y+s.cell/2)/s.cell, (r.Max.X+s.cell/2)/s.cell, (r.Max.Y+s.cell/2)/s.cell)
		rest, dir := cutHistory(s, cells, pal, box.Intersect(image.Rect(0, 0, s.cw, s.ch)))
		if dir < 0 {
			return r, limit
		}
		at := [4]int{rest.Min.X, rest.Max.X, rest.Min.Y, rest.Max.Y}[dir] * s.cell
		lo, hi := s.seam(r, at, dir < 2)
		if lo == hi || dir >= 2 && hi-lo > s.cell {
			return r, limit // no straight thin seam: layers of the bottom or lost rows, not another panel
		}
		switch dir {
		case 0:
			limit.Min.X = hi
		case 1:
			limit.Max.X = lo
		case 2:
			limit.Min.Y = hi
		case 3:
			limit.Max.Y = lo
		}
		r = r.Intersect(limit)
	}
	return r, limit
}
