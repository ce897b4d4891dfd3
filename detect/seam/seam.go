// Package seam finds where two panels meet that are drawn in palettes of their own.
package seam

import (
	"math"

	"shadowgap/detect/pixels"
	"shadowgap/features"
)

// Of the best line of 841 developing captures that show one record in one palette, 150 photographs of screens among them, what it tells
// reaches 21 of 255 but for a palette of many hues with 39; of seven whose two panels have different ones, 25 to 42.
const (
	leastTold = 22.0
	// and with less, down to this, along a line that runs with the rows or columns of the picture where next to none of one side's colours, or
	// half of both sides', are the other's too, as of a chart beside a record of the same hue: of 1,400 captures, 150 photographs among
	// them, none is parted wrongly by that, and three of seven charts beside records are that leastTold leaves
	fewTold = 10.0
	// least part of one side's cells, and of the other's, added up, of a colour that the other side doesn't have: that palette of many hues
	// has 0.34, a pair of dark ones 0.22, the others 0.78 and more
	leastOwn = 0.6
	mostOwn  = 0.8 // the same, from which fewTold is enough
	// fewer cells than these have colours of their own by noise alone, so that fewTold is not enough
	manyCells = 5000
)

const (
	levels    = 16   // of brightness, between which colours are compared
	leastSide = 0.08 // least part of the cells on either side
	mostSlope = 0.26 // of a line: the tangent of 15°, a photograph's greatest tilt
	slopes    = 13   // tried from one end of that to the other
	finer     = 5    // parts of the step between those, tried beside the best
	bins      = 16   // of each of red, green and blue, in which a colour counts as had
	leastBin  = 3    // cells that make a colour had: fewer are a blend at an edge
	fewCells  = 400  // fewer tell nothing
)

// tally adds up the colours of cells of one brightness.
type tally struct{ n, r, g, b float64 }

func (t *tally) add(o *tally, sign float64) {
	t.n, t.r, t.g, t.b = t.n+sign*o.n, t.r+sign*o.r, t.g+sign*o.g, t.b+sign*o.b
}

// apart is what a mean for each level explains of the sum of squares.
func apart(t *[levels]tally) float64 {
	sum := 0.0
	for i := range t {
		if l := &t[i]; l.n > 0 {
			sum += (l.r*l.r + l.g*l.g + l.b*l.b) / l.n
		}
	}
	return sum
}

func split(c uint32) (r, g, b int) { return int(c >> 16 & 255), int(c >> 8 & 255), int(c & 255) }

func level(r, g, b int) int { return (299*r + 587*g + 114*b) / 1000 * levels / 256 }

// Parts parts an area of a picture, given as those of rows × cols cells all over it that are above 0, at the straight line where two
// palettes meet; the area alone where none do.
func Parts(px *pixels.Picture, in []uint8, rows, cols int) [][]uint8 {
	c := &cells{rows: rows, cols: cols, in: in, colour: make([]uint32, len(in))}
	c.tall = float64(px.H) / float64(rows) / (float64(px.W) / float64(cols))
	row := make([]uint32, px.W)
	for y := range rows {
		px.Read(row, 0, px.H*(2*y+1)/(2*rows))
		for x := range cols {
			c.colour[y*cols+x] = row[px.W*(2*x+1)/(2*cols)]
		}
	}
	l, ok := c.seam()
	if !ok {
		return [][]uint8{in}
	}
	parts := [][]uint8{make([]uint8, len(in)), make([]uint8, len(in))}
	for i := range in {
		if in[i] > 0 {
			parts[c.side(l, i)][i] = 1
		}
	}
	return parts
}

// cells is an area of a picture, one colour a cell: that of its middle, for means have colours of no palette.
type cells struct {
	rows, cols int
	colour     []uint32 // rows × cols, 0x00RRGGBB
	in         []uint8  // rows × cols, above 0 in the area
	tall       float64  // height of a cell over its width
	spots      []spot   // its cells, once seam has looked
}

// spot is a cell of the area.
type spot struct {
	at     features.Point
	level  int
	colour tally
}

func (c *cells) middle(i int) features.Point {
	return features.Point{X: float64(i%c.cols) + 0.5, Y: float64(i/c.cols) + 0.5}
}

// side is 0 before a line and 1 behind it.
func (c *cells) side(l features.Line, i int) int {
	if l.Off(c.middle(i)) < 0 {
		return 0
	}
	return 1
}

