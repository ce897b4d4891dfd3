package worksworld

import (
	"math"
)

// chain is the receiver and display of one capture: what is random in it is drawn once, so that two records differ by their echoes alone.
type chain struct {
	plan          *plan
	world         *world
	grain, floor  []float32 // native: factor and addend
	plain         []float32 // the bottom alone, as native returns it
	rows          []float64 // gain of each native row
	fall, near    float64
	nearWide      float64 // share of the reach
	cross         float64
	power, scale  float64
	rounds        int
	lost          [][2]int // display rows
	lostTone      float32
	dark          bool
	shades        palette
	wx, wy        []tap
	quietest, top float64
}

// tap says which native samples make a display pixel.
type tap struct {
	from int
	w    []float32
}

func newChain(p *plan, w *world, plain []float32) *chain {
	r := p.rng
	c := &chain{plan: p, world: w, fall: span(r, 0, 2.2), nearWide: span(r, 0.02, 0.15), power: span(r, 0.35, 0.75)}
	looks, memory, clump := span(r, 1.2, 5), 0.0, 0.0
	if p.soft {
		looks, c.rounds = span(r, 1.5, 7), r.IntN(3)
	}
	if chance(r, 0.5) {
		clump = span(r, 0.2, 0.6)
	}
	if chance(r, 0.35) {
		memory = span(r, 0.2, 0.6)
	}
	if chance(r, 0.45) {
		c.near = span(r, 0.5, 6)
	}
	if chance(r, 0.3) {
		c.cross = span(r, 0.01, 0.06)
	}
	c.grain = speckle(r, p.nh, p.nw, looks, memory, clump)
	c.floor = make([]float32, p.nw*p.nh)
	hush := math.Exp(span(r, math.Log(0.002), math.Log(0.06)))
	for i := range c.floor {
		c.floor[i] = float32(hush * r.ExpFloat64())
	}
	c.rowGains()
	c.clutter()
	c.wx, c.wy = taps(p.dw, p.nw, p.zx), taps(p.dh, p.nh, p.zy)
	c.dark = chance(r, 0.06)
	c.shades = palettes[0]
	if chance(r, 0.66) {
		c.shades = palettes[1+r.IntN(len(palettes)-1)]
	}
	c.top = span(r, 55, 150)
	if chance(r, 0.3) {
		c.quietest = span(r, 4, 30)
	}
	c.setScale(plain)
	if chance(r, 0.12) {
		c.lostTone = float32(c.quietest)
		for range between(r, 1, 3) {
			n := between(r, 1, 9)
			from := between(r, 5, p.dh-15)
			if k := len(c.lost); k == 0 || from > c.lost[k-1][1]+12 {
				c.lost = append(c.lost, [2]int{from, from + n})
			}
		}
	}
	return c
}

func (c *chain) rowGains() {
	r := c.plan.rng
	c.rows = make([]float64, c.plan.nh)
	level, jitter := 1.0, 0.0
	steps := chance(r, 0.18)
	if chance(r, 0.4) {
		jitter = span(r, 0.01, 0.09)
	}
	stripes := 0.0
	if chance(r, 0.2) {
		stripes = span(r, 0.003, 0.03)
	}
	for i := range c.rows {
		if steps && chance(r, 3/float64(len(c.rows))) {
			level = span(r, 0.6, 1.5)
		}
		c.rows[i] = level * math.Exp(jitter*r.NormFloat64())
		if chance(r, stripes) {
			c.rows[i] *= span(r, 0.5, 1.7)
		}
	}
}

// clutter adds what is no echo of the bottom: the pulse itself at the nadir, specks in the water, and the second echo.
func (c *chain) clutter() {
	p := c.plan
	r := p.rng
	ring, loud := span(r, 0.8, 3.5), math.Exp(span(r, -2.5, 2))
	second, thick := 0.0, span(r, 0.03, 0.12)
	if chance(r, 0.25) {
		second = span(r, 0.08, 0.5)
	}
	specks := 0.0
	if chance(r, 0.5) {
		specks = math.Exp(span(r, math.Log(0.00005), math.Log(0.002)))
	}
	for y := range p.nh {
		h := p.alt[y]
		for x := range p.nw {
			s := math.Abs(float64(x) - p.nadir)
			k := y*p.nw + x
			if s < 3*ring {
				c.floor[k] += float32(loud * math.Exp(-s*s/(ring*ring)) * (0.6 + 0.4*r.Float64()))
			}
			if d := (s - 2*h) / (thick * h); second > 0 && d > -0.3 && d < 5 {
				c.floor[k] += float32(second * math.Exp(-max(d, -d*8)) * r.ExpFloat64())
			}
			if s < h && specks > 0 && chance(r, specks) {
				c.floor[k] += float32(span(r, 0.2, 2.5))
			}
		}
	}
}

