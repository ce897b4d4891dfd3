// Package detect turns the picture of a side-scan capture into marks: read, frame, nadir, first return, level, segment,
// pair, measure, classify, hold. Every stage is a function from a value to a value in a file of its own name.
package detect

import (
	"context"
	"image"
)

// Options are what the user knows about a capture. The zero value means nothing is known.
type Options struct {
	RangeM         float64 // range setting per side in metres, slant; 0 = unknown
	Side           Side    // the side a crop without nadir shows; "" = find out
	NewestAtBottom bool    // rows run the other way
	SlantCorrected bool    // columns are ground range, not slant range
	RowSpacingM    float64 // distance made good between two rows in metres; 0 = unknown
}

// Result is what one capture holds, before it is given a name, a hash and a position.
type Result struct {
	Status   Status
	Why      string // set when Status is not StatusRead
	Panels   []PanelRecord
	Marks    []MarkRecord // most interesting first
	Holds    []HoldRecord
	Interest float64 // 0 to 1
	Counts   map[Class]int
}

// Run detects marks in a decoded picture of any palette. Boxes are in pixels of img with its bounds' origin at 0, 0. It
// returns an error only when ctx ends or a stage fails; a picture with no side-scan in it is a Result with
// StatusNoPanel and the reason.
func Run(ctx context.Context, img image.Image, opt Options) (*Result, error) {
	panic("replaced by the pipeline")
}
