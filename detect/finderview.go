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
	Scale      int     // pixels of the capture a cell covers, in both directions
	Planes     []uint8 // finder.Planes × Rows × Cols: leveled strength, water or bottom, and how steeply the ray meets a flat bottom

	swath  *swath
	origin image.Point // of the panel in the capture
}

// finderCells is how many cells a side may have, padding left out: the network takes 13 ms of one core for so many.
const finderCells = 250_000

// newFinderView draws a side for the network, in memory of the arena's.
func newFinderView(s *swath, lv *leveled, arena *features.Arena) *FinderView {
	rows, cols := lv.q.Rows, lv.q.Cols
	v := &FinderView{Side: s.side, Scale: 1, swath: s}
	for rows*cols > finderCells*v.Scale*v.Scale {
		v.Scale++
	}
	n := v.Scale
	high, wide := (rows+n-1)/n, (cols+n-1)/n
	v.Rows, v.Cols = padded(high), padded(wide)
	size := v.Rows * v.Cols
	v.Planes = arena.Mask(finder.Planes * size)
	strength, region, steep := v.Planes[:size], v.Planes[size:2*size], v.Planes[2*size:]
	clear(v.Planes[size:])
	plain := encodeStrength(1)
	whole := regionCodes(n * n)
	sums, kinds := make([]float32, wide), make([]int32, wide)
	for y := range v.Rows {
		line := strength[y*v.Cols : (y+1)*v.Cols]
		if y < high {
			r0, r1 := y*n, min((y+1)*n, rows)
			codes := whole
			if r1-r0 < n {
				codes = regionCodes((r1 - r0) * n)
			}
			clear(sums)
			clear(kinds)
			for r := r0; r < r1; r++ {
				addBlocks(sums, kinds, lv.q.Row(r), lv.mask[r*cols:(r+1)*cols], n)
			}
			drawBlocks(line, region[y*v.Cols:], sums, kinds, (r1-r0)*n, codes)
			if odd := cols - (wide-1)*n; odd < n {
				// the last block is narrower than the others
				at, pixels := wide-1, (r1-r0)*odd
				drawBlocks(line[at:], region[y*v.Cols+at:], sums[at:], kinds[at:], pixels, regionCodes(pixels))
			}
			if edge := lv.edge[min(r0+n/2, rows-1)]; edge > 0 && s.hasZero {
				drawSteepness(steep[y*v.Cols:][:wide], edge, n)
			}
			line = line[wide:]
		}
		for x := range line {
			line[x] = plain
		}
	}
	return v
}

// addBlocks adds one row of pixels to the sums of what each n of them hold and belong to.
func addBlocks(sums []float32, kinds []int32, row []float32, mask []uint8, n int) {
	done := 0   // blocks
	if n == 2 { // as nearly all captures have it
		done = len(row) / 2
		sums, kinds := sums[:done], kinds[:done]
		for x := range sums {
			p, m := row[2*x:2*x+2:2*x+2], mask[2*x:2*x+2:2*x+2]
			sums[x] = sums[x] + p[0] + p[1]
			kinds[x] += int32(m[0]) + int32(m[1])
		}
	}
	for x := done; x < len(sums); x++ {
		for k := x * n; k < min((x+1)*n, len(row)); k++ {
			sums[x] += row[k]
			kinds[x] += int32(mask[k])
		}
	}
}

// regionCodes are what is drawn for blocks of so many pixels whose regions sum up to an index.
func regionCodes(pixels int) []uint8 {
	codes := make([]uint8, int(regionBottom)*pixels+1)
	for sum := range codes {
		codes[sum] = uint8(float32(sum) / float32(pixels) * (255 / float32(regionBottom)))
	}
	return codes
}

// drawBlocks writes strength and region of blocks of so many pixels.
func drawBlocks(strength, region []uint8, sums []float32, kinds []int32, pixels int, codes []uint8) {
	n := float32(pixels)
	strength, region, kinds = strength[:len(sums)], region[:len(sums)], kinds[:len(sums)]
	for x, sum := range sums {
		strength[x] = encodeStrength(sum / n)
		region[x] = codes[kinds[x]]
	}
}

// drawSteepness writes how steeply a ray meets flat bottom at each cell of n pixels: 255 straight down, which is as far as the edge.
func drawSteepness(steep []uint8, edge, n int) {
	for x := range steep {
		k := x*n + 1
		if k <= edge {
			steep[x] = 255
			continue
		}
		steep[x] = uint8(255 * (float32(edge) / float32(k)))
	}
}

func padded(n int) int { return (n + finder.Step - 1) / finder.Step * finder.Step }

// encodeStrength keeps shadows and highlights apart in a byte: plain bottom is 85, nine times its strength 255.
func encodeStrength(q float32) uint8 {
	if q < 0 {
		q = 0
	}
	code := 85 * math.Sqrt(float64(q))
	if code > 255 {
		code = 255
	}
	return uint8(code)
}

// Cells maps a box of the capture to cells of the view: rows [r0, r1), range cells [k0, k1). ok is false when its middle lies on no
// pixel of this side.
func (v *FinderView) Cells(b Box) (r0, r1, k0, k1 float64, ok bool) {
	s := v.swath
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
	n := float64(v.Scale)
	return top / n, bottom / n, a / n, z / n, true
}

// Views are the sides of a capture as the finder sees them, for its fit. Errors are as for Run.
func (d *Detector) Views(ctx context.Context, img image.Image, opt Options) ([]*FinderView, error) {
	var out []*FinderView
	opt.visit = func(p *frame.Panel, sv *sideView) {
		v := newFinderView(sv.swath, sv.leveled, nil) // kept when the capture is done with
		v.origin = p.Box.Min
		// the side's own memory goes to the next one
		kept := *sv.swath
		kept.nearX = append([]float64(nil), sv.swath.nearX...)
		v.swath = &kept
		out = append(out, v)
	}
	_, err := d.Run(ctx, img, opt)
	return out, err
}
