package frame

import (
	"image"

	"shadowgap/detect/palette"
	"shadowgap/detect/pixels"
	"shadowgap/detect/unfilled"
	"shadowgap/features"
)

const (
	roomMost     = 0.2 // part of the record's height that the dark around a photographed screen takes, down to the photograph's end
	unfilledMost = 6.0 // heights of the record that a photograph is looked through below it
)

// whole is the panel that the record at a place has begun to fill, from the top as displays do; the record's own box where it fills it. A
// picture that holds nothing but a record and padding has no panel around it.
func (at place) whole(pal *palette.Palette) image.Rectangle {
	box := at.box
	if at.upright != nil {
		under := at.upright.under(at.photo, box)
		rows := unfilled.Rows(under, pal, image.Rect(0, -box.Dy(), under.W, 0), unfilled.ShotNear)
		if rows+unfilled.Break(box) >= under.H && float64(rows) < roomMost*float64(box.Dy()) {
			return box
		}
		box.Max.Y += rows
		return box
	}
	box.Max.Y += unfilled.Rows(at.px, pal, box, unfilled.DrawnNear)
	if rim := unfilled.Break(box); box.Min.Y < rim && at.px.H-box.Max.Y < rim {
		return at.box
	}
	return box
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
