package scene

import (
	"fmt"
	"image/color"
)

// stop is a colour at a level of echo strength.
type stop struct {
	at      float64
	r, g, b uint8
}

// palettes are plain ramps between stops. All but spectrum grow steadily in luminance, up or down; copper follows the
// piecewise-linear ramp of general plotting libraries.
var palettes = map[string][]stop{
	"grey":          {{0, 0, 0, 0}, {1, 255, 255, 255}},
	"grey-inverted": {{0, 255, 255, 255}, {1, 0, 0, 0}},
	"copper":        {{0, 0, 0, 0}, {0.809524, 255, 161, 103}, {1, 255, 199, 127}},
	"blue-white":    {{0, 2, 6, 30}, {0.35, 18, 66, 140}, {0.7, 96, 170, 222}, {1, 250, 253, 255}},
	"green":         {{0, 0, 8, 2}, {0.55, 20, 140, 50}, {1, 205, 255, 190}},
	"amber":         {{0, 10, 4, 0}, {0.4, 120, 62, 4}, {0.8, 240, 168, 40}, {1, 255, 240, 190}},
	"bone":          {{0, 0, 0, 0}, {0.37, 82, 82, 112}, {0.75, 166, 199, 199}, {1, 255, 255, 255}},
	"sepia-paper":   {{0, 250, 240, 220}, {0.5, 170, 125, 75}, {1, 40, 18, 6}},
	"spectrum":      {{0, 0, 0, 20}, {0.2, 0, 30, 160}, {0.4, 0, 170, 190}, {0.6, 60, 200, 60}, {0.8, 240, 220, 30}, {1, 200, 20, 10}},
	// Ramps in the manner of general plotting libraries: even steps of lightness through several hues.
	"heat":          {{0, 10, 0, 0}, {0.36, 230, 20, 0}, {0.72, 255, 225, 20}, {1, 255, 255, 250}},
	"violet-yellow": {{0, 68, 1, 84}, {0.25, 59, 82, 139}, {0.5, 33, 145, 140}, {0.75, 94, 201, 98}, {1, 253, 231, 37}},
	"ember":         {{0, 0, 0, 4}, {0.25, 87, 16, 110}, {0.5, 188, 55, 84}, {0.75, 249, 142, 9}, {1, 252, 255, 164}},
	"rose":          {{0, 0, 0, 4}, {0.25, 81, 18, 124}, {0.5, 183, 55, 121}, {0.75, 252, 137, 97}, {1, 252, 253, 191}},
	"slate-sand":    {{0, 0, 32, 81}, {0.25, 60, 77, 110}, {0.5, 127, 124, 117}, {0.75, 187, 175, 113}, {1, 253, 234, 69}},
	"ochre":         {{0, 4, 2, 0}, {0.3, 96, 42, 4}, {0.65, 200, 112, 10}, {0.9, 255, 210, 20}, {1, 255, 240, 90}},
	"teal":          {{0, 0, 6, 8}, {0.5, 10, 110, 120}, {1, 210, 255, 240}},
	"dusk":          {{0, 6, 4, 20}, {0.3, 80, 20, 100}, {0.6, 200, 70, 80}, {0.85, 250, 170, 80}, {1, 255, 250, 200}},
}

// paletteNames lists the palettes a Display may name, luminance rising or falling steadily except in spectrum.
func paletteNames() []string {
	return []string{"grey", "copper", "blue-white", "grey-inverted", "green", "amber", "bone", "sepia-paper", "dusk", "spectrum",
		"heat", "violet-yellow", "ember", "rose", "slate-sand", "ochre", "teal"}
}

// colours gives the 256 colours of a display: its own stops, or the palette it names.
func (d *Display) colours() (*[256]color.RGBA, error) {
	if len(d.Stops) == 0 {
		return ramp(d.Palette)
	}
	if len(d.Stops) < 2 {
		return nil, fmt.Errorf("palette %q of one colour: want two or more", d.Palette)
	}
	stops := make([]stop, len(d.Stops))
	for i, s := range d.Stops {
		stops[i] = stop{s.At, s.R, s.G, s.B}
	}
	return rampOf(stops), nil
}

// ramp gives the 256 colours of a palette.
func ramp(name string) (*[256]color.RGBA, error) {
	stops, ok := palettes[name]
	if !ok {
		return nil, fmt.Errorf("palette %q is not known", name)
	}
	return rampOf(stops), nil
}

func rampOf(stops []stop) *[256]color.RGBA {
	var out [256]color.RGBA
	k := 0
	for i := range out {
		u := float64(i) / 255
		for k < len(stops)-2 && u > stops[k+1].at {
			k++
		}
		a, b := stops[k], stops[k+1]
		f := (u - a.at) / (b.at - a.at)
		mix := func(x, y uint8) uint8 { return uint8(float64(x) + (float64(y)-float64(x))*f + 0.5) }
		out[i] = color.RGBA{mix(a.r, b.r), mix(a.g, b.g), mix(a.b, b.b), 255}
	}
	return &out
}
