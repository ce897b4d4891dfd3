package frame

import (
	"image"
	"math"
	"slices"
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
	layered      = 0.75   // least part of a down-looking record
	layeredRows  = 0.0025 // least variance of its rows' means
	layeredGain  = 0.4    // least difference of the two parts
	leastShare   = 0.12   // of the box's width or height that a second panel takes
	leastLayered = 6      // cells a part needs to be judged
	barShare     = 0.1    // of the height, at either end, that the display's bars may still take
)

// cut is a place where a down-looking record could be parted from the side-scan.
type cut struct {
	side int     // of the record: 0 left, 1 right, 2 top, 3 bottom
	at   int     // pixel column or row
	gain float64 // how much more layered the record is than the rest
}

// cuts lists the places, a cell apart, where one part of box is layered and the other is not; bar rows of cells at the top and
// at the bottom are left out.
func (s *sample) cuts(l *levels, bar int) []cut {
	w, h := l.box.Dx(), l.box.Dy()
	var out []cut
	try := func(side, at int, a, b image.Rectangle) {
		if min(a.Dx(), a.Dy(), b.Dx(), b.Dy()) < leastLayered {
			return
		}
		ra, pa := l.layering(a.Min.X, a.Min.Y, a.Max.X, a.Max.Y)
		if pa < layered || ra < layeredRows {
			return
		}
		if !l.alike(a) || bar > 0 && !l.steps(a) {
			return
		}
		if _, pb := l.layering(b.Min.X, b.Min.Y, b.Max.X, b.Max.Y); pa-pb > layeredGain {
			out = append(out, cut{side, at * s.cell, pa - pb})
		}
	}
	for x := max(leastLayered, int(leastShare*float64(w))); x <= w-leastLayered; x++ {
		a, b := image.Rect(0, bar, x, h-bar), image.Rect(x, bar, w, h-bar)
		try(0, x+l.box.Min.X, a, b)
		try(1, x+l.box.Min.X, b, a)
	}
	if bar > 0 {
		return out
	}
	for y := max(leastLayered, int(leastShare*float64(h))); y <= h-leastLayered; y++ {
		a, b := image.Rect(0, 0, w, y), image.Rect(0, y, w, h)
		try(2, y+l.box.Min.Y, a, b)
		try(3, y+l.box.Min.Y, b, a)
	}
	return out
}

// steps says whether the levels of a part change abruptly somewhere on the way down, as where water gives way to bottom; the light on
// a photographed screen fades slowly.
func (l *levels) steps(a image.Rectangle) bool {
	const reach = 3 // cells within which the bottom of a record begins
	v := make([]float64, a.Dy())
	for i := range v {
		v[i] = l.mean(a.Min.X, a.Min.Y+i, a.Max.X, a.Min.Y+i+1)
	}
	step := 0.0
	for i := reach; i < len(v); i++ {
		step = max(step, math.Abs(v[i]-v[i-reach]))
	}
	return step > 0.3*(slices.Max(v)-slices.Min(v))
}

// alike says whether the layers of a part run through: its left and right thirds rise and fall with the same rows.
func (l *levels) alike(a image.Rectangle) bool {
	third := max(1, a.Dx()/3)
	left, right := make([]float64, a.Dy()), make([]float64, a.Dy())
	for y := range left {
		left[y] = l.mean(a.Min.X, a.Min.Y+y, a.Min.X+third, a.Min.Y+y+1)
		right[y] = l.mean(a.Max.X-third, a.Min.Y+y, a.Max.X, a.Min.Y+y+1)
	}
	// A sloping bottom shifts the layers on their way.
	best := 0.0
	for lag := -len(left) / 6; lag <= len(left)/6; lag++ {
		a, b := left[max(0, lag):min(len(left), len(left)+lag)], right[max(0, -lag):min(len(right), len(right)-lag)]
		best = max(best, correlation(a, b))
	}
	return best > 0.75
}

// breaks says whether the picture on one side of a straight line at pixel column (or row) at has little to do with the
// other: the profiles along the line differ by more than half of what each varies by itself.
func (l *levels) breaks(at, cell int, vertical bool) bool {
	const near = 3 // cells that stand for a side; the one that holds the line is left out
	c := at/cell - l.box.Min.Y
	n, across := l.box.Dx(), l.box.Dy()
	if vertical {
		c = at/cell - l.box.Min.X
		n, across = across, n
	}
	if c < near || c+near >= across {
		return false
	}
	a, b := make([]float64, n), make([]float64, n)
	diff := 0.0
	for k := range n {
		if vertical {
			a[k], b[k] = l.mean(c-near, k, c, k+1), l.mean(c+1, k, c+1+near, k+1)
		} else {
			a[k], b[k] = l.mean(k, c-near, k+1, c), l.mean(k, c+1, k+1, c+1+near)
		}
		diff += (a[k] - b[k]) * (a[k] - b[k]) / float64(n)
	}
	return diff > 0.5*max(variance(a), variance(b))
}

