package groundworld

import (
	"math"
	"math/rand/v2"

	"shadowgap/detect"
)

// dice are random choices.
type dice struct{ *rand.Rand }

func (d dice) in(lo, hi float64) float64    { return lo + (hi-lo)*d.Float64() }
func (d dice) scale(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }
func (d dice) may(p float64) bool           { return d.Float64() < p }
func (d dice) upTo(lo, hi int) int          { return lo + d.IntN(hi-lo+1) }

type frame int

// What a picture shows of a swath.
const (
	wholeSwath frame = iota
	oneSide
	tile
)

// plan is what a capture will be, drawn by lot before anything costly.
type plan struct {
	d            dice
	frame        frame
	side         detect.Side // of one-sided pictures and tiles; drawn mirrored for port
	wide, high   int         // pixels of the panel
	margin       [4]int      // pixels left, above, right, below
	sx, sy       float64     // pixels a bin, pixels a ping
	bins, pings  int         // of a side
	rangeM       float64     // slant range of the last bin
	startM       float64     // slant range of the first
	binM, pingM  float64
	altM         float64 // mean height of the transducer over the bottom
	kinds        []string
	grounds      []string
	texture      texture
	tone         tone
	faults       faults
	reliefM      float64 // standard deviation of heights
	lambert      float64 // exponent of the angle law
	beamRad      float64 // width along track
	shade        float64 // slopes over the grazing angle at the range's end; from about 0.5 on the bottom shades itself
	roughB       float64 // how steeply relief falls with frequency
	mottle       float64 // standard deviation of log reflectivity
	mottleB      float64
	heave, climb float64 // m; share of altitude that it wanders
}

// texture is the grain of the bottom's echo.
type texture struct {
	looks   float64
	kShape  float64 // shape of a K-distribution's slow part, 0 for none
	blurX   float64 // 0 to 1, how much of a bin's echo carries into the next
	blurY   float64
	leaks   float64 // noise floor over the bottom's mean echo
	tvg     float64 // share of the range law that is taken out
	fall    float64 // what stays, in nepers over the range
	nearHot float64 // boost beside the first return
}

// tone is how strength becomes colour.
type tone struct {
	gamma, exposure, black float64
	kernel                 int
	soften                 bool
	palette                *palette
	jpeg                   int // quality, 0 for PNG
	nadirLine              bool
}

// newPlan draws a capture's plan.
func newPlan(seed int64) *plan {
	p := &plan{d: dice{rand.New(rand.NewPCG(uint64(seed), 0x6f0d))}}
	p.planFrame()
	p.planScale()
	p.planBottom()
	p.planTexture()
	p.planTone()
	p.faults = planFaults(p.d, p.frame)
	p.planThings()
	return p
}

func (p *plan) planFrame() {
	d := p.d
	p.side = detect.Starboard
	switch roll := d.Float64(); {
	case roll < 0.5:
		p.wide, p.high = int(d.scale(340, 1600)), int(d.scale(256, 1600))
		p.side = ""
	case roll < 0.75:
		p.frame = oneSide
		p.wide, p.high = int(d.scale(256, 1200)), int(d.scale(256, 1600))
	default:
		p.frame = tile
		p.wide, p.high = int(d.scale(160, 500)), int(d.scale(160, 500))
	}
	if p.frame != wholeSwath && d.may(0.5) {
		p.side = detect.Port
	}
	if d.may(0.15) && p.frame != tile {
		for i := range p.margin {
			p.margin[i] = d.IntN(14)
		}
	}
	for _, side := range []struct{ panel, before, after *int }{
		{&p.wide, &p.margin[0], &p.margin[2]}, {&p.high, &p.margin[1], &p.margin[3]}} {
		*side.panel -= max(0, *side.panel+*side.before+*side.after-1600)
	}
}

// mostCells bounds a side's record, so that a capture costs little; bins by pings.
const mostCells = 900_000

