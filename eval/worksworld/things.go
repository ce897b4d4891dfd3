package worksworld

import (
	"math"
	"math/rand/v2"

	"shadowgap/detect"
)

// thing is what a mark is told of.
type thing struct {
	kind  string
	side  *side
	class detect.Class
	bulky bool // a raised structure where its shadow turns out long and broad
	loose bool // part of a field: no mark of its own
	gap   float64
}

// swimmer hangs in the water: lengths are native pixels, rows of the record.
type swimmer struct {
	id          int16
	g, row, z   float64
	half, rows  float64 // half its height, and rows over which it fades
	wide, at    float64
	dense, bend float64
}

// works are the kinds with how often each is drawn and the room it needs, display pixels.
var works = []struct {
	often, room float64
	draw        func(spot)
}{
	{13, 25, strand},
	{7, 30, piles},
	{8, 60, heap},
	{5, 45, foundation},
	{8, 40, boat},
	{4, 30, crib},
	{4, 22, frame},
	{3, 18, ladder},
	{4, 12, tyre},
	{5, 12, drum},
	{4, 12, crate},
	{7, 22, timber},
	{5, 28, tree},
	{3, 12, stump},
	{9, 14, boulder},
	{3, 60, rockField},
	{6, 25, clumps},
	{3, 40, ledge},
	{2, 60, quayWall},
	{7, 25, fish},
}

func (w *world) layThings() {
	r := w.plan.rng
	var sum float64
	for _, k := range works {
		sum += k.often
	}
	for range 1 + int(math.Abs(r.NormFloat64())*6) {
		u := r.Float64() * sum
		for _, k := range works {
			if u -= k.often; u < 0 {
				if at, ok := w.sides[r.IntN(len(w.sides))].free(k.room, true); ok {
					at.turn = r.Float64() * 2 * math.Pi
					if chance(r, 0.4) {
						at.worn = span(r, 0.15, 0.7)
					}
					k.draw(at)
				}
				break
			}
		}
	}
}

func (a *spot) begin(kind string, class detect.Class) *thing {
	w := a.side.world
	t := &thing{kind: kind, side: a.side, class: class}
	w.things = append(w.things, t)
	a.id = int16(len(w.things))
	return t
}

func (a spot) rng() *rand.Rand { return a.side.world.plan.rng }

// shine is how much stronger than bottom a hard thing scatters: mostly strong, at times little.
func (a spot) shine() float64 { return math.Exp(0.75 + 0.55*a.rng().NormFloat64()) }

// strand draws a cable, chain, rope or pipe. It shines most where it lies across the beam, and goes under in places.
func strand(a spot) {
	r := a.rng()
	kind := [...]string{"cable", "cable", "chain", "rope", "pipe"}[r.IntN(5)]
	a.begin(kind, detect.BottomObject)
	long, bend, rad := span(r, 35, 330), span(r, 0.2, 1.4), span(r, 0.5, 1.1)
	tall, gone := span(r, 0.5, 1.8), span(r, -2.5, 0.4)
	switch kind {
	case "rope":
		long, bend = span(r, 25, 150), span(r, 1, 3.5)
	case "pipe":
		long, bend, rad, tall = span(r, 35, 420), 0.04, span(r, 0.9, 2.6), span(r, 1.2, 4)
		gone -= 1
	}
	if chance(r, 0.4) {
		a.turn = math.Pi/2 + 0.35*r.NormFloat64()
	}
	shine := 1.3 * a.shine()
	pts := arc(r, long, bend, 0)
	buried := walk(r, int(2*long)+20, 14)
	a.line(pts, rad, func(along, d float64, k int) {
		i := min(max(int(along), 0), len(buried)-1)
		cover := buried[i] - gone
		if cover < 0 {
			return
		}
		j := min(int(along/6), len(pts)-2)
		dir := math.Atan2(pts[j+1][1]-pts[j][1], pts[j+1][0]-pts[j][0]) + a.turn
		v := shine * (0.45 + 1.4*math.Pow(math.Abs(math.Sin(dir)), 3))
		h := tall * min(1, 0.5+cover)
		if kind == "chain" {
			link := 0.5 + 0.5*math.Sin(along*1.6)
			v, h = v*(0.5+link), h*(0.6+0.5*link)
		}
		a.raise(k, h, v)
	})
}

