package demo

import (
	"math"
	"math/rand/v2"

	"shadowgap/eval/scene"
)

// lakeSeed draws the lake. Seeds below 100000 are for fitting, up to 199999 for evaluation.
const lakeSeed = 200000

// draftM is how deep the transducer hangs.
const draftM = 0.4

// lake is everything on and over the bottom, in metres east (X) and north (Y) of the start of the voyage; angles count from
// east towards north. What lies here is seen wherever the boat passes it.
type lake struct {
	ridges     []scene.Ridge
	humps      []scene.Mound
	swells     []scene.Mound
	ripples    []scene.Ripples
	rocks      []scene.Rock
	fields     []scene.RockField
	timber     []scene.Timber
	structures []scene.Structure
	weeds      []scene.WeedBed
	fish       []scene.Fish
}

// depthM is the depth of the basin without humps and swells: shallow in the west, deepest in the south-east.
func depthM(e, n float64) float64 {
	u, v := (e-330)/420, (n+60)/330
	return 3.6 + 6.4*math.Exp(-u*u-v*v)
}

// bottomDepthM is the depth with humps and swells.
func (l *lake) bottomDepthM(e, n float64) float64 {
	d := depthM(e, n)
	for _, set := range [][]scene.Mound{l.humps, l.swells} {
		for _, m := range set {
			dx, dy := (e-m.X)/m.RadiusX, (n-m.Y)/m.RadiusY
			d -= m.HeightM * math.Exp(-dx*dx-dy*dy)
		}
	}
	return d
}

// builder puts things on the lake's bottom.
type builder struct {
	*rand.Rand
	lake
	legs    []stretch
	schools int
}

func (b *builder) in(lo, hi float64) float64 { return lo + (hi-lo)*b.Float64() }

// off is the spot abeam of a leg: so many metres along it and to starboard of it.
func (b *builder) off(leg string, along, starboard float64) (e, n float64) {
	_, s := begins(b.legs, leg)
	ue, un := unit(s.course)
	return s.e + along*ue + starboard*un, s.n + along*un - starboard*ue
}

func (b *builder) rock(e, n, half float64) scene.Rock {
	return scene.Rock{
		X: e, Y: n, HalfLongM: half * b.in(1, 1.5), HalfShortM: half * b.in(0.75, 1), HeightM: half * b.in(0.7, 1.4),
		AngleDeg: b.in(0, 180), Uneven: b.in(0, 0.15), Strength: b.in(0.7, 2),
	}
}

// addRocks strews n rocks over a rectangle along a leg.
func (b *builder) addRocks(leg string, n int, along0, along1, across0, across1, small, big float64) {
	for range n {
		e, y := b.off(leg, b.in(along0, along1), b.in(across0, across1))
		b.rocks = append(b.rocks, b.rock(e, y, small*math.Exp(b.Float64()*math.Log(big/small))))
	}
}

// addField strews an area with small rocks and a few that stand out.
func (b *builder) addField(e, n, radius float64, rocks int) {
	f := scene.RockField{X: e, Y: n, RadiusX: radius, RadiusY: radius, StandOutM: 0.55}
	for i := range rocks {
		r, a := radius*math.Sqrt(b.Float64()), b.in(0, 2*math.Pi)
		k := b.rock(e+r*math.Cos(a), n+r*math.Sin(a), b.in(0.14, 0.34))
		if i%20 == 7 {
			k = b.rock(k.X, k.Y, b.in(0.6, 0.85))
			k.HeightM = max(k.HeightM, 0.6)
		}
		f.Rocks = append(f.Rocks, k)
	}
	b.fields = append(b.fields, f)
}

func (b *builder) addTimber(leg string, along, across, angle, length float64) {
	e, n := b.off(leg, along, across)
	t := scene.Timber{X: e, Y: n, AngleDeg: angle, LengthM: length, RadiusM: b.in(0.13, 0.26), Strength: b.in(0.8, 1.6)}
	for range 1 + b.IntN(5) {
		t.Branches = append(t.Branches, scene.Branch{
			At: b.in(0.25, 0.95), AngleDeg: math.Copysign(b.in(30, 70), b.in(-1, 1)), LengthM: length * b.in(0.15, 0.35),
			RadiusM: t.RadiusM * b.in(0.35, 0.6),
			RiseM:   length * b.in(0, 0.1),
		})
	}
	b.timber = append(b.timber, t)
}

