// Package strength reads how strong echoes are out of a picture.
package strength

import (
	"image"

	"shadowgap/detect/palette"
	"shadowgap/detect/pixels"
	"shadowgap/features"
)

// Read turns every pixel in a box of a picture into echo strength, 0 to 1, in one pass, and marks in valid, rows × columns of echo, the
// colours that are on the palette by 1 and all others by 0. Echo is as large as the box.
func Read(px *pixels.Picture, p *palette.Palette, box image.Rectangle, echo *features.Grid, valid []uint8) {
	clear(valid)
	if p.Grey() && px.Deep() {
		readDeep(px, p, box, echo, valid)
		return
	}
	buf := make([]uint32, echo.Cols)
	for y := range echo.Rows {
		dst, ok := echo.Row(y), valid[y*echo.Cols:(y+1)*echo.Cols]
		if raw := px.Raw(box.Min.X, box.Min.Y+y, echo.Cols); raw != nil {
			p.RawRow(dst, ok, raw)
			continue
		}
		px.Read(buf, box.Min.X, box.Min.Y+y)
		p.Row(dst, ok, buf)
	}
}

// readDeep is Read of a grey picture of more than eight bits.
func readDeep(px *pixels.Picture, p *palette.Palette, box image.Rectangle, echo *features.Grid, valid []uint8) {
	shift := uint(0)
	if px.Grey {
		shift = px.UnusedBits()
	}
	buf := make([]uint16, echo.Cols)
	rgb := make([]uint32, echo.Cols)
	for y := range echo.Rows {
		px.Read16(buf, box.Min.X, box.Min.Y+y)
		ok := valid[y*echo.Cols : (y+1)*echo.Cols]
		p.DeepRow(echo.Row(y), ok, buf, shift)
		if !px.Grey {
			px.Read(rgb, box.Min.X, box.Min.Y+y)
			p.ClearColoured(ok, rgb)
		}
	}
}
