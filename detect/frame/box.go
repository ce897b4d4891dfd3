package frame

import (
	"image"
	"slices"
)

// bestRect finds the rectangle of cells with the largest sum of weights (maximum subarray over every pair of rows, the
// shorter side paired). It returns an empty rectangle when no weight is positive.
func bestRect(w []float32, cw, ch int) (cells image.Rectangle, sum float32) {
	if ch > cw {
		t := make([]float32, len(w))
		for y := 0; y < ch; y++ {
			for x := 0; x < cw; x++ {
				t[x*ch+y] = w[y*cw+x]
			}
		}
		r, s := bestRect(t, ch, cw)
		return image.Rect(r.Min.Y, r.Min.X, r.Max.Y, r.Max.X), s
	}
	// no rectangle that starts at a row can be worth more than all good cells from there on
	most := make([]float32, ch+1)
	for y := ch - 1; y >= 0; y-- {
		most[y] = most[y+1]
		for _, v := range w[y*cw : (y+1)*cw] {
			most[y] += max(v, 0)
		}
	}
	col := make([]float32, cw)
	for top := 0; top < ch && most[top] > sum; top++ {
		clear(col)
		for bot := top; bot < ch; bot++ {
			row := w[bot*cw : (bot+1)*cw]
			var run float32
			start := 0
			for x, v := range row {
				col[x] += v
				if run <= 0 {
					run, start = 0, x
				}
				run += col[x]
				if run > sum {
					sum = run
					cells = image.Rect(start, top, x+1, bot+1)
				}
			}
		}
	}
	return cells, sum
}

// activeRow is how much the pixels of row y, between x0 and x1, differ from their right neighbour, in units of the usual
// difference and with larger ones cut to it.
func (s *sample) activeRow(buf []uint32, y, x0, x1 int) float64 {
	const piece, every = 48, 144
	if x1-x0 < 4*every {
		buf = buf[:x1-x0]
		s.p.read(buf, x0, y)
		return s.active(buf)
	}
	// Of a wide row, pieces spread over its width are enough.
	sum, n := 0.0, 0
	for x := x0; x+piece <= x1; x += every {
		s.p.read(buf[:piece], x, y)
		sum += s.active(buf[:piece])
		n++
	}
	return sum / float64(n)
}

// active is activeRow for pixels already read; of a long row every fifth pair is looked at.
func (s *sample) active(row []uint32) float64 {
	step := 1
	if len(row) > 600 {
		step = 5
	}
	n, pairs := 0, 0
	for i := 1; i < len(row); i += step {
		n += min(colourDiff(row[i], row[i-1]), s.mid)
		pairs++
	}
	return float64(n) / float64(max(1, pairs)*s.mid)
}

// activeCols is the same for each column of [x0, x1), downwards over the pairs of sampled rows in [y0, y1).
func (s *sample) activeCols(x0, x1, y0, y1 int) []float64 {
	out := make([]float64, x1-x0)
	i, j := s.rowsIn(y0, y1)
	pairs := 0
	for k := i; k+1 < j; k++ {
		if s.ys[k+1] != s.ys[k]+1 {
			continue
		}
		pairs++
		a, b := s.row(k)[x0:x1], s.row(k + 1)[x0:x1]
		for x := range a {
			if a[x] != b[x] {
				out[x] += float64(min(colourDiff(a[x], b[x]), s.mid))
			}
		}
	}
	for x := range out {
		out[x] /= float64(max(1, pairs) * s.mid)
	}
	return out
}

// refine moves the sides of a rectangle found in cells to the pixel where texture begins, inside limit. What counts is
// half of the texture just inside, and some of what is usual over the whole rectangle: the cells may have overshot.
func (s *sample) refine(r, limit image.Rectangle) image.Rectangle {
	const least = 0.15
	r = s.trimRows(r)
	for range 4 {
		was := r
		out := image.Rect(r.Min.X-2*s.cell, r.Min.Y-2*s.cell, r.Max.X+2*s.cell, r.Max.Y+2*s.cell).Intersect(limit)
		buf := make([]uint32, r.Dx())
		i, j := s.rowsIn(r.Min.Y, r.Max.Y)
		usual := make([]float64, 0, j-i)
		for k := i; k < j; k += max(1, (j-i)/48) {
			usual = append(usual, s.active(s.row(k)[r.Min.X:r.Max.X]))
		}
		rows := func(y int) float64 { return s.activeRow(buf, y, r.Min.X, r.Max.X) }
		level := least * percentile(usual, 0.5)
		top := edge(rows, level, out.Min.Y, min(r.Min.Y+2*s.cell, r.Max.Y))
		bot := out.Max.Y - 1 - edge(func(i int) float64 { return rows(out.Max.Y - 1 - i) }, level, 0, out.Max.Y-max(r.Max.Y-2*s.cell, r.Min.Y))
		if bot < top {
			return image.Rectangle{}
		}
		r.Min.Y, r.Max.Y = top, bot+1
		act := s.activeCols(out.Min.X, out.Max.X, r.Min.Y, r.Max.Y)
		level = least * percentile(act, 0.5)
		left := edge(func(i int) float64 { return act[i] }, level, 0, min(r.Min.X+2*s.cell, r.Max.X)-out.Min.X)
		right := len(act) - 1 - edge(func(i int) float64 { return act[len(act)-1-i] }, level, 0, out.Max.X-max(r.Max.X-2*s.cell, r.Min.X))
		if right < left {
			return image.Rectangle{}
		}
		r.Min.X, r.Max.X = out.Min.X+left, out.Min.X+right+1
		if r == was {
			break
		}
	}
	return r
}

