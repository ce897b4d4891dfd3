package pulseworld

import "math"

// ground is one kind of bottom: how densely and how unevenly it scatters and how rough it lies.
type ground struct {
	levelDB  float64
	nu       float64 // shape of the gamma law of scatterer density; small is spiky (Jakeman and Pusey's K distribution)
	gammas   []float32
	texDB    float64
	tex      frame
	reliefM  float64
	relief   frame
	ledgeM   float64 // steps of bedrock slabs; 0 none
	rippleM  float64 // height of ripples, metres; 0 none
	ripple   frame   // its scale is the period
	wobble   float64
	speckDB  float64 // stray shells and stones
	speckOdd float32
}

// frame places a pattern on the bottom: along its own turned axes, in its own units.
type frame struct{ ax, ay, bx, by, x0, y0 float32 }

func newFrame(d *dice, scale, stretch, rot float64) frame {
	c, s := math.Cos(rot)/scale, math.Sin(rot)/scale
	return frame{
		float32(c), float32(s), float32(-s / stretch), float32(c / stretch),
		float32(d.uni(0, 1000)), float32(d.uni(0, 1000)),
	}
}

func (f *frame) at(x, y float32) (u, v float32) {
	return f.ax*x + f.ay*y + f.x0, f.bx*x + f.by*y + f.y0
}

// bottomPlan is what both sides share: the kinds of ground and the noise they are made of.
type bottomPlan struct {
	kinds      [2]ground
	border     frame
	sharp      float32
	threshold  float32
	broad, raw *lattice
	bank       bank
}

// bank is a slope that rises away from the boat on one side: bright, and nothing behind it is hidden.
type bank struct {
	flip              float32 // side, 1 or -1; 0 for none
	edge, wide, riseM float32
	sway              float32 // metres that its foot wanders
	per               float32 // nodes of noise a metre along track
}

func (b *bank) at(lat *lattice, x, y float32) float32 {
	t := (x - b.edge - b.sway*lat.at(y*b.per, 0.5)) / b.wide
	t = min(max(t, 0), 1)
	return b.riseM * t * t * (3 - 2*t)
}

func newGround(d *dice, binM, graze float64) ground {
	g := ground{
		levelDB: d.uni(-5, 5), nu: d.logu(0.8, 20), texDB: d.logu(0.2, 3.5),
		tex: newFrame(d, d.logu(1.5, 25)*binM, d.logu(0.25, 6), d.uni(0, math.Pi)),
	}
	// Relief is measured by the grazing angle, so that it stays texture and throws no shadow that would be worth a look.
	node := d.logu(3, 40) * binM
	g.relief = newFrame(d, node, d.logu(0.3, 5), d.uni(0, math.Pi))
	g.reliefM = node * graze * d.logu(0.02, 0.4)
	if d.chance(0.12) {
		g.ledgeM = d.logu(0.5, 4) * binM * graze
	}
	if d.chance(0.28) {
		period := d.logu(4, 60) * binM
		g.ripple = newFrame(d, period, 1, d.uni(-1.2, 1.2)+math.Pi*float64(d.IntN(2)))
		g.rippleM = period * graze * d.logu(0.04, 0.6)
		g.wobble = d.logu(0.2, 2.5)
	}
	if d.chance(0.5) {
		g.speckDB, g.speckOdd = d.uni(5, 15), float32(d.logu(0.0003, 0.02))
	}
	g.gammas = make([]float32, 2048)
	for i := range g.gammas {
		g.gammas[i] = float32(d.gamma(g.nu) / g.nu)
	}
	return g
}

// gamma draws from the gamma law of unit scale (Marsaglia and Tsang 2000).
func (d *dice) gamma(shape float64) float64 {
	boost := 1.0
	if shape < 1 {
		boost = math.Pow(d.Float64()+1e-12, 1/shape)
		shape++
	}
	a := shape - 1.0/3
	c := 1 / math.Sqrt(9*a)
	for {
		x := d.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v *= v * v
		if math.Log(d.Float64()+1e-300) < 0.5*x*x+a-a*v+a*math.Log(v) {
			return boost * a * v
		}
	}
}

func (w *world) planBottom() *bottomPlan {
	p := &bottomPlan{
		broad: newLattice(w.dice, 2, 8, w.uni(0.45, 0.75)),
		raw:   newLattice(w.dice, 5, 9, w.uni(0.7, 1.1)),
	}
	for i := range p.kinds {
		p.kinds[i] = newGround(w.dice, w.binM, w.graze)
	}
	if w.chance(0.15) {
		p.bank = bank{
			flip: float32(1 - 2*w.IntN(2)), edge: float32(w.rangeM * w.uni(0.1, 0.8)), wide: float32(w.rangeM * w.logu(0.03, 0.4)),
			sway: float32(w.rangeM * w.uni(0, 0.08)), per: float32(w.logu(0.5, 8) / w.rangeM),
		}
		p.bank.riseM = min(p.bank.wide*float32(w.graze*w.logu(0.3, 3)), float32(0.6*w.graze*w.rangeM))
	}
	p.border = newFrame(w.dice, w.rangeM/w.logu(15, 120), w.logu(0.3, 5), w.uni(0, math.Pi))
	p.sharp = float32(w.logu(0.5, 30))
	p.threshold = float32(w.uni(-1.6, 1.6))
	return p
}

