package detect

import (
	"context"
	"image"
	"math"

	"shadowgap/detect/frame"
	"shadowgap/features"
	"shadowgap/models/finder"
)

// FinderView is one side of a panel as the finder's network sees it: leveled, range running to the right, averaged over Scale × Scale
// pixels, padded on the right and below to multiples of finder.Step.
type FinderView struct {
	Side       Side
	Rows, Cols int     // of the planes, padding included
	Scale      float64 // pixels of the capture a cell covers, in both directions; 1 or more
	// Planes is finder.Planes × Rows × Cols: leveled strength, water or bottom, how steeply the ray meets a flat bottom, and the
	// echo as the display shows it.
	Planes []uint8

	swath   *swath
	origin  image.Point    // of the panel in the capture, or in its upright rectangle
	upright *frame.Upright // nil in captures that weren't photographed askew
}

// finderCells is how many cells a side may have, padding left out: what the network costs grows with them.
const finderCells = 200_000

// newFinderView draws a side for the network, in memory of the arena's.
func newFinderView(s *swath, lv *leveled, arena *features.Arena) *FinderView {
	rows, cols := lv.q.Rows, lv.q.Cols
	scale := max(1, math.Sqrt(float64(rows*cols)/finderCells))
	down, along := newSharing(rows, scale), newSharing(cols, scale)
	v := &FinderView{Side: s.side, Scale: scale, swath: s, Rows: padded(down.cells), Cols: padded(along.cells)}
	size := v.Rows * v.Cols
	v.Planes = arena.Mask(finder.Planes * size)
	clear(v.Planes[size:])
	plain := encodeStrength(1)
	for i := range v.Planes[:size] {
		v.Planes[i] = plain
	}
	sums, next := newCellSums(along.cells), newCellSums(along.cells)
	for y, r := 0, 0; y < down.cells; y++ {
		for ; r < rows && down.cell[r] == y; r++ {
			line := pixelLine{lv.q.Row(r), s.echo.Row(r), lv.mask[r*cols : (r+1)*cols]}
			sums.add(line, along, down.first[r])
			if down.first[r] < 1 {
				next.add(line, along, 1-down.first[r])
			}
		}
		edge := 0
		if s.hasZero {
			edge = lv.edge[min(int((float64(y)+0.5)*scale), rows-1)]
		}
		sums.draw(v, y, along, edge)
		sums, next = next, sums
		next.clear()
	}
	return v
}

// sharing tells how pixels in a line share in cells of a fixed width that need be no whole number of them: pixel i belongs to cell[i], its
// part first[i] of it, and what is left to the next.
type sharing struct {
	cells int
	cell  []int
	first []float32
	end   []int     // of each cell, the pixel after the last that belongs to it
	width []float32 // of each cell, in pixels: the last may be narrower
}

func newSharing(pixels int, scale float64) sharing {
	s := sharing{cells: int(math.Ceil(float64(pixels)/scale - 1e-9)), cell: make([]int, pixels), first: make([]float32, pixels)}
	s.end, s.width = make([]int, s.cells), make([]float32, s.cells)
	for i := range s.cell {
		at := min(int(float64(i)/scale+1e-9), s.cells-1)
		s.cell[i], s.first[i], s.end[at] = at, 1, i+1
		if end := float64(at+1) * scale; end < float64(i+1)-1e-9 && at+1 < s.cells {
			s.first[i] = float32(end - float64(i))
			s.width[at+1] += 1 - s.first[i]
		}
		s.width[at] += s.first[i]
	}
	return s
}

// pixelLine is one row of a side's pixels.
type pixelLine struct {
	leveled, echo []float32
	mask          []uint8
}

// cellSums adds up what the pixels of one row of cells hold.
type cellSums struct {
	cells  []cellSum
	height float32 // rows of pixels so far
}

type cellSum struct{ leveled, echo, kind float32 }

func newCellSums(cells int) *cellSums { return &cellSums{cells: make([]cellSum, cells)} }

func (c *cellSums) clear() {
	clear(c.cells)
	c.height = 0
}

