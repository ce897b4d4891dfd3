// Package unfilled finds what a record that has only begun leaves of its panel: rows of one colour, that of no echo, from its last ping
// down to the panel's rim.
package unfilled

import (
	"image"
	"math"

	"shadowgap/detect/palette"
	"shadowgap/detect/pixels"
)

const (
	least   = 0.1  // part of the record's height from which such rows are told from a bar under it
	echo    = 0.06 // most echo strength, of 1, that their colour stands for
	black   = 20   // of 255, each of red, green and blue: black, which a record without a dark place in it doesn't show
	same    = 0.65 // part of a row that has the colour: ruled lines, a scale and a clock may stand on the rest
	broken  = 0.02 // part of the record's height that may differ at a time: its last ping where it is smeared, and lines ruled across
	barSame = 0.5  // part of a row that has one colour in a bar under the panel, letters and all
)

// How much two colours, as the sum of the differences of red, green and blue (of 765), may differ and be one.
const (
	DrawnNear = 6  // in a drawn picture: what lossy compression leaves
	ShotNear  = 40 // in a photograph: a camera's noise
)

// Break is how many rows in a record's box may differ at a time.
func Break(box image.Rectangle) int { return int(math.Ceil(broken * float64(box.Dy()))) }

// Rows is how many rows under a box, whose lower side lies in the picture, the record in it leaves of its panel; near is how much two
// colours may differ and be one.
func Rows(px *pixels.Picture, pal *palette.Palette, box image.Rectangle, near int) int {
	rows, gap := int(math.Ceil(least*float64(box.Dy()))), Break(box)
	if box.Max.Y+rows > px.H {
		return 0
	}
	empty, _ := px.Ground(box.Min.X, box.Max.X, box.Max.Y+rows/2, near)
	if !noEcho(pal, empty) {
		return 0
	}
	end := box.Max.Y
	for y := end; y < min(px.H, end+gap); y++ {
		if c, part := px.Ground(box.Min.X, box.Max.X, y, near); part >= same && pixels.Diff(c, empty) <= near {
			end = y + 1
		}
	}
	if end-box.Max.Y < rows {
		return 0
	}
	if under := end + gap; under < px.H {
		if _, part := px.Ground(box.Min.X, box.Max.X, under, near); part < barSame {
			return 0 // the water of a picture below, and its bottom
		}
	}
	return end - box.Max.Y
}

// noEcho says whether a colour is one that a display shows where nothing comes back.
func noEcho(pal *palette.Palette, c uint32) bool {
	var strength [1]float32
	var known [1]uint8
	pal.Row(strength[:], known[:], []uint32{c})
	return strength[0] <= echo && (known[0] != 0 || max(c>>16, c>>8&255, c&255) <= black)
}
