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
	"dusk":          {{0, 6, 4, 20}, {0.3, 80, 20, 100}, {0.6, 200, 70, 80}, {0.85, 250, 170, 80}, {1, 255, 250, 200}},
}

// PaletteNames lists the palettes a Display may name, luminance rising or falling steadily except in the last.
func PaletteNames() []string {
	return []string{"grey", "copper", "blue-white", "grey-inverted", "green", "amber", "bone", "sepia-paper", "dusk", "spectrum"}
}

// ramp gives the 256 colours of a palette.
func ramp(name string) (*[256]color.RGBA, error) {
	stops, ok := palettes[name]
	if !ok {
		return nil, fmt.Errorf("palette %q is not known", name)
	}
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
	return &out, nil
}