func piles(a spot) {
	r := a.rng()
	n, step := between(r, 2, 12), span(r, 11, 34)
	tight := chance(r, 0.3)
	if tight {
		step = span(r, 3.5, 8)
	}
	tall, rad, shine := span(r, 5, 45), span(r, 0.8, 2.2), 1.5*a.shine()
	cols := 1
	if chance(r, 0.35) {
		cols = between(r, 2, 3)
	}
	if tight {
		a.begin("piles", detect.RaisedStructure)
	}
	for i := range n {
		if chance(r, 0.12) {
			continue
		}
		x := (float64(i/cols)-float64(n/cols)/2)*step + r.NormFloat64()*step*0.05
		y := float64(i%cols)*step + r.NormFloat64()*step*0.05
		if !tight {
			a.begin("pile", detect.BottomObject)
		}
		h := tall * math.Exp(0.25*r.NormFloat64())
		a.pipe(x, y, x+0.05*h*r.NormFloat64(), y+0.05*h*r.NormFloat64(), rad, h, shine)
	}
}

func heap(a spot) {
	r := a.rng()
	t := a.begin([...]string{"mound", "heap"}[r.IntN(2)], detect.RaisedStructure)
	size := math.Exp(span(r, math.Log(20), math.Log(200)))
	rx, ry := size*span(r, 0.35, 1), size*span(r, 0.35, 1)
	tall := min(rx, ry) * span(r, 0.15, 0.5)
	rough := 0.12
	shine := span(r, 0.8, 1.6)
	if t.kind == "heap" {
		rough, shine = 0.3, span(r, 1, 2.6)
	}
	a.dome(0, 0, rx, ry, tall, span(r, 0.7, 1.3), rough, shine)
	if t.kind == "mound" {
		return
	}
	for range int(size * span(r, 0.2, 0.8)) {
		d, phi := math.Sqrt(r.Float64()), r.Float64()*2*math.Pi
		rad := span(r, 0.8, 3.5)
		a.dome(d*rx*math.Cos(phi), d*ry*math.Sin(phi), rad, rad, tall*max(1-d*d, 0)+rad*1.2, 2, 0.3, shine*1.8)
	}
}

func foundation(a spot) {
	r := a.rng()
	t := a.begin([...]string{"foundation", "low wall"}[r.IntN(2)], detect.BottomObject)
	t.bulky = true
	tall, thick, shine := span(r, 1.2, 7), span(r, 0.7, 2.5), a.shine()
	if t.kind == "low wall" {
		long := span(r, 30, 220)
		for x := -long / 2; x < long/2; {
			piece := span(r, 8, 50)
			if chance(r, 0.8) {
				a.slab(x+piece/2, r.NormFloat64()*0.6, piece/2, thick, tall*span(r, 0.5, 1.1), shine)
			}
			x += piece
		}
		return
	}
	hx, hy := span(r, 10, 60), span(r, 10, 45)
	rooms := between(r, 1, 3)
	for i := range rooms + 1 {
		x := -hx + 2*hx*float64(i)/float64(rooms)
		if chance(r, 0.85) {
			a.slab(x, 0, thick, hy, tall*span(r, 0.4, 1.1), shine)
		}
	}
	for _, y := range [...]float64{-hy, hy} {
		cut := span(r, 0.4, 1)
		a.slab(hx*(cut-1), y, hx*cut, thick, tall*span(r, 0.5, 1.1), shine)
	}
}

