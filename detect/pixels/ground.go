package pixels

import (
	"cmp"
	"slices"
)

const groundLooks = 256 // pixels of a row that tell its ground

// Ground is the colour, 0xRRGGBB, that the columns [x0, x1) of row y are drawn on, that of the middle one of their pixels by brightness,
// and the part of them, 0 to 1, whose colour differs by at most near, of 765. The columns, one at least, and the row lie in the picture.
func (p *Picture) Ground(x0, x1, y, near int) (colour uint32, part float64) {
	row := make([]uint32, x1-x0)
	p.Read(row, x0, y)
	step := max(1, len(row)/groundLooks)
	looks := row[:0]
	for x := step / 2; x < x1-x0; x += step {
		looks = append(looks, row[x])
	}
	bright := func(c uint32) uint32 { return c>>16 + c>>8&255 + c&255 }
	slices.SortFunc(looks, func(a, b uint32) int { return cmp.Or(cmp.Compare(bright(a), bright(b)), cmp.Compare(a, b)) })
	colour = looks[len(looks)/2]
	n := 0
	for _, c := range looks {
		if Diff(c, colour) <= near {
			n++
		}
	}
	return colour, float64(n) / float64(len(looks))
}
