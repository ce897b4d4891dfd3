package screenworld

import (
	"math"
	"math/rand/v2"
)

// world is the bottom under a stretch of track, what stands on it and hangs over it, and the transducer's altitude.
type world struct {
	r            *rand.Rand
	plan         recordPlan
	pings, cells int       // cells of one side
	cellM, pingM float64   // metres across and along the track
	altM         []float64 // of the transducer over height 0, ping by ping
	z, refl      *grid     // heights in metres and reflectivity; columns run from far to port to far to starboard
	owner        []uint8   // the thing that a rise of the bottom belongs to, 0 for none
	columns      [2][][]column
	things       []thing
	areas        []area
}

// column is something upright at one cell of one ping.
type column struct {
	cell     int // outward from the nadir
	low      float64
	high     float64 // metres, as heights of the bottom
	strength float64
	id       uint8
	hangs    bool
}

// area is a stretch of bottom that is told as a whole: an ellipse in metres along the track and, signed, across.
type area struct {
	kind                   string
	x, y, halfX, halfY, up float64 // up turns the ellipse, radians
}

// depth is how deep inside the ellipse a place lies: 1 at its middle, 0 at its rim, negative outside.
func (a area) depth(x, y float64) float64 {
	s, c := math.Sincos(a.up)
	u, v := (x-a.x)*c+(y-a.y)*s, (y-a.y)*c-(x-a.x)*s
	return 1 - math.Hypot(u/a.halfX, v/a.halfY)
}

func newWorld(r *rand.Rand, p recordPlan, pings, cells int) *world {
	w := &world{r: r, plan: p, pings: pings, cells: cells, cellM: p.rangeM / float64(cells)}
	w.pingM = w.cellM * p.scaleY / p.scaleX * between(r, 0.6, 1.8)
	for s := range w.columns {
		w.columns[s] = make([][]column, pings)
	}
	w.owner = make([]uint8, pings*2*cells)
	w.sail()
	w.settle()
	for _, t := range p.textures {
		w.texture(t)
	}
	w.place()
	return w
}

// sail sets the altitude along the track.
func (w *world) sail() {
	alt := w.plan.altitudePart * w.plan.rangeM
	w.altM = make([]float64, w.pings)
	slow := fractal(w.r, w.pings, 1, 3.2, float64(w.pings)/1.5, 1)
	heave := between(w.r, 0, 0.012)
	phase, every := w.r.Float64()*6, between(w.r, 20, 60)
	for i := range w.altM {
		up := 1 + w.plan.wander*0.5*float64(slow.v[i]) + heave*math.Sin(float64(i)/every*2*math.Pi+phase)
		w.altM[i] = math.Min(math.Max(alt*up, 0.03*w.plan.rangeM), 0.62*w.plan.rangeM)
	}
}

// settle makes the open bottom: relief, slope and reflectivity.
func (w *world) settle() {
	r, wide := w.r, 2*w.cells
	stretch := w.cellM / w.pingM
	long := between(r, 0.15, 0.7) * float64(w.cells)
	w.z = fractal(r, wide, w.pings, between(r, 2.4, 3.4), long, stretch)
	alt := w.plan.altitudePart * w.plan.rangeM
	rough := alt * 0.035 * r.Float64() * r.Float64()
	slope := between(r, -0.03, 0.03) * math.Min(alt/w.plan.rangeM*3, 1)
	w.refl = fractal(r, wide, w.pings, between(r, 1.6, 3.2), between(r, 0.05, 0.6)*float64(w.cells), stretch)
	patchy := between(r, 0.05, 0.45)
	for p := range w.pings {
		z, f := w.z.row(p), w.refl.row(p)
		for c := range z {
			z[c] = z[c]*float32(rough) + float32(slope*float64(c-w.cells)*w.cellM)
			f[c] = float32(math.Exp(float64(f[c]) * patchy))
		}
	}
}

// spot is a place for something: metres across the track, starboard positive, and along it.
func (w *world) spot() (x, y float64) {
	alt := w.plan.altitudePart * w.plan.rangeM
	reach := math.Sqrt(w.plan.rangeM*w.plan.rangeM - alt*alt)
	x = between(w.r, 0.06, 0.93) * reach
	if chance(w.r, 0.5) {
		x = -x
	}
	switch w.plan.side {
	case onlyPort:
		x = -math.Abs(x)
	case onlyStarboard:
		x = math.Abs(x)
	case bothSides:
	}
	return x, between(w.r, 0.04, 0.96) * float64(w.pings) * w.pingM
}

