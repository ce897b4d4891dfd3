package frame

import (
	"bytes"
	"image"

	"shadowgap/detect/palette"
	"shadowgap/detect/pixels"
	"shadowgap/detect/strength"
	"shadowgap/features"
)

// histogram gathers the colours of a thinned choice of the pixels in r; of those that are echo as far as over tells, where it is not nil.
func histogram(px *pixels.Picture, r image.Rectangle, over *window) *palette.Histogram {
	const enough = 60000
	every := max(1, r.Dy()/240)
	step := max(1, r.Dy()/every*r.Dx()/enough)
	h := palette.NewHistogram()
	row := make([]uint32, r.Dx())
	var column []int // of the map, over each column of r
	if over != nil {
		column = make([]int, len(row))
		for i := range column {
			column[i] = over.column(r.Min.X + i)
		}
	}
	for y := r.Min.Y + every/2; y < r.Max.Y; y += every {
		px.Read(row, r.Min.X, y)
		for i := y % step; i < len(row); i += step {
			if over == nil || over.isEcho(over.row(y)+column[i]) {
				h.Add(row[i])
			}
		}
	}
	return h
}

// write turns every pixel of the box into echo strength, in one pass, and marks colours that are not on the palette.
func write(px *pixels.Picture, pal *palette.Palette, pan *Panel, arena *features.Arena) error {
	r := pan.Box
	g, err := arena.Grid(r.Dy(), r.Dx())
	if err != nil {
		return err
	}
	pan.Echo = g
	pan.Valid = arena.Mask(len(g.V))
	strength.Read(px, pal, r, g, pan.Valid)
	return nil
}

// countZero counts the pixels of a panel that hold no echo.
func countZero(valid []uint8) int { return bytes.Count(valid, []byte{0}) }