func (b *builder) oneFish(e, n, off float64) scene.Fish {
	length := b.in(0.45, 1.0)
	return scene.Fish{
		X: e, Y: n, OffBottomM: off, LengthM: length, WidthM: length * b.in(0.3, 0.5), ThickM: max(0.12, length*b.in(0.25, 0.4)),
		AngleDeg: b.in(0, 180), Strength: 3 * math.Exp(b.Float64()*math.Log(7)),
	}
}

// addFish hangs n fish over a rectangle along a leg.
func (b *builder) addFish(leg string, n int, along0, along1, across0, across1, off0, off1 float64) {
	for range n {
		e, y := b.off(leg, b.in(along0, along1), b.in(across0, across1))
		b.fish = append(b.fish, b.oneFish(e, y, b.in(off0, off1)))
	}
}

// addSchool hangs many small fish close together.
func (b *builder) addSchool(e, n, off float64) {
	b.schools++
	for range 14 + b.IntN(10) {
		f := b.oneFish(e+b.NormFloat64()*0.6, n+b.NormFloat64()*0.6, max(0.3, off+b.NormFloat64()*0.25))
		f.LengthM, f.WidthM, f.ThickM = b.in(0.2, 0.32), 0.12, 0.1
		f.School = b.schools
		b.fish = append(b.fish, f)
	}
}

// newLake makes the invented lake around the voyage's legs.
func newLake(legs []stretch) *lake {
	b := &builder{Rand: rand.New(rand.NewPCG(lakeSeed, 1)), legs: legs}
	b.shelf()
	b.hump()
	b.deep()
	return &b.lake
}

// shelf is what lies along the three transects A, B and C, 34 m apart. Distances run along A, negative across = to port,
// towards B and C. From 0 to 75 m and from 150 to 215 m lies plain sand.
func (b *builder) shelf() {
	for range 7 {
		e, n := b.off("A", b.in(0, 450), b.in(-90, 30))
		h, r := b.in(0.1, 0.35), b.in(14, 34)
		b.swells = append(b.swells, scene.Mound{X: e, Y: n, RadiusX: r, RadiusY: r, HeightM: math.Copysign(h, b.in(-1, 1))})
	}
	e, n := b.off("A", 38, -46)
	b.ripples = append(b.ripples, scene.Ripples{X: e, Y: n, RadiusM: 20, WaveM: 1.1, AmpM: 0.022, AngleDeg: 30})
	b.addRocks("A", 11, 80, 148, -84, 22, 0.28, 1.1)
	b.addTimber("A", 96, -17, 35, 5.5)
	b.addTimber("A", 128, 13, 110, 4)
	b.addTimber("A", 118, -52, 165, 7)
	b.addFish("A", 4, 90, 145, -75, 22, 0.6, 2.4)
	for _, w := range [][3]float64{{186, -21, 6}, {176, -60, 4.5}} {
		e, n := b.off("A", w[0], w[1])
		b.weeds = append(b.weeds, scene.WeedBed{X: e, Y: n, RadiusX: w[2], RadiusY: w[2], HeightM: 0.15, Strength: 1.9})
	}
	e, n = b.off("A", 251, -17)
	b.addField(e, n, 6, 70)
	e, n = b.off("A", 268, 12)
	b.addSchool(e, n, 1.4)
	b.addTimber("A", 226, -43, 60, 6)
	b.addFish("A", 6, 222, 300, -80, 20, 0.5, 2.6)
	b.addRocks("A", 5, 222, 300, -80, 22, 0.3, 0.9)
	for _, s := range []struct {
		shape               string
		along, across       float64
		half, short, height float64
		angle               float64
	}{{"crib", 322, -16, 1.9, 1.7, 1.7, 20}, {"hull", 352, 14, 4.2, 1.2, 1.4, 40}, {"wall", 336, -54, 6, 0.45, 1.5, 15}} {
		e, n := b.off("A", s.along, s.across)
		b.structures = append(b.structures, scene.Structure{
			Shape: s.shape, X: e, Y: n, HalfLongM: s.half, HalfShortM: s.short, HeightM: s.height, AngleDeg: s.angle,
			Strength: b.in(0.8, 1.4),
		})
	}
	b.addFish("A", 5, 312, 372, -70, 20, 0.5, 3)
	e, n = b.off("A", 412, -16)
	b.ridges = append(b.ridges, scene.Ridge{X: e, Y: n, AngleDeg: 22, LengthM: 16, HeightM: 1.3, FrontM: 2, BackM: 1.7, Reflectivity: 1.2})
	b.addRocks("A", 5, 385, 445, -50, 22, 0.3, 0.9)
	b.addFish("A", 3, 385, 445, -50, 20, 0.8, 2.5)
}