// edge walks from lo (outside) to hi (inside) and returns the first index where activity reaches level, or half of what the inner half shows
// when that is more, and holds it over
// most of the next few indices: a line of text must not count as the panel's beginning.
func edge(activity func(int) float64, level float64, lo, hi int) int {
	if hi <= lo {
		return lo
	}
	a := make([]float64, hi-lo)
	for i := range a {
		a[i] = activity(lo + i)
	}
	level = max(level, 0.5*percentile(a[len(a)/2:], 0.5))
	const hold = 6
	for i := range a {
		if a[i] < level || a[i] == 0 {
			continue
		}
		ok, n := 0, 0
		for _, v := range a[i:min(i+hold, len(a))] {
			n++
			if v >= level {
				ok++
			}
		}
		if 5*ok >= 4*n {
			return lo + i
		}
	}
	return hi - 1
}

// quietWeights are the weights of a second search: cells that show no echo cost almost nothing, so that a water column
// doesn't part the two sides, while bars in a constant colour that is not the palette's end stay dear.
func (s *sample) quietWeights(cells []cellStat, weight []float32, pal *palette, r, limit image.Rectangle) []float32 {
	out := slices.Clone(weight)
	end, quiet := pal.weakEnd(), s.quietLevel(pal, r)
	for i, c := range cells {
		x, y := i%s.cw, i/s.cw
		if mid := image.Pt(x*s.cell+s.cell/2, y*s.cell+s.cell/2); !mid.In(limit) {
			out[i] = -1
		}
		if out[i] <= -1 || c.n == 0 {
			continue
		}
		v, ok := pal.value(c.mean())
		if c.active >= 0.35 {
			if !ok {
				out[i] = -0.5 // textured, in colours the palette doesn't have: a chart or a photograph
			}
			continue
		}
		d := unpack(c.mean()).sub(end).norm()
		if ok && v < quiet && (c.active > 0.02 || d < 6) {
			out[i] = -0.02
		}
	}
	return out
}

// quietLevel is the echo strength under which a still area may be water: a little over half of what the bottom shows.
func (s *sample) quietLevel(pal *palette, r image.Rectangle) float32 {
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	var v []float64
	step := max(1, (j-i)*r.Dx()/4000)
	for k := i; k < j; k++ {
		row := s.row(k)
		for x := r.Min.X + k*7%step; x < r.Max.X; x += step {
			e, _ := pal.value(row[x])
			v = append(v, float64(e))
		}
	}
	return float32(max(0.12, 0.6*percentile(v, 0.5)))
}

// widen moves the left and right sides out over a water column at the panel's edge: columns that hold no echo over
// their whole height. A bar with a ruler-straight edge is not water, whatever its colour.
func (s *sample) widen(pal *palette, r, limit image.Rectangle) image.Rectangle {
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	if j-i < 4 {
		return r
	}
	level := s.quietLevel(pal, r)
	quiet := func(x int) bool {
		n := 0
		for k := i; k < j; k++ {
			if v, ok := pal.value(s.row(k)[x]); ok && v < level {
				n++
			}
		}
		return 10*n >= 9*(j-i)
	}
	x := r.Min.X
	for x > limit.Min.X && quiet(x-1) {
		x--
	}
	if r.Min.X-x > 2 && !s.straight(pal, level, i, j, r.Min.X, 1) {
		r.Min.X = x
	}
	x = r.Max.X
	for x < limit.Max.X && quiet(x) {
		x++
	}
	if x-r.Max.X > 2 && !s.straight(pal, level, i, j, r.Max.X-1, -1) {
		r.Max.X = x
	}
	return r
}

// straight says whether echoes begin at the same column in nearly every row, looking from x in direction step.
func (s *sample) straight(pal *palette, level float32, i, j, x, step int) bool {
	const reach = 24
	var hist [2*reach + 1]int
	for k := i; k < j; k++ {
		row := s.row(k)
		for d := -reach; d <= reach; d++ {
			q := x + d*step
			if q < 0 || q >= len(row) {
				continue
			}
			if v, ok := pal.value(row[q]); !ok || v >= level {
				hist[d+reach]++
				break
			}
		}
	}
	best := 0
	for d := 0; d+1 < len(hist); d++ {
		best = max(best, hist[d]+hist[d+1])
	}
	return 10*best >= 7*(j-i)
}

// trimRows drops rows without texture at the top and bottom: padding that held no echo yet.
func (s *sample) trimRows(r image.Rectangle) image.Rectangle {
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	act := make([]float64, j-i)
	for k := range act {
		act[k] = s.active(s.row(i + k)[r.Min.X:r.Max.X])
	}
	level := 0.12 * percentile(act, 0.5)
	for i < j && act[0] < level {
		i, act = i+1, act[1:]
		if i < j {
			r.Min.Y = s.ys[i]
		}
	}
	for len(act) > 0 && act[len(act)-1] < level {
		j, act = j-1, act[:len(act)-1]
		if i < j {
			r.Max.Y = s.ys[j-1] + 1
		}
	}
	return r
}