// seams lists the thin straight lines across r between lo and hi that vary far less along their length than their
// neighbours do: what parts two panels. Each is its first pixel and the first after it.
func (s *sample) seams(r image.Rectangle, lo, hi int, vertical bool) [][2]int {
	if vertical {
		lo, hi = max(r.Min.X+1, lo), min(r.Max.X-1, hi)
	} else {
		lo, hi = max(r.Min.Y+1, lo), min(r.Max.Y-1, hi)
	}
	if hi-lo < 3 {
		return nil
	}
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	spreads := make([]float64, hi-lo)
	line := make([]uint32, r.Dx())
	for k := range spreads {
		var n, m, q float64
		add := func(c uint32) {
			v := float64(c>>8&255)*2 + float64(c>>16&255) + float64(c&255)
			n, m, q = n+1, m+v, q+v*v
		}
		if vertical {
			for t := i; t < j; t += 2 {
				add(s.row(t)[lo+k])
			}
		} else {
			s.p.read(line, r.Min.X, lo+k)
			for x := 0; x < len(line); x += 5 {
				add(line[x])
			}
		}
		spreads[k] = math.Sqrt(max(0, q/n-m*m/n/n))
	}
	const around, thick, skip = 14, 12, 3
	level := func(k int) float64 { // what both sides, a little way off, show at least
		left, right := spreads[max(0, k-around):max(0, k-skip)], spreads[min(len(spreads), k+skip):min(len(spreads), k+around)]
		switch {
		case len(left) == 0:
			return 0.5 * percentile(right, 0.5)
		case len(right) == 0:
			return 0.5 * percentile(left, 0.5)
		}
		return 0.5 * min(percentile(left, 0.5), percentile(right, 0.5))
	}
	var out [][2]int
	for k := 0; k < len(spreads); k++ {
		if spreads[k] >= level(k) {
			continue
		}
		start := k
		for k < len(spreads) && spreads[k] < level(k) {
			k++
		}
		if k-start <= thick {
			out = append(out, [2]int{lo + start, lo + k})
		}
	}
	return out
}

// bestCut returns what is left of limit after the cut of greatest gain that runs along a seam, and that gain; 0 when there is none.
func (s *sample) bestCut(lv *levels, r, limit image.Rectangle, bar int) (image.Rectangle, float64) {
	cuts := s.cuts(lv, bar)
	inner := r
	inner.Min.Y, inner.Max.Y = r.Min.Y+bar*s.cell, r.Max.Y-bar*s.cell
	best, next := 0.0, limit
	for _, vertical := range []bool{true, false} {
		lo, hi := math.MaxInt, math.MinInt
		for _, c := range cuts {
			if (c.side < 2) == vertical {
				lo, hi = min(lo, c.at-s.cell), max(hi, c.at+s.cell)
			}
		}
		if lo > hi {
			continue
		}
		for _, m := range s.seams(inner, lo, hi, vertical) {
			if !lv.breaks((m[0]+m[1])/2, s.cell, vertical) {
				continue // a range line: the same bottom goes on behind it
			}
			for _, c := range cuts {
				if (c.side < 2) != vertical || c.at < m[0]-s.cell || c.at > m[1]+s.cell || c.gain <= best {
					continue
				}
				best, next = c.gain, limit
				switch c.side {
				case 0:
					next.Min.X = m[1]
				case 1:
					next.Max.X = m[0]
				case 2:
					next.Min.Y = m[1]
				case 3:
					next.Max.Y = m[0]
				}
			}
		}
	}
	return next, best
}

// withoutHistory cuts down-looking records off r where a straight seam parts them from it. limit is the part of the
// picture the side-scan panel may still use.
func (s *sample) withoutHistory(cells []cellStat, pal *palette, r, limit image.Rectangle) (image.Rectangle, image.Rectangle) {
	for range 2 {
		box := image.Rect((r.Min.X+s.cell/2)/s.cell, (r.Min.Y+s.cell/2)/s.cell, (r.Max.X+s.cell/2)/s.cell, (r.Max.Y+s.cell/2)/s.cell)
		lv := newLevels(s, cells, pal, box.Intersect(image.Rect(0, 0, s.cw, s.ch)))
		// A bar that is still in r is the strongest layer of all and ends the seam: a second look leaves out where bars lie.
		next, best := limit, layeredGain
		for _, bar := range [...]int{0, int(barShare * float64(lv.box.Dy()))} {
			if found, gain := s.bestCut(lv, r, limit, bar); gain > best {
				next, best = found, gain
			}
		}
		if next == limit {
			break
		}
		limit = next
		r = r.Intersect(limit)
	}
	return r, limit
}
