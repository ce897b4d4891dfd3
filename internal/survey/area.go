package survey

import (
	"math"

	"shadowgap/detect"
	"shadowgap/features"
)

// RegionArea returns the area of a region of a panel in square metres, its width taken along the bottom and its length from
// the row spacing in metres; ok is false where the panel has no scale or no nadir. What lies inside the water column has no
// ground range and doesn't count. The error is that of the altitude, of an edge of two pixels on each side and of the row
// spacing.
func RegionArea(panel detect.PanelRecord, region detect.Region, spacing features.Measured) (area features.Measured, ok bool) {
	perPx, h, ok := panelScale(panel, region.Box.Y+region.Box.H/2)
	if !ok || len(panel.Nadir) == 0 || region.Box.W <= 0 || region.Box.H <= 0 {
		return features.Measured{}, false
	}
	nadir := nearestRow(panel.Nadir, float64(region.Box.Y)+float64(region.Box.H)/2)
	width := func(left, right, altitude float64) float64 {
		w := 0.0
		for _, side := range [][2]float64{{nadir - right, nadir - left}, {left - nadir, right - nadir}} {
			w += ground(side[1]*perPx, altitude) - ground(side[0]*perPx, altitude)
		}
		return w
	}
	left, right := float64(region.Box.X), float64(region.Box.X+region.Box.W)
	w := features.Measured{Value: width(left, right, h.Value)}
	w.SD = math.Hypot(width(left, right, math.Max(h.Value-h.SD, 0))-w.Value, (width(left-2, right+2, h.Value)-w.Value)/math.Sqrt2)
	length := features.Product(features.Measured{Value: float64(region.Box.H), SD: 2 * math.Sqrt2}, spacing)
	return features.Product(w, length), true
}

func ground(s, h float64) float64 {
	if s <= h {
		return 0
	}
	return math.Sqrt((s - h) * (s + h))
}

// panelScale returns the slant range of a pixel in metres and the altitude at a row in metres.
func panelScale(p detect.PanelRecord, row int) (perPx float64, h features.Measured, ok bool) {
	if len(p.AltitudeM) == 0 || len(p.AltitudeM) != len(p.AltitudePx) {
		return 0, h, false
	}
	best := 0
	for i, a := range p.AltitudeM {
		if math.Abs(a[0]-float64(row)) < math.Abs(p.AltitudeM[best][0]-float64(row)) {
			best = i
		}
	}
	m, px := p.AltitudeM[best], p.AltitudePx[best]
	if !(m[1] > 0 && px[1] > 0) {
		return 0, h, false
	}
	return m[1] / px[1], features.Measured{Value: m[1], SD: m[2]}, true
}

// PanelScale returns the slant range of a pixel in metres near a row: from the altitudes where those are known, else from the
// range setting over the wider side. It is false where the range is unknown.
func PanelScale(p detect.PanelRecord, row float64) (perPx float64, ok bool) {
	if perPx, _, ok = panelScale(p, int(row)); ok {
		return perPx, true
	}
	if p.RangeM == nil || len(p.Nadir) == 0 {
		return 0, false
	}
	x := nearestRow(p.Nadir, row) + 0.5 // pixel centres are whole numbers, edges of a box lie between
	side := math.Max(x-float64(p.Box.X), float64(p.Box.X+p.Box.W)-x)
	return *p.RangeM / side, side > 0
}

func nearestRow(profile []detect.RowX, row float64) float64 {
	best := profile[0]
	for _, p := range profile {
		if math.Abs(p[0]-row) < math.Abs(best[0]-row) {
			best = p
		}
	}
	return best[1]
}
