package frame

import "image"

// sample is a thinned copy of a picture: pairs of neighbouring rows at full width, so that differences to the right
// and downwards can both be measured without touching every pixel.
type sample struct {
	p    *pixels
	ys   []int    // sampled rows, ascending; consecutive entries that differ by 1 form a pair
	px   []uint32 // len(ys) × w
	cell int      // side of a cell in pixels
	cw   int      // cells across
	ch   int      // cells down
	thr  int      // colour difference that counts as texture
	mid  int      // usual colour difference where there is texture
}

// cellStat is what one cell's sampled pixels look like.
type cellStat struct {
	n      int     // pixels
	active float32 // part of them that differ from their right neighbour, 0..1
	r, g   float32 // mean channels
	b      float32
}

func (c cellStat) mean() uint32 { return pack(uint8(c.r), uint8(c.g), uint8(c.b)) }

const maxCells = 128 // along the longer side, unless the picture is a strip; finer cells would make the rectangle search dearer than the reading

// newSample reads the rows and picks the texture thresholds.
func newSample(p *pixels) *sample {
	s := &sample{p: p, cell: 8}
	if longest := max(p.w, p.h); longest > 8*maxCells {
		s.cell = max(8, min((longest+maxCells-1)/maxCells, min(p.w, p.h)/12))
	}
	s.cw, s.ch = (p.w+s.cell-1)/s.cell, (p.h+s.cell-1)/s.cell
	pairs := 2
	if s.cell > 12 {
		pairs = 1
	}
	for c := 0; c < s.ch; c++ {
		y0, y1 := c*s.cell, min((c+1)*s.cell, p.h)
		if s.cell <= 8 {
			for y := y0; y < y1; y++ {
				s.ys = append(s.ys, y)
			}
			continue
		}
		for k := 0; k < pairs; k++ {
			y := y0 + (y1-y0)*(2*k+1)/(2*pairs)
			if y+1 < y1 {
				s.ys = append(s.ys, y, y+1)
			}
		}
	}
	s.px = make([]uint32, len(s.ys)*p.w)
	for i, y := range s.ys {
		p.read(s.row(i), 0, y)
	}
	s.setThresholds()
	return s
}

func (s *sample) row(i int) []uint32 { return s.px[i*s.p.w : (i+1)*s.p.w] }

// setThresholds picks what counts as texture: a small part of the median of the differences that occur where anything
// differs at all. Lossless bars differ by nothing, and a lossy picture's ringing stays well under its speckle.
func (s *sample) setThresholds() {
	var hist [766]int
	total, sum := 0, 0
	for i := 0; i < len(s.ys); i += 3 {
		row := s.row(i)
		for x := 1; x < len(row); x += 3 {
			if d := colourDiff(row[x], row[x-1]); d > 0 {
				hist[d]++
				total++
				sum += d
			}
		}
	}
	half := func(weight func(d int) int, all int) int {
		seen := 0
		for d, n := range hist {
			if seen += n * weight(d); 2*seen >= all && d > 0 {
				return d
			}
		}
		return 1
	}
	median := half(func(int) int { return 1 }, total)
	s.thr = max(1, median/6)
	// Where weak ringing is widespread the median falls under what the texture shows; the difference that halves their
	// sum doesn't, but a few hard edges can drive that far too high.
	s.mid = max(1, min(3*median, max(median, 2*half(func(d int) int { return d }, sum)/3)))
}

// stats measures every cell.
func (s *sample) stats() []cellStat {
	out := make([]cellStat, s.cw*s.ch)
	sums := make([][5]int, s.cw)
	i := 0
	for cy := 0; cy < s.ch; cy++ {
		clear(sums)
		for ; i < len(s.ys) && s.ys[i] < (cy+1)*s.cell; i++ {
			s.addRow(sums, s.row(i))
		}
		for cx, v := range sums {
			if v[0] == 0 {
				continue
			}
			n := float32(v[0])
			out[cy*s.cw+cx] = cellStat{v[0], float32(v[1]) / n, float32(v[2]) / n, float32(v[3]) / n, float32(v[4]) / n}
		}
	}
	return out
}

func (s *sample) addRow(sums [][5]int, row []uint32) {
	prev := row[0]
	for cx := range sums {
		x0, x1 := cx*s.cell, min((cx+1)*s.cell, len(row))
		var active, r, g, b int
		for _, c := range row[x0:x1] {
			if c != prev && colourDiff(c, prev) >= s.thr {
				active++
			}
			prev = c
			r += int(c >> 16)
			g += int(c >> 8 & 255)
			b += int(c & 255)
		}
		v := &sums[cx]
		v[0] += x1 - x0
		v[1] += active
		v[2] += r
		v[3] += g
		v[4] += b
	}
}

// rect turns cell bounds (half-open) into pixels.
func (s *sample) rect(cx0, cy0, cx1, cy1 int) image.Rectangle {
	return image.Rect(cx0*s.cell, cy0*s.cell, min(cx1*s.cell, s.p.w), min(cy1*s.cell, s.p.h))
}

// rowsIn returns the range of sampled-row indices whose rows lie in [y0, y1).
func (s *sample) rowsIn(y0, y1 int) (int, int) {
	i := 0
	for i < len(s.ys) && s.ys[i] < y0 {
		i++
	}
	j := i
	for j < len(s.ys) && s.ys[j] < y1 {
		j++
	}
	return i, j
}