func (c *chain) gain(s, h, reach float64) float64 {
	v := math.Exp(-c.fall * s / reach)
	if c.near > 0 {
		v *= 1 + c.near*math.Exp(-max(s-h, 0)/(c.nearWide*reach))
	}
	return v
}

// native is the record after receiver and compression, before it is drawn.
func (c *chain) native(e []float32) []float32 {
	p := c.plan
	out := make([]float32, len(e))
	reach := max(p.nadir, float64(p.nw)-p.nadir)
	gains := make([]float32, int(reach)+2)
	for y := range p.nh {
		if y%8 == 0 {
			for i := range gains {
				gains[i] = float32(c.gain(float64(i), p.alt[y], reach))
			}
		}
		for x := range p.nw {
			k := y*p.nw + x
			v := e[k] * gains[int(math.Abs(float64(x)-p.nadir))]
			if m := int(2*p.nadir) - x; c.cross > 0 && m >= 0 && m < p.nw {
				v += float32(c.cross) * e[y*p.nw+m]
			}
			v = v*c.grain[k] + c.floor[k]
			out[k] = float32(c.rows[y] * math.Pow(float64(v), c.power))
		}
	}
	blur(out, p.nh, p.nw, c.rounds)
	return out
}

func (c *chain) setScale(plain []float32) {
	p := c.plan
	c.plain = c.native(plain)
	n := c.plain
	var sum, num float64
	for y := 0; y < p.nh; y += 3 {
		for x := 0; x < p.nw; x += 5 {
			if math.Abs(float64(x)-p.nadir) > 1.1*p.alt[y] {
				sum += float64(n[y*p.nw+x])
				num++
			}
		}
	}
	c.scale = c.top / max(sum/max(num, 1), 1e-6)
}

// show is what native returned as the display draws it, 0 to 255, strong echoes high.
func (c *chain) show(n []float32) []float32 {
	p := c.plan
	mid := make([]float32, p.nh*p.dw)
	for y := range p.nh {
		row := n[y*p.nw : (y+1)*p.nw]
		for x, t := range c.wx {
			var v float32
			for i, w := range t.w {
				v += w * row[t.from+i]
			}
			mid[y*p.dw+x] = v
		}
	}
	out := make([]float32, p.dh*p.dw)
	k, low := float32(c.scale), float32(c.quietest)
	for y, t := range c.wy {
		row := out[y*p.dw : (y+1)*p.dw]
		for i, w := range t.w {
			for x, v := range mid[(t.from+i)*p.dw : (t.from+i+1)*p.dw] {
				row[x] += w * v
			}
		}
		for x, v := range row {
			row[x] = min(max(v*k+low, 0), 255)
		}
	}
	for _, l := range c.lost {
		for i := l[0] * p.dw; i < l[1]*p.dw; i++ {
			out[i] = c.lostTone
		}
	}
	return out
}

// taps resamples n native samples to d display pixels of zoom z: means where the display is coarser, straight lines where it is finer.
func taps(d, n int, z float64) []tap {
	out := make([]tap, d)
	wide := max(1, 1/z)
	for i := range out {
		mid := (float64(i)+0.5)/z - 0.5
		from, to := max(int(math.Ceil(mid-wide)), 0), min(int(math.Floor(mid+wide)), n-1)
		from = min(from, to)
		t := tap{from: from}
		var sum float32
		for k := from; k <= to; k++ {
			w := float32(max(1-math.Abs(float64(k)-mid)/wide, 1e-6))
			t.w = append(t.w, w)
			sum += w
		}
		for k := range t.w {
			t.w[k] /= sum
		}
		out[i] = t
	}
	return out
}
