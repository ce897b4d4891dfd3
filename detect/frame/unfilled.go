package frame

import (
	"image"
	"math"

	"shadowgap/detect/palette"
	"shadowgap/detect/pixels"
	"shadowgap/features"
)

// What a record that has only begun leaves of its panel: rows of one colour, that of no echo, from its last ping down to the panel's rim.
const (
	unfilledLeast = 0.1  // part of the record's height from which such rows are told from a bar under it
	unfilledEcho  = 0.06 // most echo strength, of 1, that their colour stands for
	unfilledBlack = 20   // of 255, each of red, green and blue: black, which a record without a dark place in it doesn't show
	unfilledSame  = 0.65 // part of a row that has the colour: ruled lines, a scale and a clock may stand on the rest
	unfilledBreak = 0.02 // part of the record's height that may differ at a time: its last ping where it is smeared, and lines ruled across
	roomMost      = 0.2  // part of that height that the dark around a photographed screen takes, down to the photograph's end
	unfilledMost  = 6.0  // heights of the record that a photograph is looked through below it
	barSame       = 0.5  // part of a row that has one colour in a bar under the panel, letters and all

	drawnNear = 6  // difference of two colours, of 765, that lossy compression leaves within a drawn one
	shotNear  = 40 // and a camera's noise
)

// whole is the panel that the record at a place has begun to fill, from the top as displays do; the record's own box where it fills it. A
// picture that holds nothing but a record and padding has no panel around it.
func (at place) whole(pal *palette.Palette) image.Rectangle {
	box := at.box
	if at.upright != nil {
		under := at.upright.under(at.photo, box)
		rows := unfilled(under, pal, image.Rect(0, -box.Dy(), under.W, 0), shotNear)
		if rows+breakOf(box) >= under.H && float64(rows) < roomMost*float64(box.Dy()) {
			return box
		}
		box.Max.Y += rows
		return box
	}
	box.Max.Y += unfilled(at.px, pal, box, drawnNear)
	if rim := breakOf(box); box.Min.Y < rim && at.px.H-box.Max.Y < rim {
		return at.box
	}
	return box
}

func breakOf(box image.Rectangle) int { return int(math.Ceil(unfilledBreak * float64(box.Dy()))) }

// unfilled is how many rows under a box, whose lower side lies in the picture, the record in it leaves of its panel.
func unfilled(px *pixels.Picture, pal *palette.Palette, box image.Rectangle, near int) int {
	least, gap := int(math.Ceil(unfilledLeast*float64(box.Dy()))), breakOf(box)
	if box.Max.Y+least > px.H {
		return 0
	}
	empty, _ := px.Ground(box.Min.X, box.Max.X, box.Max.Y+least/2, near)
	if !noEcho(pal, empty) {
		return 0
	}
	end := box.Max.Y
	for y := end; y < min(px.H, end+gap); y++ {
		if c, part := px.Ground(box.Min.X, box.Max.X, y, near); part >= unfilledSame && pixels.Diff(c, empty) <= near {
			end = y + 1
		}
	}
	if end-box.Max.Y < least {
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
	return strength[0] <= unfilledEcho && (known[0] != 0 || max(c>>16, c>>8&255, c&255) <= unfilledBlack)
}

// under is what a photograph shows below a box of the rectangle, as far as it shows it, at least one row.
func (u *Upright) under(photo *pixels.Picture, box image.Rectangle) *pixels.Picture {
	shown := image.Rect(0, 0, photo.W, photo.H)
	rows := 1
	for most := int(unfilledMost * float64(box.Dy())); rows < most; rows++ {
		q := u.ToCapture(features.Point{X: float64(box.Min.X+box.Max.X) / 2, Y: float64(box.Max.Y + rows)})
		if !image.Pt(int(q.X), int(q.Y)).In(shown) {
			break
		}
	}
	return pixels.New(draw(photo, u.from, image.Rect(box.Min.X, box.Max.Y, box.Max.X, box.Max.Y+rows), image.Rectangle{}))
}
