package worksworld

import (
	"math"

	"shadowgap/detect"
)

// world is the bottom of a capture with all that lies on it.
type world struct {
	plan     *plan
	sides    []*side
	things   []*thing // by id - 1
	patches  []patch
	penumbra float64 // lines of sight below the horizon, as a slope, over which light fades
	fill     float64 // light that reaches into shadows
	beam0    float64 // rows of spread at the nearest sample
	beam1    float64 // and at the farthest
}

// patch is a region that holds no marks of its own, in native pixels of slant range.
type patch struct {
	kind           string
	side           *side
	s0, s1, r0, r1 float64
}

// side is the bottom of one side, rows by ground range in native pixels. Heights are native pixels too.
type side struct {
	world    *world
	name     detect.Side
	reach    int // samples of slant range
	ground   int // cells of ground range
	nearest  float64
	z, rho   []float32 // bottom
	up       []float32 // things over it
	thingRho []float32
	id       []int16
	swimmers []swimmer
	taken    []disc
}

type disc struct{ s, row, r float64 }

func newWorld(p *plan) *world {
	r := p.rng
	w := &world{plan: p, penumbra: span(r, 0.003, 0.02), fill: span(r, 0.015, 0.1), beam0: span(r, 0, 0.5)}
	w.beam1 = w.beam0 + span(r, 0.1, 1.4)
	if p.side != detect.Starboard && p.nadir > 8 {
		w.addSide(detect.Port, p.nadir, p.nadir-float64(p.nw))
	}
	if p.side != detect.Port && p.nadir < float64(p.nw)-8 {
		w.addSide(detect.Starboard, float64(p.nw)-p.nadir, -p.nadir)
	}
	return w
}

func (w *world) addSide(name detect.Side, reach, nearest float64) {
	s := &side{world: w, name: name, reach: int(reach) + 2, nearest: max(nearest, 0)}
	low := w.plan.alt[0]
	for _, h := range w.plan.alt {
		low = min(low, h)
	}
	far := float64(s.reach)
	s.ground = max(int(math.Sqrt(max(far*far-low*low, 0)))+2, 8)
	n := s.ground * w.plan.nh
	s.up, s.thingRho, s.id = make([]float32, n), make([]float32, n), make([]int16, n)
	w.sides = append(w.sides, s)
}

// column is the native x of a sample of slant range.
func (s *side) column(i int) int {
	if s.name == detect.Port {
		return int(math.Floor(s.world.plan.nadir)) - i
	}
	return int(math.Floor(s.world.plan.nadir)) + i
}

// groundOf is the ground range at a slant range over a row.
func (s *side) groundOf(slant, row float64) float64 {
	h := s.altAt(row)
	return math.Sqrt(max(slant*slant-h*h, 1))
}

func (s *side) altAt(row float64) float64 {
	a := s.world.plan.alt
	return a[min(max(int(row), 0), len(a)-1)]
}

// layBottom lays relief and reflectivity, and then what looks like things and is none.
func (w *world) layBottom() {
	r := w.plan.rng
	n := len(w.sides)
	slope, tone := math.Exp(span(r, math.Log(0.004), math.Log(0.07))), span(r, 0.1, 0.5)
	betaZ, betaR := span(r, 0.65, 1.3), span(r, 0.35, 1)
	edge := chance(r, 0.35)
	edgeAt, edgeStep := span(r, -0.8, 0.8), span(r, 0.35, 1.1)
	stretchR := w.plan.ay * math.Exp(r.NormFloat64()*0.8)
	for _, s := range w.sides {
		rows, cols := w.plan.nh, s.ground
		s.z = cloud(r, rows, cols, 220*w.plan.unit, betaZ, w.plan.ay)
		scaleSlope(s.z, cols, slope)
		s.rho = cloud(r, rows, cols, 180*w.plan.unit, betaR, stretchR)
		var mud []float32
		if edge {
			mud = cloud(r, rows, cols, 260*w.plan.unit, 0.8, w.plan.ay)
		}
		for i, v := range s.rho {
			l := tone * float64(v)
			if edge && float64(mud[i]) > edgeAt {
				l -= edgeStep
			}
			s.rho[i] = float32(math.Exp(l))
		}
	}
	for range between(r, 1, 7) {
		w.decoy(w.sides[r.IntN(n)])
	}
}

func scaleSlope(z []float32, cols int, slope float64) {
	var q float64
	for i := 1; i < len(z); i++ {
		if i%cols != 0 {
			d := float64(z[i] - z[i-1])
			q += d * d
		}
	}
	k := float32(slope / math.Sqrt(max(q/float64(len(z)), 1e-12)))
	for i := range z {
		z[i] *= k
	}
}

func (w *world) decoy(s *side) {
	r := w.plan.rng
	at, ok := s.free(20, false)
	if !ok {
		return
	}
	switch r.IntN(9) {
	case 0:
		s.ripples(at)
	case 1:
		s.furrows(at)
	case 2, 3:
		s.weed(at)
	case 4, 5:
		s.shell(at)
	case 6, 7:
		s.litter(at)
	default:
		s.hollows(at)
	}
}

