package detect

import (
	"math"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// What the scale is uncertain by, besides the range setting itself; one standard deviation each.
const (
	edgesOfSidePx   = 0.7   // half a pixel on either end of a side
	soundSpeedShare = 0.015 // a display takes one sound speed; in fresh water it is 1,403 m/s at 0 °C, 1,509 at 30 °C (Marczak, 1997)
)

// scaleOf returns metres of slant (or ground, when corrected) range per pixel with its error, or nil when the range is
// unknown or the nadir isn't in view.
func (v *view) scaleOf(p *frame.Panel, opt Options) *features.Measured {
	if opt.RangeM == 0 || v.nadir == nil {
		return nil
	}
	sidePx := 0.0
	for _, x := range v.nadir.x {
		sidePx += math.Max(x, float64(p.Echo.Cols)-x) / float64(len(v.nadir.x))
	}
	m, err := features.SlantPerPixel(opt.RangeM, sidePx)
	if err != nil {
		return nil
	}
	return &features.Measured{Value: m, SD: m * math.Hypot(edgesOfSidePx/sidePx, soundSpeedShare)}
}