// field is a stretch of bottom that differs from what is around it and is nothing to look at: what fools a detector.
type field struct {
	sw         int
	x, y       float64 // middle: ground range and along track, metres
	a, b       float64 // half axes, metres
	cos, sin   float64
	db         float64 // brighter or darker by
	hollowM    float64 // depth of a depression, metres; negative for a mild rise
	edge       float64 // 0 soft to 1 sharp
	raggedness float32
	roughDB    float32 // spread of its own texture
	bend       float64
	xmin, xmax float64
	ymin, ymax float64
	shift      float32
	rim        float64 // dB of a bright rim at its edge
	plume      bool    // fades away from its middle
}

// scatterFields lays patches, scars, scour and depressions over the bottom.
func (w *world) scatterFields() {
	if w.chance(0.12) {
		return
	}
	n := int(w.logu(1, 22))
	for range n {
		f := &field{
			sw: w.IntN(len(w.swaths)), y: w.uni(w.y[0], w.y[w.pings-1]), edge: w.uni(0, 1), raggedness: float32(w.uni(0.1, 0.9)),
			shift: float32(w.uni(0, 500)),
		}
		f.x = w.uni(0.02, 1) * w.rangeM
		rot := w.uni(0, math.Pi)
		f.a, f.b = w.logu(3, 70)*w.binM, w.logu(3, 40)*w.binM
		switch w.IntN(6) {
		case 0:
			f.db = w.uni(2, 9)
		case 1:
			f.db = -w.uni(2, 10)
		case 2: // a scar of an anchor or a net: long, thin, with a rim
			f.a, f.b = w.logu(40, 400)*w.binM, w.logu(1, 4)*w.binM
			f.db, f.rim, f.bend = -w.uni(1, 6), w.uni(0, 5), w.uni(-0.15, 0.15)*f.a
		case 3: // a depression: its near wall lies in shadow, its far wall is lit
			f.a, f.b = w.logu(4, 30)*w.binM, w.logu(4, 30)*w.binM
			f.hollowM = f.b * w.graze * w.logu(0.2, 1.5)
		case 4: // soft vegetation
			f.db, f.roughDB = w.uni(-2, 5), float32(w.uni(2, 7))
		case 5: // scour: dark comet tail
			f.a, f.b = w.logu(10, 120)*w.binM, w.logu(3, 14)*w.binM
			f.db, f.plume = w.uni(-7, 4), true
		}
		f.cos, f.sin = math.Cos(rot), math.Sin(rot)
		ext := math.Hypot(f.a, f.b)*1.3 + math.Abs(f.bend)
		f.xmin, f.xmax, f.ymin, f.ymax = f.x-ext, f.x+ext, f.y-ext, f.y+ext
		w.fields = append(w.fields, f)
	}
}

// cover adds a field to one ping's log reflectivity (dB) and height (metres).
func (f *field) cover(x, y float64, lat *lattice, inv float32, db, z *float32) {
	dx, dy := x-f.x, y-f.y
	u := (dx*f.cos + dy*f.sin) / f.a
	v := (-dx*f.sin+dy*f.cos-f.bend*u*u)/f.b + 1e-9
	r2 := u*u + v*v
	if r2 > 1.9 {
		return
	}
	n := lat.at(float32(x)*inv+f.shift, float32(y)*inv)
	r := float32(math.Sqrt(r2)) + f.raggedness*0.25*n
	soft := float32(1.05 - f.edge)
	t := min(max((1-r)/soft*1.5, 0), 1)
	if f.plume {
		t *= float32(max(0, min(1, (1-u)/2)))
	}
	if t == 0 {
		return
	}
	*db += t * (float32(f.db) + f.roughDB*lat.at(float32(x)*inv*3.1+f.shift, float32(y)*inv*3.1))
	if f.rim > 0 && v > 0.3 {
		*db += float32(f.rim)
	}
	*z -= float32(f.hollowM) * max(0, 1-r) * min(1, 2*(1.2-r))
}

