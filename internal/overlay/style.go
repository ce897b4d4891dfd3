// Package overlay draws what the detector found: outlines over the capture, a close-up of one mark, the echo along range
// through it, and the altitude of a panel. It reads records and pictures only and keeps no state.
package overlay

import (
	"image/color"

	"shadowgap/detect"
	"shadowgap/internal/units"
)

// Style is how one class is told apart: by colour and by line, never by colour alone.
type Style struct {
	Color color.NRGBA
	Dash  []float64 // on, off, … in line widths; nil = solid
	Line  string    // the line style in words
	Short string    // the class in one word, for labels where space is short
	Name  string    // the class in plain words
}

// Okabe & Ito's palette for the colour-blind ("Color Universal Design", 2008), by its usual names.
var (
	orange        = color.NRGBA{0xE6, 0x9F, 0x00, 0xFF}
	skyBlue       = color.NRGBA{0x56, 0xB4, 0xE9, 0xFF}
	bluishGreen   = color.NRGBA{0x00, 0x9E, 0x73, 0xFF}
	yellow        = color.NRGBA{0xF0, 0xE4, 0x42, 0xFF}
	blue          = color.NRGBA{0x00, 0x72, 0xB2, 0xFF}
	vermillion    = color.NRGBA{0xD5, 0x5E, 0x00, 0xFF}
	reddishPurple = color.NRGBA{0xCC, 0x79, 0xA7, 0xFF}
	casing        = color.NRGBA{0x10, 0x10, 0x10, 0xFF}
	plate         = color.NRGBA{0x10, 0x10, 0x10, 0xD8}
	paper         = color.NRGBA{0xFF, 0xFF, 0xFF, 0xFF}
)

// StyleOf returns the style of a class. A class it does not know is drawn as clutter and named as it is.
func StyleOf(c detect.Class) Style {
	switch c {
	case detect.BottomObject:
		return Style{orange, nil, "solid line", "bottom", "object on the bottom"}
	case detect.SuspendedTarget:
		return Style{skyBlue, []float64{5, 3}, "dashed line", "suspended", "suspended target"}
	case detect.RaisedStructure:
		return Style{bluishGreen, []float64{7, 2.5, 1.5, 2.5}, "dash-dot line", "raised", "raised structure"}
	case detect.Clutter:
		return Style{reddishPurple, []float64{1.5, 2}, "dotted line", "clutter", "clutter"}
	}
	return Style{reddishPurple, []float64{1.5, 2}, "dotted line", string(c), string(c)}
}

// Units picks the lengths shown to a person.
type Units = units.Lengths

// Metres and feet.
const (
	Metres = units.Metres
	Feet   = units.Feet
)
