// Package overlaytest makes a small picture of an invented lake's bottom with the records that belong to it, for tests of
// what is drawn from them. It is a drawing, not a simulation: nothing may be measured on it.
package overlaytest

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/features"
)

// Width, Height and Nadir are the picture's size and nadir column in pixels; RangePerPx is its scale in metres.
const (
	Width      = 800
	Height     = 480
	Nadir      = 400
	RangePerPx = 0.05
)

// Scene returns a copper-toned capture with one hump, a rock field and a mark of each class, all under the given name.
func Scene(name string, seed uint64) (*image.RGBA, detect.CaptureRecord, []detect.MarkRecord) {
	rng := rand.New(rand.NewPCG(seed, 7))
	alt := func(y int) float64 { // pixels
		return 90 + 12*math.Sin(float64(y)/60) - 40*math.Exp(-math.Pow((float64(y)-300)/35, 2))
	}
	marks := []detect.MarkRecord{
		mark(name, "m1", detect.Starboard, detect.SuspendedTarget, detect.Box{X: 560, Y: 100, W: 16, H: 10},
			&detect.Box{X: 588, Y: 98, W: 34, H: 13}, 12, true,
			detect.Odds{detect.BottomObject: .06, detect.SuspendedTarget: .88, detect.RaisedStructure: .01, detect.Clutter: .05}),
		mark(name, "m2", detect.Port, detect.BottomObject, detect.Box{X: 190, Y: 200, W: 22, H: 16},
			&detect.Box{X: 140, Y: 199, W: 50, H: 18}, 0, false,
			detect.Odds{detect.BottomObject: .52, detect.SuspendedTarget: .41, detect.RaisedStructure: .04, detect.Clutter: .03}),
		mark(name, "m3", detect.Starboard, detect.RaisedStructure, detect.Box{X: 600, Y: 340, W: 20, H: 60},
			&detect.Box{X: 620, Y: 338, W: 130, H: 64}, 0, false,
			detect.Odds{detect.BottomObject: .1, detect.SuspendedTarget: .02, detect.RaisedStructure: .8, detect.Clutter: .08}),
		mark(name, "m4", detect.Port, detect.SuspendedTarget, detect.Box{X: 370, Y: 296, W: 12, H: 8}, nil, 0, true,
			detect.Odds{detect.BottomObject: .02, detect.SuspendedTarget: .6, detect.RaisedStructure: 0, detect.Clutter: .38}),
		mark(name, "m5", detect.Port, detect.Clutter, detect.Box{X: 60, Y: 420, W: 14, H: 9}, &detect.Box{X: 50, Y: 420, W: 10, H: 9}, 0,
			false,
			detect.Odds{detect.BottomObject: .2, detect.SuspendedTarget: .1, detect.RaisedStructure: .05, detect.Clutter: .65}),
	}
	img := image.NewRGBA(image.Rect(0, 0, Width, Height))
	for y := range Height {
		for x := range Width {
			r := math.Abs(float64(x) + 0.5 - Nadir)
			level := 0.42 * math.Exp(-r/900)
			switch {
			case r < 3:
				level = 0.9
			case r < alt(y):
				level = 0.03
			}
			p := image.Pt(x, y)
			for _, m := range marks {
				if m.Shadow != nil && p.In(m.Shadow.Rect()) {
					level = 0.03
				}
				if p.In(m.Highlight.Rect()) {
					level = 0.8
				}
			}
			e := level * math.Sqrt(-2*math.Log(1-rng.Float64())) * 0.8
			e = min(1, e)
			img.SetRGBA(x, y, color.RGBA{uint8(255 * math.Pow(e, 0.8)), uint8(190 * e), uint8(90 * e * e), 255})
		}
	}
	rangeM := float64(Nadir) * RangePerPx
	p := detect.PanelRecord{
		Box: detect.Box{W: Width, H: Height}, RangeM: &rangeM,
		Confidence: detect.SideConfidence{Port: .93, Starboard: .97},
		Humps:      []detect.Hump{{Rows: [2]int{255, 345}, ReliefPx: 40, ReliefM: &features.Measured{Value: 2, SD: .15}}},
		Regions:    []detect.Region{{Kind: "rock-field", Box: detect.Box{X: 170, Y: 250, W: 130, H: 110}}},
	}
	for y := 0; y < Height; y += 5 {
		h, fy := alt(y), float64(y)
		p.Nadir = append(p.Nadir, detect.RowX{fy, Nadir})
		p.FirstReturn.Port = append(p.FirstReturn.Port, detect.RowX{fy, Nadir - h})
		p.FirstReturn.Starboard = append(p.FirstReturn.Starboard, detect.RowX{fy, Nadir + h})
		p.AltitudePx = append(p.AltitudePx, detect.RowAltitude{fy, h, 1.5})
		p.AltitudeM = append(p.AltitudeM, detect.RowAltitude{fy, h * RangePerPx, 1.5 * RangePerPx})
	}
	capt := detect.CaptureRecord{
		Schema: detect.SchemaVersion, Capture: name, SHA256: fmt.Sprintf("%064x", seed), Status: detect.StatusRead,
		Width: Width, Height: Height, Panels: []detect.PanelRecord{p}, Interest: 0.83,
		Holds:  []detect.HoldRecord{{ID: "h1", Marks: []string{"m4"}, Odds: 0.55}},
		Counts: map[detect.Class]int{detect.SuspendedTarget: 2, detect.BottomObject: 1, detect.RaisedStructure: 1, detect.Clutter: 1},
	}
	return img, capt, marks
}

func mark(
	capture, id string, side detect.Side, class detect.Class, high detect.Box, shadow *detect.Box, gap float64, hump bool, odds detect.Odds,
) detect.MarkRecord {
	hull := high.Rect()
	if shadow != nil {
		hull = hull.Union(shadow.Rect())
	}
	slant := math.Abs(float64(high.X) + float64(high.W)/2 - Nadir)
	px := features.Measured{Value: slant, SD: 0.7}
	metres := px.Scale(RangePerPx)
	m := detect.MarkRecord{
		Schema: detect.SchemaVersion, Capture: capture, Mark: id, Side: side, Class: class, Odds: odds,
		Box: detect.BoxOf(hull), Highlight: &high, Shadow: shadow, Rows: [2]int{hull.Min.Y, hull.Max.Y},
		SlantPx: px, SlantM: &metres, Contrast: 4.2, OnHump: hump,
		Reasons: []string{fmt.Sprintf("highlight %d × %d px, 4.2 speckle standard deviations over the bottom", high.W, high.H)},
	}
	alt := features.Measured{Value: 4.5, SD: 0.08}
	m.AltitudeM = &alt
	if shadow == nil {
		m.Reasons = append(m.Reasons, "inside the water column, 14.5 px short of the first return")
		return m
	}
	g := features.Measured{Value: gap, SD: 1.4}
	gm := g.Scale(RangePerPx)
	s := features.Measured{Value: float64(shadow.W), SD: 1.4}
	sm := s.Scale(RangePerPx)
	ground := features.Measured{Value: math.Sqrt(max(0, metres.Value*metres.Value-4.5*4.5)), SD: 0.06}
	height := features.Measured{Value: 0.62, SD: 0.09}
	off := features.Measured{Value: gap * 0.03, SD: 0.11}
	m.GapPx, m.GapM, m.ShadowPx, m.ShadowM, m.GroundM, m.HeightM, m.OffBottomM = &g, &gm, &s, &sm, &ground, &height, &off
	m.Reasons = append(m.Reasons, fmt.Sprintf("gap between highlight and shadow %.1f ± 1.4 px", gap))
	return m
}