// hump is the rock hump that legs D and E pass on either side and F crosses, with fish holding over it. The first 40 m of D
// are bare sand.
func (b *builder) hump() {
	e, n := b.off("D", 104, 8)
	b.humps = append(b.humps, scene.Mound{X: e, Y: n, RadiusX: 10.5, RadiusY: 10.5, HeightM: 1.9, Reflectivity: 1.25})
	b.addRocks("D", 7, 92, 116, -2, 20, 0.25, 0.9)
	fe, fn := b.off("D", 111, 15)
	b.addField(fe, fn, 4.5, 55)
	b.addFish("D", 6, 92, 118, -3, 20, 0.7, 2.1)
	se, sn := b.off("D", 99, 16)
	b.addSchool(se, sn, 1.3)
	e, n = b.off("D", 46, 12)
	b.humps = append(b.humps, scene.Mound{X: e, Y: n, RadiusX: 7, RadiusY: 7, HeightM: 0.8, Reflectivity: 1.1})
	b.addTimber("D", 62, 18, 80, 4.5)
	b.addTimber("D", 160, 11, 150, 5)
	b.addRocks("D", 5, 60, 86, -16, 46, 0.2, 0.6)
	b.addFish("D", 3, 140, 190, -14, 44, 0.6, 2)
	we, wn := b.off("D", 178, -9)
	b.weeds = append(b.weeds, scene.WeedBed{X: we, Y: wn, RadiusX: 4, RadiusY: 4, HeightM: 0.14, Strength: 0.6})
	re, rn := b.off("D", 30, 24)
	b.ripples = append(b.ripples, scene.Ripples{X: re, Y: rn, RadiusM: 12, WaveM: 0.8, AmpM: 0.016, AngleDeg: 100})
}

// deep is the way home along G.
func (b *builder) deep() {
	for range 4 {
		e, n := b.off("G", b.in(0, 410), b.in(-35, 35))
		h, r := b.in(0.15, 0.5), b.in(16, 34)
		b.swells = append(b.swells, scene.Mound{X: e, Y: n, RadiusX: r, RadiusY: r, HeightM: math.Copysign(h, b.in(-1, 1))})
	}
	b.addRocks("G", 7, 20, 150, -34, 34, 0.45, 1.2)
	b.addFish("G", 9, 60, 300, -32, 32, 0.8, 4)
	e, n := b.off("G", 170, -15)
	b.addSchool(e, n, 2.2)
	e, n = b.off("G", 232, 19)
	b.structures = append(b.structures,
		scene.Structure{Shape: "hull", X: e, Y: n, HalfLongM: 6, HalfShortM: 1.6, HeightM: 1.9, AngleDeg: 70, Strength: 1.1})
	b.addTimber("G", 300, -14, 20, 8)
	b.addTimber("G", 352, 20, 75, 7)
	b.addRocks("G", 4, 280, 400, -34, 34, 0.45, 1)
}
