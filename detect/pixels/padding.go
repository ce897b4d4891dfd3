package pixels

import "image"

// WithoutPadding moves the top and bottom of a box in over rows that are all of one colour: no echo is so even.
func (p *Picture) WithoutPadding(r image.Rectangle) image.Rectangle {
	row := make([]uint32, r.Dx())
	const even = 12 // difference of colour, of 765, that lossy compression leaves in one
	flat := func(y int) bool {
		p.Read(row, r.Min.X, y)
		for _, c := range row {
			if Diff(c, row[0]) > even {
				return false
			}
		}
		return true
	}
	for r.Dy() > 1 && flat(r.Min.Y) {
		r.Min.Y++
	}
	for r.Dy() > 1 && flat(r.Max.Y-1) {
		r.Max.Y--
	}
	return r
}