// add adds a part of a row of pixels. Only the last pixel of a cell can belong to the next as well.
func (c *cellSums) add(line pixelLine, along sharing, part float32) {
	c.height += part
	leveled, n := line.leveled, len(line.leveled)
	echo, mask, first, ends := line.echo[:n], line.mask[:n], along.first[:n], along.end[:len(c.cells)]
	k, left := 0, float32(0) // left: of pixel k-1 to the cell
	for x := range c.cells {
		s := c.cells[x]
		if left > 0 {
			s.leveled += leveled[k-1] * left
			s.echo += echo[k-1] * left
			s.kind += float32(mask[k-1]) * left
		}
		w := part
		for ; k < ends[x]; k++ {
			w = first[k] * part
			s.leveled += leveled[k] * w
			s.echo += echo[k] * w
			s.kind += float32(mask[k]) * w
		}
		left = part - w
		c.cells[x] = s
	}
}

// draw writes row y of the view; edge is its first bottom pixel, 0 where that is not known.
func (c *cellSums) draw(v *FinderView, y int, along sharing, edge int) {
	size, at := v.Rows*v.Cols, y*v.Cols
	strength, region := v.Planes[at:at+along.cells], v.Planes[size+at:size+at+along.cells]
	steep, echo := v.Planes[2*size+at:2*size+at+along.cells], v.Planes[3*size+at:3*size+at+along.cells]
	for x, width := range along.width {
		s, n := &c.cells[x], width*c.height
		strength[x] = encodeStrength(s.leveled / n)
		region[x] = uint8(s.kind / n * (255 / float32(regionBottom)))
		echo[x] = uint8(255*min(1, s.echo/n) + 0.5)
	}
	if edge <= 0 {
		return
	}
	for x := range steep {
		steep[x] = 255
		if flat := float64(x)*v.Scale + 1; flat > float64(edge) {
			steep[x] = uint8(255 * (float64(edge) / flat))
		}
	}
}

func padded(n int) int { return (n + finder.Step - 1) / finder.Step * finder.Step }

// encodeStrength keeps shadows and highlights apart in a byte: plain bottom is 85, nine times its strength 255.
func encodeStrength(q float32) uint8 {
	switch {
	case q >= 9:
		return 255
	case q > 0:
		return uint8(85 * math.Sqrt(float64(q)))
	}
	return 0
}

// Cells maps a box of the capture to cells of the view: rows [r0, r1), range cells [k0, k1). ok is false when its middle lies on no
// pixel of this side.
func (v *FinderView) Cells(b Box) (r0, r1, k0, k1 float64, ok bool) {
	s := v.swath
	if v.upright != nil {
		b = boxAround(b, v.upright.FromCapture)
	}
	top, bottom := float64(b.Y-v.origin.Y), float64(b.Y+b.H-v.origin.Y)
	mid := int((top + bottom) / 2)
	if mid < 0 || mid >= s.echo.Rows {
		return 0, 0, 0, 0, false
	}
	a, z := s.k(mid, float64(b.X-v.origin.X)), s.k(mid, float64(b.X+b.W-v.origin.X))
	a, z = min(a, z), max(a, z)
	if c := (a + z) / 2; c < 0 || c >= float64(s.echo.Cols) {
		return 0, 0, 0, 0, false
	}
	n := v.Scale
	return top / n, bottom / n, a / n, z / n, true
}

// Views are the sides of a capture as the finder sees them, for its fit. Errors are as for Run.
func (d *Detector) Views(ctx context.Context, img image.Image, opt Options) ([]*FinderView, error) {
	var out []*FinderView
	opt.visit = func(p *frame.Panel, sv *sideView) {
		v := newFinderView(sv.swath, sv.leveled, nil) // kept when the capture is done with
		v.origin, v.upright = p.Box.Min, p.Upright
		// the side's own memory goes to the next one
		kept := *sv.swath
		kept.nearX = append([]float64(nil), sv.swath.nearX...)
		v.swath = &kept
		out = append(out, v)
	}
	_, err := d.Run(ctx, img, opt)
	return out, err
}