// over calls f for every cell no farther than reachX and reachY metres from a place: its ping, its column in the grids, and where its
// middle lies from the place, in metres.
func (w *world) over(x, y, reachX, reachY float64, f func(ping, col int, dx, dy float64)) {
	c0 := max(int((x-reachX)/w.cellM)+w.cells-1, 0)
	c1 := min(int((x+reachX)/w.cellM)+w.cells+1, 2*w.cells-1)
	p0, p1 := max(int((y-reachY)/w.pingM)-1, 0), min(int((y+reachY)/w.pingM)+1, w.pings-1)
	for p := p0; p <= p1; p++ {
		for c := c0; c <= c1; c++ {
			f(p, c, (float64(c-w.cells)+0.5)*w.cellM-x, (float64(p)+0.5)*w.pingM-y)
		}
	}
}

// stand puts a column of a thing on a cell; low and high are metres over the bottom there.
func (w *world) stand(id uint8, ping, col int, low, high, strength float64) {
	side, cell := 1, col-w.cells
	if cell < 0 {
		side, cell = 0, -1-cell
	}
	floor := float64(w.z.row(ping)[col])
	w.columns[side][ping] = append(w.columns[side][ping],
		column{cell: cell, low: floor + low, high: floor + high, strength: strength, id: id, hangs: low > 0.02*(high+0.1)})
}

// texture lays one more kind of bottom into the world.
func (w *world) texture(kind string) {
	r := w.r
	x, y := w.spot()
	size := w.plan.rangeM * between(r, 0.12, 0.45)
	a := area{kind: kind, x: x, y: y, halfX: size, halfY: size * between(r, 0.5, 1.6), up: r.Float64() * math.Pi}
	switch kind {
	case "weed":
		w.weed(a)
	case "ripples":
		w.ripples(a)
	case "rock-field":
		w.rockField(a)
	case "boundary":
		w.boundary()
	case "outcrop":
		w.outcrop(a)
	case "scour":
		for range 1 + r.IntN(3) {
			w.scour()
		}
	case "gravel":
		w.gravel(a)
	}
}

func (w *world) inside(a area, f func(ping, col int, depth, dx, dy float64)) {
	reach := math.Max(a.halfX, a.halfY)
	w.over(a.x, a.y, reach, reach, func(p, c int, dx, dy float64) {
		if d := a.depth(a.x+dx, a.y+dy); d > 0 {
			f(p, c, d, dx, dy)
		}
	})
}

// scatter calls f at n places of an area that lie denser towards its middle.
func (w *world) scatter(a area, n int, f func(x, y float64)) {
	for range n {
		turn, out := w.r.Float64()*2*math.Pi, math.Sqrt(w.r.Float64())*between(w.r, 0.6, 1)
		s, c := math.Sincos(a.up)
		u, v := a.halfX*out*math.Cos(turn), a.halfY*out*math.Sin(turn)
		f(a.x+u*c-v*s, a.y+u*s+v*c)
	}
}

func (w *world) weed(a area) {
	w.areas = append(w.areas, a)
	r := w.r
	alt := w.plan.altitudePart * w.plan.rangeM
	tall := math.Min(between(r, 0.1, 0.5)*math.Sqrt(w.plan.rangeM/30), alt*0.25)
	bright := between(r, 0.5, 1.6)
	grain := w.cellM * between(r, 1.5, 4.5)
	n := min(int(between(r, 0.04, 0.16)*a.halfX*a.halfY/(grain*grain)*3), 2500)
	w.scatter(a, n, func(x, y float64) {
		size := grain * between(r, 0.5, 1.7)
		high, own := tall*between(r, 0.2, 1), bright*between(r, 0.4, 1)
		reachY := math.Max(size, w.pingM)
		w.over(x, y, size, reachY, func(p, c int, dx, dy float64) {
			d := 1 - math.Hypot(dx/size, dy/reachY)
			if d > 0 && chance(r, 0.85) {
				w.z.row(p)[c] += float32(high * d * between(r, 0.4, 1))
				w.refl.row(p)[c] *= float32(1 + own*d)
			}
		})
	})
}

func (w *world) ripples(a area) {
	w.areas = append(w.areas, a)
	r := w.r
	length := math.Max(w.cellM, w.pingM*0.7) * between(r, 5, 16)
	alt := w.plan.altitudePart * w.plan.rangeM
	high := math.Min(length*between(r, 0.015, 0.05), alt*0.05)
	dark := between(r, 0.1, 0.45)
	s, c := math.Sincos(r.Float64() * math.Pi)
	patchy := between(r, 0, 1.2)
	bend := fractal(r, 64, 64, 3, 32, 1)
	w.inside(a, func(p, col int, depth, dx, dy float64) {
		u := min(max(int((dx/a.halfX+1)*20)+12, 0), 63)
		v := min(max(int((dy/a.halfY+1)*20)+12, 0), 63)
		phase := (dx*c+dy*s)/length*2*math.Pi + float64(bend.v[v*64+u])*1.2
		soft := math.Min(depth*3, 1) * math.Min(math.Max(1+patchy*float64(bend.v[u*64+v]), 0), 1)
		wave := math.Sin(phase + 0.4*math.Sin(phase))
		w.z.row(p)[col] += float32(high * soft * wave)
		w.refl.row(p)[col] *= float32(1 + dark*soft*math.Cos(phase))
	})
}

