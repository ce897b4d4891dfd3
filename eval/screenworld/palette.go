package screenworld

import (
	"image/color"
	"math"
	"math/rand/v2"
)

// palette is the colours of echo strength, from weakest to strongest.
type palette struct {
	name         string
	darkIsStrong bool
	colours      [256]color.RGBA
}

func (p *palette) at(v float32) color.RGBA { return p.colours[int(min(max(v, 0), 1)*255)] }

// ramp is a palette as points along the way from dark to bright: red, green and blue, 0 to 255.
type ramp struct {
	name   string
	points [][3]float64
}

var ramps = []ramp{
	{"grey", [][3]float64{{0, 0, 0}, {255, 255, 255}}},
	{"amber", [][3]float64{{4, 2, 0}, {120, 62, 4}, {232, 156, 28}, {255, 240, 170}}},
	{"copper", [][3]float64{{0, 0, 0}, {150, 88, 54}, {255, 198, 140}}},
	{"sand", [][3]float64{{22, 14, 6}, {128, 98, 58}, {214, 184, 124}, {255, 250, 226}}},
	{"ice", [][3]float64{{0, 4, 26}, {10, 74, 140}, {96, 190, 226}, {240, 252, 255}}},
	{"moss", [][3]float64{{0, 8, 2}, {20, 94, 40}, {120, 196, 90}, {244, 255, 210}}},
	{"rose", [][3]float64{{10, 0, 12}, {124, 30, 88}, {230, 120, 130}, {255, 232, 214}}},
	{"ember", [][3]float64{{0, 0, 0}, {92, 8, 60}, {206, 60, 30}, {250, 170, 40}, {255, 255, 190}}},
	{"lagoon", [][3]float64{{52, 4, 86}, {52, 90, 140}, {32, 146, 138}, {110, 206, 88}, {250, 230, 40}}},
	{"dusk", [][3]float64{{8, 4, 60}, {90, 10, 150}, {204, 70, 110}, {246, 160, 60}, {240, 246, 60}}},
	{"spectrum", [][3]float64{{0, 0, 40}, {0, 60, 220}, {0, 200, 200}, {90, 220, 40}, {250, 220, 0}, {240, 40, 0}}},
	{"storm", [][3]float64{{0, 0, 0}, {30, 40, 110}, {120, 90, 160}, {220, 150, 120}, {255, 244, 200}}},
}

// newPalette draws a palette: one of the ramps or one of a hue of its own, either way round, in many steps or few.
func newPalette(r *rand.Rand) *palette {
	c := pick(r, ramps)
	if chance(r, 0.25) {
		c = hueRamp(r)
	}
	p := &palette{name: c.name}
	if chance(r, 0.2) {
		p.darkIsStrong = true
		p.name += "-inverse"
		if c.name == "spectrum" { // its far end is no brighter than its middle
			p.darkIsStrong = false
		}
	}
	steps := 256
	if chance(r, 0.12) {
		steps = 12 + r.IntN(40)
	}
	for i := range p.colours {
		v := math.Floor(float64(i)/256*float64(steps)) / float64(steps-1)
		if p.darkIsStrong {
			v = 1 - v
		}
		p.colours[i] = c.at(v)
	}
	return p
}

func (c ramp) at(v float64) color.RGBA {
	at := min(max(v, 0), 1) * float64(len(c.points)-1)
	k := min(int(at), len(c.points)-2)
	t := at - float64(k)
	var out [3]uint8
	for i := range out {
		out[i] = uint8(c.points[k][i]*(1-t) + c.points[k+1][i]*t + 0.5)
	}
	return color.RGBA{out[0], out[1], out[2], 255}
}

// hueRamp is a ramp from nearly black to nearly white over one hue, or two.
func hueRamp(r *rand.Rand) ramp {
	hue := r.Float64()
	low := hued(hue+between(r, -0.12, 0.12), between(r, 0.3, 1), between(r, 0.3, 0.5))
	high := hued(hue, between(r, 0.15, 0.8), between(r, 0.75, 0.95))
	return ramp{"tint", [][3]float64{{low[0] * 0.08, low[1] * 0.08, low[2] * 0.08}, low, high, {252, 252, 248}}}
}

// hued is a colour of a hue (a turn is 1), a saturation and a value, 0 to 1.
func hued(hue, saturation, value float64) [3]float64 {
	var out [3]float64
	for i := range out {
		d := math.Abs(math.Remainder(hue-float64(i)/3, 1)) * 6
		out[i] = 255 * value * (1 - saturation*(1-min(max(2-d, 0), 1)))
	}
	return out
}

func solid(c [3]float64) color.RGBA { return color.RGBA{uint8(c[0]), uint8(c[1]), uint8(c[2]), 255} }

// mixed lies between two colours, t from the first.
func mixed(a, b color.RGBA, t float64) color.RGBA {
	f := func(x, y uint8) uint8 { return uint8(float64(x)*(1-t) + float64(y)*t) }
	return color.RGBA{f(a.R, b.R), f(a.G, b.G), f(a.B, b.B), 255}
}