// layBottom fills a side's mean echo power and the light that relief leaves.
func (w *world) layBottom(sw *swath) {
	if w.disp.plan == nil {
		w.disp.plan = w.planBottom()
		w.scatterFields()
	}
	plan := w.disp.plan
	side := 0
	if sw != w.swaths[0] {
		side = 1
	}
	row := &bottomRow{x: make([]float32, sw.nb), z: make([]float32, sw.nb), db: make([]float32, sw.nb), gam: make([]float32, sw.nb)}
	flip := float32(1)
	if sw.side == "port" {
		flip = -1
	}
	var own []*field
	for _, f := range w.fields {
		if f.sw == side {
			own = append(own, f)
		}
	}
	inv := float32(1 / (w.binM * 5))
	for p := range w.pings {
		h := sw.h[p]
		first := min(sw.nb, max(0, int(math.Ceil(w.binAt(h)-0.5))))
		for b := first; b < sw.nb; b++ {
			s := w.slant(b)
			g := math.Sqrt(max(0, s*s-h*h))
			row.x[b] = float32(g)
			w.coverGround(plan, row, b, flip, float32(w.y[p]+g*w.psi[p]))
		}
		for _, f := range own {
			if w.y[p] < f.ymin-0.1*w.rangeM || w.y[p] > f.ymax+0.1*w.rangeM {
				continue
			}
			for b := first; b < sw.nb; b++ {
				if g := float64(row.x[b]); g > f.xmin && g < f.xmax {
					f.cover(g, w.y[p]+g*w.psi[p], plan.broad, inv, &row.db[b], &row.z[b])
				}
			}
		}
		w.shade(sw, row, p, first)
	}
}

// bottomRow is what one ping meets: ground range, height and reflectivity of each bin.
type bottomRow struct{ x, z, db, gam []float32 }

func (w *world) coverGround(plan *bottomPlan, row *bottomRow, b int, flip, y float32) {
	x := row.x[b] * flip
	u, v := plan.border.at(x, y)
	t := 0.5 + plan.sharp*(plan.broad.at(u, v)-plan.threshold)
	k := &plan.kinds[0]
	var db, z float32
	if t >= 1 {
		db, z = k.read(plan, x, y)
	} else {
		k1 := &plan.kinds[1]
		db, z = k1.read(plan, x, y)
		if t > 0 {
			db0, z0 := k.read(plan, x, y)
			db, z = db+(db0-db)*t, z+(z0-z)*t
		}
		if w.sp.unit() >= t {
			k = k1
		}
	}
	if k.speckOdd > 0 && w.sp.unit() < k.speckOdd {
		db += float32(k.speckDB)
	}
	if plan.bank.flip == flip {
		z += plan.bank.at(plan.broad, row.x[b], y)
	}
	row.db[b], row.z[b] = db, z
	row.gam[b] = k.gammas[w.sp.next()>>50&2047]
}

// read gives a ground's reflectivity (dB) and height (metres) at a place.
func (g *ground) read(plan *bottomPlan, x, y float32) (db, z float32) {
	u, v := g.tex.at(x, y)
	db = float32(g.levelDB) + float32(g.texDB)*(0.6*plan.raw.at(u, v)+0.6*plan.broad.at(v*0.37, u*0.37))
	u, v = g.relief.at(x, y)
	n := plan.broad.at(u, v)
	z = n * float32(g.reliefM)
	if g.ledgeM > 0 {
		q := float32(g.ledgeM)
		z += q * float32(floor32(n*1.7))
	}
	if g.rippleM > 0 {
		u, v := g.ripple.at(x, y)
		ph := u + float32(g.wobble)*plan.broad.at(u*0.9, v*0.9)
		ph -= float32(floor32(ph))
		// A parabola pair stands in for a sine: a tenth of the cost.
		s := 4 * ph * (1 - ph)
		z += float32(g.rippleM) * s * min(1, max(0, 1+plan.broad.at(u*0.21+9, v*0.21)))
	}
	return db, z
}

// shade turns heights and reflectivity of one ping into echo power and light: what faces the sonar is brighter, what lies behind a
// rise is hidden (the steepest line of sight so far decides).
func (w *world) shade(sw *swath, row *bottomRow, p, first int) {
	h := sw.h[p]
	power, lit := sw.power[p*sw.nb:(p+1)*sw.nb], sw.lit[p*sw.nb:(p+1)*sw.nb]
	for b := range first {
		power[b] = float32(w.waterLevel(w.slant(b), h))
		lit[b] = 1
	}
	steepest := float32(-1e9)
	hf := float32(h)
	for b := first; b < sw.nb; b++ {
		g := max(row.x[b], 0.3*float32(w.binM))
		slope := float32(0)
		if b > first {
			if dx := row.x[b] - row.x[b-1]; dx > 0 {
				slope = (row.z[b] - row.z[b-1]) / dx
			}
		}
		ray := (row.z[b] - hf) / g
		lit[b] = 1
		if ray < steepest {
			lit[b] = 1 - min(1, (steepest-ray)*g/(0.25*float32(w.binM)+0.02*hf))*0.95
		} else {
			steepest = ray
		}
		s := w.slant(b)
		face := 1 + slope*g/hf*0.7
		face = min(max(face, 0.12), 4)
		power[b] = float32(w.level(s, h)*sw.hushed) * face * row.gam[b] * db32(row.db[b])
	}
}

// waterLevel is the mean power heard from the water at the slant range s.
func (w *world) waterLevel(s, h float64) float64 {
	return w.sonar.water * math.Pow(max(s/h, 0.05), 0.7)
}

// db32 is the power factor of a level in decibels.
func db32(db float32) float32 { return float32(math.Exp2(float64(db) * 0.33219280948873626)) }