// boat draws a sunken hull: two sides that meet at the stem, a transom, ribs or thwarts, filled or hollow, listing.
func boat(a spot) {
	r := a.rng()
	t := a.begin("boat", detect.BottomObject)
	t.bulky = true
	half := math.Exp(span(r, math.Log(7), math.Log(80)))
	beam := half * span(r, 0.22, 0.42)
	tall, shine := beam*span(r, 0.25, 0.9), a.shine()
	port, star := tall*span(r, 0.3, 1), tall*span(r, 0.5, 1)
	stern := span(r, 0.3, 0.85)
	edge := func(u float64) float64 {
		if u > 0 {
			return beam * (1 - u*u)
		}
		return beam * (1 - (1-stern)*u*u)
	}
	if chance(r, 0.5) {
		fill := span(r, 0.1, 0.5)
		a.cells(0, 0, half, func(dx, dy float64, k int) {
			if u := dx / half; math.Abs(u) <= 1 && math.Abs(dy) < edge(u) {
				a.raise(k, tall*fill*(0.8+0.3*r.Float64()), shine*0.6)
			}
		})
	}
	wall := max(0.5, half*0.025)
	const n = 14
	for i := range n {
		u0, u1 := -1+2*float64(i)/n, -1+2*float64(i+1)/n
		if chance(r, 0.94) {
			a.pipe(u0*half, edge(u0), u1*half, edge(u1), wall, star, shine)
		}
		if chance(r, 0.94) {
			a.pipe(u0*half, -edge(u0), u1*half, -edge(u1), wall, port, shine)
		}
	}
	a.pipe(-half, -beam*stern, -half, beam*stern, wall, tall*0.8, shine)
	if half > 12 {
		ribs := between(r, 0, int(half/4))
		for i := range ribs {
			u := -0.9 + 1.7*(float64(i)+0.5)/float64(ribs)
			a.pipe(u*half, -edge(u), u*half, edge(u), wall*0.7, tall*span(r, 0.3, 0.7), shine)
		}
	}
	if half > 25 && chance(r, 0.5) {
		a.slab(-half*0.35, 0, half*0.2, beam*0.5, tall*span(r, 1.2, 2), shine)
	}
}

func crib(a spot) {
	r := a.rng()
	t := a.begin("crib", detect.BottomObject)
	t.bulky = true
	hx := span(r, 7, 28)
	hy := hx * span(r, 0.6, 1.4)
	tall, shine := hx*span(r, 0.25, 0.8), a.shine()
	for _, q := range [...]float64{-1, 1} {
		a.pipe(-hx*1.1, q*hy, hx*1.1, q*hy, 1.1, tall*span(r, 0.6, 1), shine)
		a.pipe(q*hx, -hy*1.1, q*hx, hy*1.1, 1.1, tall*span(r, 0.6, 1), shine)
	}
	for range between(r, 4, 40) {
		rad := span(r, 1, 3.5)
		a.dome(span(r, -hx, hx)*0.9, span(r, -hy, hy)*0.9, rad, rad, tall*0.5+rad*0.6, 2, 0.3, shine)
	}
}

func frame(a spot) {
	r := a.rng()
	a.begin("frame", detect.BottomObject)
	hx, hy := span(r, 5, 28), span(r, 4, 20)
	h, shine := span(r, 0.8, 3), 1.3*a.shine()
	for _, q := range [...]float64{-1, 1} {
		a.pipe(-hx, q*hy, hx, q*hy, 0.6, h, shine)
		a.pipe(q*hx, -hy, q*hx, hy, 0.6, h, shine)
	}
	if chance(r, 0.5) {
		a.pipe(-hx, -hy, hx, hy, 0.5, h, shine)
	}
	for i := range between(r, 0, 3) {
		x := hx * (float64(i)*0.5 - 0.5)
		a.pipe(x, -hy, x, hy, 0.5, h, shine)
	}
}

func ladder(a spot) {
	r := a.rng()
	a.begin("ladder", detect.BottomObject)
	half, w, h, shine := span(r, 10, 32), span(r, 2, 4.5), span(r, 0.8, 2.2), 1.3*a.shine()
	a.pipe(-half, -w, half, -w, 0.5, h, shine)
	a.pipe(-half, w, half, w, 0.5, h, shine)
	for x := -half + 2; x < half; x += max(2.5, w*0.8) {
		a.pipe(x, -w, x, w, 0.4, h, shine)
	}
}

func tyre(a spot) {
	r := a.rng()
	rad, shine := span(r, 2.2, 6.5), a.shine()
	for i := range 1 + r.IntN(2)*r.IntN(3) {
		a.begin("tyre", detect.BottomObject)
		a.ring(float64(i)*rad*3.2, float64(i)*r.NormFloat64()*3, rad, rad*0.35, rad*span(r, 0.35, 0.7), shine)
	}
}

func drum(a spot) {
	r := a.rng()
	a.begin("drum", detect.BottomObject)
	rad := span(r, 1.5, 5)
	half := rad * span(r, 1, 1.6)
	a.pipe(-half, 0, half, 0, rad, rad*span(r, 1, 1.8), a.shine()*1.2)
}

func crate(a spot) {
	r := a.rng()
	a.begin("crate", detect.BottomObject)
	hx := span(r, 2, 9)
	a.slab(0, 0, hx, hx*span(r, 0.5, 1.2), hx*span(r, 0.5, 1.6), a.shine())
}
