package detect

import (
	"context"
	"image"
	"math"

	"shadowgap/detect/frame"
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

// newFinderView draws a side for the network.
func newFinderView(s *swath, lv *leveled) *FinderView {
	rows, cols := lv.q.Rows, lv.q.Cols
	v := &FinderView{Side: s.side, Scale: 1, swath: s}
	for rows*cols > finderCells*v.Scale*v.Scale {
		v.Scale++
	}
	n := v.Scale
	v.Rows, v.Cols = padded((rows+n-1)/n), padded((cols+n-1)/n)
	size := v.Rows * v.Cols
	v.Planes = make([]uint8, finder.Planes*size)
	strength, region, steep := v.Planes[:size], v.Planes[size:2*size], v.Planes[2*size:]
	plain := encodeStrength(1)
	for i := range strength {
		strength[i] = plain
	}
	for y := 0; y*n < rows; y++ {
		for x := 0; x*n < cols; x++ {
			var sum, kind, count float32
			for r := y * n; r < min((y+1)*n, rows); r++ {
				row, mask := lv.q.Row(r), lv.mask[r*cols:(r+1)*cols]
				for k := x * n; k < min((x+1)*n, cols); k++ {
					sum += row[k]
					kind += float32(mask[k])
					count++
				}
			}
			at := y*v.Cols + x
			strength[at] = encodeStrength(sum / count)
			region[at] = uint8(kind / count * (255 / float32(regionBottom)))
			if edge := lv.edge[min(y*n+n/2, rows-1)]; edge > 0 && s.hasZero {
				steep[at] = uint8(255 * min(1, float32(edge)/float32(x*n+1)))
			}
		}
	}
	return v
}

func padded(n int) int { return (n + finder.Step - 1) / finder.Step * finder.Step }

// encodeStrength keeps shadows and highlights apart in a byte: plain bottom is 85, nine times its strength 255.
func encodeStrength(q float32) uint8 {
	return uint8(min(255, 85*math.Sqrt(float64(max(q, 0)))))
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
		v := newFinderView(sv.swath, sv.leveled)
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