func (w *world) rockField(a area) {
	w.areas = append(w.areas, a)
	r := w.r
	grain := math.Max(w.cellM, w.pingM*0.7) * between(r, 1.2, 2.5)
	n := min(int(between(r, 0.01, 0.05)*a.halfX*a.halfY/(grain*grain)*3), 1200)
	tall := grain * between(r, 0.25, 0.8)
	w.scatter(a, n, func(x, y float64) {
		w.bump(x, y, grain*between(r, 0.5, 1.5), tall*between(r, 0.3, 1), between(r, 0.2, 1.2))
	})
}

// bump raises a round bit of bottom that belongs to nothing.
func (w *world) bump(x, y, size, high, bright float64) {
	reachY := math.Max(size, w.pingM*0.8)
	w.over(x, y, size, reachY, func(p, c int, dx, dy float64) {
		if d := 1 - (dx*dx)/(size*size) - (dy*dy)/(reachY*reachY); d > 0 {
			w.z.row(p)[c] += float32(high * math.Sqrt(d))
			w.refl.row(p)[c] *= float32(1 + bright)
		}
	})
}

func (w *world) boundary() {
	r := w.r
	edge := fractal(r, 2*w.cells, w.pings, between(r, 2.2, 3.4), float64(w.cells)*between(r, 0.5, 1.5), w.cellM/w.pingM)
	level, soft, factor := between(r, -0.8, 0.8), between(r, 0.02, 0.3), math.Exp(between(r, -1.2, 0.9))
	for i, v := range edge.v {
		t := 1 / (1 + math.Exp(-(float64(v)-level)/soft))
		w.refl.v[i] *= float32(1 + (factor-1)*t)
	}
}

func (w *world) outcrop(a area) {
	r := w.r
	alt := w.plan.altitudePart * w.plan.rangeM
	ridge := fractal(r, 2*w.cells, w.pings, between(r, 2, 2.6), between(r, 0.08, 0.3)*float64(w.cells), w.cellM/w.pingM)
	high, bright := alt*between(r, 0.01, 0.06), between(r, 0.3, 1.4)
	w.inside(a, func(p, c int, depth, _, _ float64) {
		soft := math.Min(depth*2, 1)
		if rise := soft*2 - 1 - math.Abs(float64(ridge.row(p)[c])); rise > 0 {
			soft *= rise
			w.z.row(p)[c] += float32(high * soft)
			w.refl.row(p)[c] *= float32(1 + bright*soft)
		}
	})
}

func (w *world) gravel(a area) {
	bright := between(w.r, 0.2, 0.9)
	w.inside(a, func(p, c int, depth, _, _ float64) {
		if chance(w.r, math.Min(depth*2, 0.7)) {
			w.refl.row(p)[c] *= float32(1 + bright*w.r.ExpFloat64())
		}
	})
}

// scour draws a furrow across the bottom, as something dragged leaves it.
func (w *world) scour() {
	r := w.r
	x, y := w.spot()
	s, c := math.Sincos(r.Float64() * 2 * math.Pi)
	wide := math.Max(w.cellM, w.pingM) * between(r, 0.8, 2.5)
	deep, dim := wide*between(r, 0.02, 0.08), between(r, 0.3, 0.7)
	step := math.Min(w.cellM, w.pingM)
	length := w.plan.rangeM * between(r, 0.3, 1.2)
	turn := between(r, -0.6, 0.6) / length
	for gone := 0.0; gone < length; gone += step {
		px, py := x+gone*c-gone*gone*turn*s, y+gone*s+gone*gone*turn*c
		col, p := int(px/w.cellM)+w.cells, int(py/w.pingM)
		for k := -int(wide / w.cellM / 2); k <= int(wide/w.cellM/2); k++ {
			if q := col + k; q >= 0 && q < 2*w.cells && p >= 0 && p < w.pings {
				w.z.row(p)[q] -= float32(deep * 0.2)
				w.refl.row(p)[q] *= float32(math.Max(dim, 0.5))
			}
		}
	}
}
