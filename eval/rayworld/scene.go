package rayworld

import (
	"context"
	"math"

	"shadowgap/detect"
)

// scene is what lies under the boat and how it is listened to. Heights are above a flat reference bottom.
type scene struct {
	d                          dice
	rangeM, binM, pingM, cellM float64
	depthM                     float64 // mean altitude over the reference bottom
	pings, bins, cells         int
	altitude                   []float64 // by ping
	level                      []float32 // gain law by slant bin, relative to the flat bottom's own fall
	cosPower                   int       // 1, 2, or 0 for 1.5
	mirror, mirrorWidth        float32
	sides                      [2]*swath
	things                     []thing // things[i] has the id i+1
	taken                      []spot
	rockFields                 []spot
	beamRows                   float64
	noise, noisePower          float64
	pulseBins                  int
}

// thing is one labelled thing.
type thing struct {
	class               detect.Class
	kind                string
	side                int
	heightM, offBottomM float64 // its own, and how far off the bottom it hangs
}

// spot is a stretch of pings and slant bins on one side.
type spot struct {
	side           int
	p0, p1, b0, b1 float64
}

func (s spot) meets(o spot) bool {
	return s.side == o.side && s.p0 < o.p1 && o.p0 < s.p1 && s.b0 < o.b1 && o.b0 < s.b1
}

// newScene lays out bottom and things and listens to them.
func newScene(ctx context.Context, d dice) (*scene, error) {
	sc := &scene{d: d}
	sc.rangeM = d.logIn(8, 60)
	sc.bins = int(d.logIn(210, 760))
	sc.binM = sc.rangeM / float64(sc.bins)
	sc.depthM = sc.rangeM * d.logIn(0.05, 0.45)
	sc.pingM = sc.binM * d.logIn(0.35, 3)
	sc.pings = int(d.logIn(300, 1100))
	sc.cellM = sc.binM * d.in(0.9, 1.15)
	sc.cells = int(sc.rangeM/sc.cellM) + 8
	sc.cosPower = d.IntN(3)
	sc.mirror = float32(d.logIn(0.05, 4))
	sc.mirrorWidth = float32(d.logIn(10, 200))
	sc.beamRows = min(d.logIn(0.003, 0.04)*sc.rangeM/sc.pingM, 7)
	sc.noise, sc.noisePower = d.logIn(0.01, 0.5), d.in(0.3, 3)
	sc.pulseBins = 1
	if d.chance(0.3) {
		sc.pulseBins = d.intIn(2, 3)
	}
	sc.track()
	sc.gainLaw()
	for i := range sc.sides {
		c, b := sc.pings*sc.cells, sc.pings*sc.bins
		sc.sides[i] = &swath{
			sign: float64(2*i - 1), base: make([]float32, c), sand: make([]float32, c), owner: make([]int16, c),
			pieces: make([][]piece, sc.pings), bare: make([]float32, b), full: make([]float32, b), given: make([]float32, b),
			giver: make([]int16, b), blocker: make([]int16, b), first: make([]float64, sc.pings),
			runMax: make([]float32, sc.cells), through: make([]float32, sc.cells), slant: make([]float32, sc.cells),
		}
	}
	sc.bottom()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for _, sw := range sc.sides {
		sw.height, sw.echo = append([]float32(nil), sw.base...), append([]float32(nil), sw.sand...)
	}
	sc.populate()
	for _, sw := range sc.sides {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for p := range sc.pings {
			sc.ray(sw, p, false)
			sc.ray(sw, p, true)
		}
		sc.widen(sw.bare, sc.beamRows)
		sc.widen(sw.full, sc.beamRows)
	}
	return sc, nil
}

// track draws the altitude ping by ping: a slow drift, a heave, now and then a sudden step.
func (sc *scene) track() {
	d := sc.d
	sc.altitude = make([]float64, sc.pings)
	drift, length := d.logIn(0.005, 0.3), d.in(0.2, 2)*float64(sc.pings)
	heave, period := d.logIn(0.0005, 0.02), d.logIn(12, 200)
	a, b := d.in(0, 6), d.in(0, 6)
	for p := range sc.altitude {
		t := float64(p)
		v := 1 + drift*math.Sin(a+t*6.28/length)*0.7 + drift*0.4*math.Sin(b+t*17/length) + heave*math.Sin(t*6.28/period)
		sc.altitude[p] = sc.depthM * max(v, 0.4)
	}
}

// gainLaw makes the flat bottom roughly even over range, with an error that bends it up or down.
func (sc *scene) gainLaw() {
	d := sc.d
	sc.level = make([]float32, sc.bins)
	power := [3]float64{1.5, 1, 2}[sc.cosPower]
	evenCos, evenRim := d.in(0.5, 1.1), d.in(0, 1)
	tilt, bow, where := d.in(-0.9, 0.7), d.in(-0.6, 0.6), d.in(0.2, 0.8)
	for b := range sc.level {
		s := (float64(b) + 0.5) * sc.binM
		c := min(sc.depthM/s, 0.995)
		t := s / sc.rangeM
		g := math.Pow(c, -power*evenCos) * math.Pow(1-c*c, 0.5*evenRim)
		sc.level[b] = float32(g * math.Exp(tilt*t+bow*math.Cos((t-where)*6)))
	}
}

// row returns side i's cells of ping p in a cell array.
func (sc *scene) row(a []float32, p int) []float32 { return a[p*sc.cells : (p+1)*sc.cells] }

// stamp runs f over the cells within reach metres of (x along, y across), with the offsets from it.
func (sc *scene) stamp(x, y, reachX, reachY float64, f func(p, k, at int, dx, dy float64)) {
	p0, p1 := max(int((x-reachX)/sc.pingM), 0), min(int((x+reachX)/sc.pingM)+1, sc.pings-1)
	k0, k1 := max(int((y-reachY)/sc.cellM), 1), min(int((y+reachY)/sc.cellM)+1, sc.cells-1)
	for p := p0; p <= p1; p++ {
		for k := k0; k <= k1; k++ {
			f(p, k, p*sc.cells+k, float64(p)*sc.pingM-x, (float64(k)+0.5)*sc.cellM-y)
		}
	}
}