// ripples runs sand waves over a soft-edged part of the side: ripples a few pixels long or dunes of tens.
func (s *side) ripples(at spot) {
	p := s.world.plan
	r := p.rng
	long := span(r, 5, 16) * p.unit
	steep := span(r, 0.06, 0.2)
	if chance(r, 0.3) {
		long, steep = span(r, 30, 110)*p.unit, span(r, 0.03, 0.09)
	}
	turn := cloud(r, p.nh, s.ground, 120*p.unit, 1, p.ay)
	dir := r.NormFloat64() * 0.5
	cx, cy := math.Cos(dir), math.Sin(dir)
	wide := span(r, 60, 400) * p.unit
	amp := steep * long / (2 * math.Pi)
	for y := range p.nh {
		for x := range s.ground {
			k := y*s.ground + x
			dx, dy := float64(x)-at.g, (float64(y)-at.row)/p.ay
			d := math.Hypot(dx, dy)/wide + 0.3*float64(turn[k])
			if d > 1.3 {
				continue
			}
			ph := 2*math.Pi*(dx*cx+dy*cy)/long + 1.1*float64(turn[k])
			s.z[k] += float32(amp * (math.Sin(ph) + 0.3*math.Sin(2*ph+1)) * min(1, (1.3-d)*2.5))
		}
	}
}

func (s *side) furrows(at spot) {
	p := s.world.plan
	r := p.rng
	dir := r.Float64() * math.Pi
	for range between(r, 1, 4) {
		a := at
		a.turn = dir + 0.1*r.NormFloat64()
		long, deep := span(r, 60, 350), span(r, 0.15, 0.55)
		off := span(r, -40, 40)
		a.line(arc(r, long, span(r, 0, 0.3), off), 5, func(_, d float64, k int) {
			s.z[k] += float32(p.unit * deep * (-math.Exp(-d*d/2.2) + 0.45*math.Exp(-(math.Abs(d)-2.6)*(math.Abs(d)-2.6)/1.4)))
		})
	}
}

func (s *side) hollows(at spot) {
	r := s.world.plan.rng
	for range between(r, 1, 6) {
		rx, ry := span(r, 5, 22), span(r, 5, 22)
		deep := span(r, 0.1, 0.22) * min(rx, ry)
		at.patch(span(r, -60, 60), span(r, -60, 60), rx, ry, 0.15, func(d float64, k int) {
			s.z[k] -= float32(at.u * deep * (1 - d*d) * (1 - d*d))
		})
	}
}

// shell scatters bright patches of no height, ragged at the rim.
func (s *side) shell(at spot) {
	p := s.world.plan
	r := p.rng
	grain := cloud(r, p.nh, s.ground, 24*p.unit, 0.5, p.ay)
	gain := span(r, 0.5, 1.3)
	for range between(r, 1, 5) {
		rx, ry := span(r, 12, 80), span(r, 12, 80)
		at.patch(span(r, -90, 90), span(r, -90, 90), rx, ry, 0.25, func(d float64, k int) {
			v := 1.4*(1-d) + 0.45*float64(grain[k])
			s.rho[k] *= float32(math.Exp(gain * min(max(v, 0), 1)))
		})
	}
}

// weed grows tufts: soft, bright, hardly a shadow.
func (s *side) weed(at spot) {
	p := s.world.plan
	r := p.rng
	spreadX, spreadY := span(r, 8, 120), span(r, 8, 120)
	tufts := int(6 + spreadX*spreadY/span(r, 60, 250))
	b := at.extent()
	for range tufts {
		x, y := r.NormFloat64()*0.5*spreadX, r.NormFloat64()*0.5*spreadY
		rad, tall, rho := span(r, 1.5, 6), span(r, 0.4, 2.4), span(r, 0.2, 0.9)
		at.patch(x, y, rad, rad*span(r, 0.6, 1.6), 0.4, func(d float64, k int) {
			q := 1 - d
			s.z[k] += float32(at.u * tall * q * (0.5 + r.Float64()) * 0.5)
			s.rho[k] *= float32(math.Exp(rho * min(1, 2*q)))
		})
		b.add(x, y, rad)
	}
	s.world.patches = append(s.world.patches, b.patch("weed"))
}

// litter strews stones and pits of a pixel or two over a wide stretch: rough ground in which nothing is worth a mark.
func (s *side) litter(at spot) {
	p := s.world.plan
	r := p.rng
	wide, high := span(r, 40, 200), span(r, 40, 250)
	tall := span(r, 0.2, 0.7)
	for range int(wide * high / span(r, 60, 400)) {
		x, y := r.NormFloat64()*0.6*wide, r.NormFloat64()*0.6*high
		up := tall * r.NormFloat64()
		at.patch(x, y, span(r, 0.6, 1.8), span(r, 0.6, 1.8), 0.2, func(d float64, k int) {
			s.z[k] += float32(at.u * up * (1 - d*d))
		})
	}
}