func (p *plan) planScale() {
	d := p.d
	switch roll := d.Float64(); {
	case roll < 0.3:
		p.sx = d.scale(1.5, 4)
	case roll < 0.7:
		p.sx = d.scale(0.8, 1.5)
	default:
		p.sx = d.scale(0.45, 0.8)
	}
	p.sy = min(4, max(0.4, p.sx*d.scale(0.6, 1.7)))
	half := float64(p.wide)
	if p.frame == wholeSwath {
		p.wide -= p.wide % 2
		half = float64(p.wide) / 2
	}
	if over := half * float64(p.high) / (p.sx * p.sy) / mostCells; over > 1 {
		p.sx *= math.Sqrt(over)
		p.sy *= math.Sqrt(over)
	}
	p.bins, p.pings = max(40, int(half/p.sx)), max(40, int(float64(p.high)/p.sy))
	p.sx, p.sy = half/float64(p.bins), float64(p.high)/float64(p.pings)
	p.rangeM = d.scale(12, 110)
	p.altM = p.rangeM * d.scale(0.04, 0.5)
	p.binM = p.rangeM / float64(p.bins)
	if p.frame == tile {
		p.startM = max(1.5*p.altM, p.rangeM*d.in(0.1, 0.8))
		p.binM = (p.rangeM - p.startM) / float64(p.bins) * d.in(0.3, 1)
		p.rangeM = p.startM + p.binM*float64(p.bins)
	}
	p.pingM = p.binM / p.sx * d.scale(0.5, 2.2) * p.sy
	p.beamRad = d.scale(0.003, 0.02)
	p.heave = d.scale(0.001, 0.03)
	p.climb = d.scale(0.01, 0.2)
	if p.frame == tile {
		p.climb = 0.02
	}
}

func (p *plan) planBottom() {
	d := p.d
	p.roughB = d.in(1.6, 3.2)
	p.mottleB = d.in(1.6, 3)
	p.reliefM = min(0.3*p.altM, p.altM*d.scale(0.004, 0.1))
	p.shade = d.scale(0.06, 0.9)
	p.mottle = d.scale(0.06, 0.55)
	p.lambert = d.in(0.7, 1.5)
	for range d.upTo(0, 4) {
		p.grounds = append(p.grounds, groundKinds[d.IntN(len(groundKinds))])
	}
}

func (p *plan) planTexture() {
	d := p.d
	t := texture{looks: d.scale(1.2, 14), blurX: d.in(0, 0.7), blurY: d.in(0, 0.5), leaks: d.scale(0.004, 0.06),
		tvg: d.in(0.7, 1.05), fall: d.in(-0.3, 2.2)}
	if d.may(0.4) {
		t.kShape = d.scale(0.8, 8)
	}
	if d.may(0.3) {
		t.nearHot = d.in(0.5, 5)
	}
	p.texture = t
}

func (p *plan) planTone() {
	d := p.d
	t := tone{gamma: d.in(0.35, 0.8), exposure: d.in(0.25, 0.55), black: d.in(-0.02, 0.08), kernel: d.IntN(kernels), soften: d.may(0.25),
		palette: &palettes[d.IntN(len(palettes))]}
	switch roll := d.Float64(); {
	case roll < 0.1:
		t.exposure = d.in(0.6, 0.95)
	case roll < 0.2:
		t.exposure = d.in(0.1, 0.2)
	}
	if d.may(0.6) {
		t.jpeg = d.upTo(60, 95)
	}
	t.nadirLine = p.frame == wholeSwath && d.may(0.25)
	p.tone = t
}

func (p *plan) planThings() {
	d := p.d
	if d.may(0.2) {
		return
	}
	total := 0.0
	for _, r := range recipes {
		total += r.weight
	}
	for range 1 + int(15.99*math.Pow(d.Float64(), 1.8)) {
		roll := d.Float64() * total
		for _, r := range recipes {
			if roll -= r.weight; roll < 0 {
				p.kinds = append(p.kinds, r.kind)
				break
			}
		}
	}
}
