package features

import "math"

// Sums tells the mean of any box of a picture, whatever its size, at the same small cost.
type Sums struct {
	rows, cols int
	v          []uint32 // (rows+1) × (cols+1): the sum over everything above and left of a pixel's corner
}

// NewSums sums up a picture of one byte a pixel, row-major; len(grey) must be rows*cols, and both must be positive.
func NewSums(grey []uint8, rows, cols int) *Sums {
	s := &Sums{rows, cols, make([]uint32, (rows+1)*(cols+1))}
	for y := range rows {
		above, now := s.v[y*(cols+1):(y+1)*(cols+1)], s.v[(y+1)*(cols+1):(y+2)*(cols+1)]
		line := uint32(0)
		for x, v := range grey[y*cols : (y+1)*cols] {
			line += uint32(v)
			now[x+1] = above[x+1] + line
		}
	}
	return s
}

// upTo is the sum over everything above and left of a place.
func (s *Sums) upTo(x, y float64) float64 {
	i, j := min(max(int(x), 0), s.cols-1), min(max(int(y), 0), s.rows-1)
	fx, fy := min(max(x-float64(i), 0), 1), min(max(y-float64(j), 0), 1)
	above, below := s.v[j*(s.cols+1)+i:], s.v[(j+1)*(s.cols+1)+i:]
	return (1-fy)*((1-fx)*float64(above[0])+fx*float64(above[1])) + fy*((1-fx)*float64(below[0])+fx*float64(below[1]))
}

// Pattern is what stands in a box, whatever its size and colours: logarithms of PatternRows × PatternCols means of brightness,
// less what is the same along a whole row or column, as the water column, a lost ping or a step of the gain is, and less what lies
// around each of them, as a lamp's reflection does; none counts for more than a usual one, with squares that sum to 1. It is zero where
// the box is even.
type Pattern [PatternRows * PatternCols]float32

// The size of a pattern: finer ones find less of two drawings of one record in common, coarser ones more of two different records.
const (
	PatternRows = 16
	PatternCols = 32
)

// darkest is added to brightness, 0 to 255, so that noise in the dark counts for no more than in the light. Of 4, 16, 48 and no
// logarithm at all, 48 parts copies best from other parts of rendered records.
const darkest = 48

// faintest is how far, as a part of their brightness, the cells of a box must be from even for it to hold a pattern: a level of
// 255 is 0.004.
const faintest = 0.01

// patternReach is how many cells around one, in each direction, make up what lies around it. With this and the bound on what a cell counts
// for, parts of one record that bulge alike at the first return, which reached 0.68, reach 0.49 on 800 rendered screens, and of 41 true
// copies as many as before reach 0.5.
const patternReach = 2

// Pattern is that of the box between two corners, in pixels of the picture; it must have an area.
func (s *Sums) Pattern(from, to Point) *Pattern {
	w, h := (to.X-from.X)/PatternCols, (to.Y-from.Y)/PatternRows
	var corners [PatternRows + 1][PatternCols + 1]float64
	for j := range corners {
		for i := range corners[j] {
			corners[j][i] = s.upTo(from.X+float64(i)*w, from.Y+float64(j)*h)
		}
	}
	var cells [PatternRows][PatternCols]float64
	var along [PatternRows]float64
	var down [PatternCols]float64
	whole := 0.0
	for j := range cells {
		for i := range cells[j] {
			v := math.Log(darkest + (corners[j+1][i+1]-corners[j+1][i]-corners[j][i+1]+corners[j][i])/(w*h))
			cells[j][i] = v
			along[j], down[i], whole = along[j]+v, down[i]+v, whole+v
		}
	}
	square := 0.0
	for j := range cells {
		for i := range cells[j] {
			cells[j][i] += whole/(PatternRows*PatternCols) - along[j]/PatternCols - down[i]/PatternRows
			square += cells[j][i] * cells[j][i]
		}
	}
	out := &Pattern{}
	if square < faintest*faintest*PatternRows*PatternCols {
		return out
	}
	standOff(&cells)
	square = clip(&cells)
	if square == 0 {
		return out
	}
	scale := 1 / math.Sqrt(square)
	for j := range cells {
		for i, v := range cells[j] {
			out[j*PatternCols+i] = float32(v * scale)
		}
	}
	return out
}

// standOff takes from each cell the mean of the cells within patternReach.
func standOff(cells *[PatternRows][PatternCols]float64) {
	var sums [PatternRows + 1][PatternCols + 1]float64 // over all above and left of a cell's corner
	for j := range cells {
		line := 0.0
		for i, v := range cells[j] {
			line += v
			sums[j+1][i+1] = sums[j][i+1] + line
		}
	}
	for j := range cells {
		y0, y1 := max(0, j-patternReach), min(PatternRows, j+patternReach+1)
		for i := range cells[j] {
			x0, x1 := max(0, i-patternReach), min(PatternCols, i+patternReach+1)
			cells[j][i] -= (sums[y1][x1] - sums[y0][x1] - sums[y1][x0] + sums[y0][x0]) / float64((y1-y0)*(x1-x0))
		}
	}
}

// clip bounds cells at their root mean square, lest the few at a first return outweigh all others, and returns the sum of their squares.
func clip(cells *[PatternRows][PatternCols]float64) float64 {
	square := 0.0
	for j := range cells {
		for _, v := range cells[j] {
			square += v * v
		}
	}
	most := math.Sqrt(square / (PatternRows * PatternCols))
	square = 0
	for j := range cells {
		for i, v := range cells[j] {
			cells[j][i] = min(max(v, -most), most)
			square += cells[j][i] * cells[j][i]
		}
	}
	return square
}

// PatternOf is the pattern of a grid of values from 0 to 1, of which some 18 × 16 stand for each of its cells.
func PatternOf(g *Grid) *Pattern {
	const rows, cols = 18 * PatternRows, 16 * PatternCols
	v := make([]uint8, rows*cols)
	for i := range v {
		v[i] = uint8(255 * g.At(g.Rows*(i/cols)/rows, g.Cols*(i%cols)/cols))
	}
	return NewSums(v, rows, cols).Pattern(Point{}, Point{X: cols, Y: rows})
}

// Alike is how alike two patterns are, 0 to 1: their correlation. Its sign doesn't count, for a display may show strong echoes dark.
func (p *Pattern) Alike(q *Pattern) float64 {
	sum := 0.0
	for i, v := range p {
		sum += float64(v) * float64(q[i])
	}
	return min(1, math.Abs(sum))
}
