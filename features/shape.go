package features

import (
	"fmt"
	"math"
)

// Shape describes a set of pixels by its second moments. Lengths are in the unit of the pixel spacing given.
type Shape struct {
	Area        float64 // square units
	Length      float64 // longest side of the rectangle with the same second moments
	Width       float64 // its other side
	Orientation float64 // angle of the long axis from the direction of rising columns towards rising rows, -π/2 to π/2, radians
	Elongation  float64 // Length / Width, at least 1
	Fill        float64 // Area / (Length·Width): 1 for a filled rectangle, π/3 for an ellipse, less when ragged or hollow
}

// ShapeOf measures the component c whose pixels are rowSpacing high and colSpacing wide (1, 1 for pixels). Every pixel counts
// as a filled cell, so a single one has a length and width of one. It returns an error for a component without pixels or a
// spacing that is not positive.
func ShapeOf(c Component, rowSpacing, colSpacing float64) (Shape, error) {
	if c.Area <= 0 || len(c.Runs) == 0 {
		return Shape{}, fmt.Errorf("shape of component %d: it has no pixels", c.Label)
	}
	if !(rowSpacing > 0 && colSpacing > 0) {
		return Shape{}, fmt.Errorf("shape of component %d: pixel spacing %v × %v must be positive", c.Label, rowSpacing, colSpacing)
	}
	var rr, cc, rc float64 // central second moments times area, pixels
	for _, run := range c.Runs {
		n := float64(run.Col1 - run.Col0)
		dr := float64(run.Row) - c.CentroidRow
		dc := float64(run.Col0+run.Col1-1)/2 - c.CentroidCol
		rr += n * (dr*dr + 1.0/12)
		cc += n*dc*dc + n*n*n/12 // a run of n cells of width one
		rc += n * dr * dc
	}
	a := float64(c.Area)
	rr *= rowSpacing * rowSpacing / a
	cc *= colSpacing * colSpacing / a
	rc *= rowSpacing * colSpacing / a
	mean, half := (rr+cc)/2, math.Hypot((rr-cc)/2, rc)
	s := Shape{
		Area:        a * rowSpacing * colSpacing,
		Length:      math.Sqrt(12 * (mean + half)),
		Width:       math.Sqrt(12 * math.Max(mean-half, 0)),
		Orientation: math.Atan2(2*rc, cc-rr) / 2,
	}
	s.Elongation = s.Length / s.Width
	s.Fill = s.Area / (s.Length * s.Width)
	return s, nil
}