// seam returns the straight line, in cells, that parts the area into two sides whose colours differ most at equal brightness: no record
// does that, and two palettes do. ok is false where its sides don't differ enough, or have the same colours elsewhere.
func (c *cells) seam() (l features.Line, ok bool) {
	s := search{cells: c}
	squares := 0.0
	for i, colour := range c.colour {
		if c.in[i] > 0 {
			r, g, b := split(colour)
			s.all[level(r, g, b)].add(&tally{1, float64(r), float64(g), float64(b)}, 1)
			squares += float64(r*r + g*g + b*b)
		}
	}
	for _, t := range s.all {
		s.n += t.n
	}
	s.one = apart(&s.all)
	spread := math.Sqrt(max(0, squares-s.one) / max(1, s.n))
	if s.n < fewCells || spread < fewTold {
		return l, false
	}
	for i, colour := range c.colour {
		if c.in[i] > 0 {
			r, g, b := split(colour)
			c.spots = append(c.spots, spot{c.middle(i), level(r, g, b), tally{1, float64(r), float64(g), float64(b)}})
		}
	}
	if spread >= leastTold && s.any() && c.own(s.best) >= leastOwn {
		return s.best, true
	}
	ok = s.n >= manyCells && s.upright() && c.own(s.best) >= mostOwn
	return s.best, ok
}

// search is what is known while lines are tried.
type search struct {
	*cells
	all  [levels]tally // of all cells
	n    float64       // cells
	one  float64       // what all of them explain together
	most float64       // what the best line's two sides explain
	best features.Line
	lean float64 // the tangent of its slope in the picture
}

// try takes a line of one slope for the best if its sides differ more.
func (s *search) try(tangent float64, up bool) bool {
	slope := tangent / s.tall
	if up {
		slope = tangent * s.tall
	}
	at, told := s.sweep(slope, up, &s.all, s.n)
	if told <= s.most {
		return false
	}
	s.most, s.best, s.lean = told, features.Line{At: at, Slope: slope, Up: up}, tangent
	return true
}

// any looks for the best line of those that a photograph may show; false where its sides don't differ by leastTold.
func (s *search) any() bool {
	const step = 2 * mostSlope / (slopes - 1)
	s.most = s.n*leastTold*leastTold + s.one
	found := false
	for k := range slopes {
		for _, up := range [...]bool{false, true} {
			found = s.try(step*float64(k)-mostSlope, up) || found
		}
	}
	if !found {
		return false
	}
	coarse, up := s.lean, s.best.Up
	for k := 1; k < finer; k++ {
		s.try(coarse-step*float64(k)/finer, up)
		s.try(coarse+step*float64(k)/finer, up)
	}
	return true
}

// upright looks for the best line along rows or columns; false where its sides don't differ by fewTold.
func (s *search) upright() bool {
	s.most = s.n*fewTold*fewTold + s.one
	rows := s.try(0, false)
	return s.try(0, true) || rows
}

// sweep moves a line of one slope over the area and returns where its two sides differ most, and what they explain there.
func (c *cells) sweep(slope float64, up bool, all *[levels]tally, n float64) (at, told float64) {
	along, over := c.cols, c.rows
	if up {
		along, over = c.rows, c.cols
	}
	shift := int(math.Ceil(math.Abs(slope) * float64(along)))
	steps := make([][levels]tally, over+2*shift+1)
	line := features.Line{Slope: slope, Up: up}
	for i := range c.spots {
		s := &c.spots[i]
		steps[int(line.Off(s.at)+float64(shift))][s.level].add(&s.colour, 1) // never below 0
	}
	before, behind := [levels]tally{}, *all
	passed := 0.0
	for i := range steps {
		for k := range steps[i] {
			before[k].add(&steps[i][k], 1)
			behind[k].add(&steps[i][k], -1)
			passed += steps[i][k].n
		}
		if min(passed, n-passed) < leastSide*n {
			continue
		}
		if t := apart(&before) + apart(&behind); t > told {
			at, told = float64(i+1-shift), t
		}
	}
	return at, told
}

// own is the part of the cells before a line, and of those behind it, added up, whose colour the other side doesn't have.
func (c *cells) own(l features.Line) float64 {
	var had [2][bins * bins * bins]int
	bin := func(colour uint32) (r, g, b int) {
		r, g, b = split(colour)
		return r * bins / 256, g * bins / 256, b * bins / 256
	}
	for i, colour := range c.colour {
		if c.in[i] > 0 {
			r, g, b := bin(colour)
			had[c.side(l, i)][(r*bins+g)*bins+b]++
		}
	}
	var n, alone [2]float64
	for s := range had {
		for at, cells := range had[s] {
			if cells == 0 {
				continue
			}
			n[s] += float64(cells)
			if !near(&had[1-s], at) {
				alone[s] += float64(cells)
			}
		}
	}
	return alone[0]/max(n[0], 1) + alone[1]/max(n[1], 1)
}

// near tells whether a colour's bin or one beside it is had.
func near(had *[bins * bins * bins]int, at int) bool {
	r, g, b := at/(bins*bins), at/bins%bins, at%bins
	for i := max(0, r-1); i <= min(bins-1, r+1); i++ {
		for j := max(0, g-1); j <= min(bins-1, g+1); j++ {
			for k := max(0, b-1); k <= min(bins-1, b+1); k++ {
				if had[(i*bins+j)*bins+k] >= leastBin {
					return true
				}
			}
		}
	}
	return false
}
