package bedworld

import (
	"math"

	"shadowgap/detect"
)

// place puts the capture's things on its bed: one to three kinds of finds.
func (w *world) place() {
	if w.empty {
		return
	}
	finds := []func(*side){
		w.stones, w.stones, w.stones, w.stones, w.echoes, w.echoes, w.clumps, w.clumps, w.mound, w.mound, w.debris, w.debris, w.hoverers,
	}
	if w.water {
		finds = append(finds, w.edgers, w.edgers, w.closeBy)
	}
	if w.burnt {
		finds = append(finds, w.logs, w.logs)
	}
	for range w.whole(1, 3) {
		finds[w.IntN(len(finds))](w.sides[w.IntN(len(w.sides))])
	}
	// A capture meant to hold something does not stay bare because the find fell on a place already taken.
	if len(w.things) == 0 {
		w.stones(w.sides[0])
	}
}

// start begins a thing on the bottom.
func (w *world) start(s *side, class detect.Class, kind string) *thing {
	t := &thing{class: class, kind: kind, side: s}
	w.things = append(w.things, t)
	return t
}

// height is how high something must stand at a sample to shade length samples behind it.
func (s *side) height(i, length float64) float64 {
	x := max(i+s.off, 1)
	return s.high * length / (x + length)
}

// aground draws a sample of the bottom of some ping, from share low to high of the way from the first return to the far edge.
func (w *world) aground(s *side, low, high float64) (i, r float64) {
	r = w.Float64() * float64(s.rows)
	from := max(s.first[int(r)]+3, 0)
	return from + w.between(low, high)*(float64(s.n)-from), r
}

// stones strews a field of stones: many small and few large ones, loosely bunched.
func (w *world) stones(s *side) {
	ci, cr := w.aground(s, 0.1, 0.9)
	reachI, reachR := w.spread(30, 200)/w.kx, w.spread(30, 200)/w.ky
	length := w.between(0.8, 3.5)
	l := look{face: w.spread(2, 12), body: w.between(0.4, 1), left: w.spread(0.02, 0.3), fill: w.between(0, 0.2)}
	i, r := ci, cr
	for range int(w.spread(4, 80)) {
		// Half of the stones lie beside the one before, which bunches them within the field.
		if w.chance(0.5) {
			i, r = i+w.between(-20, 20)/w.kx, r+w.between(-20, 20)/w.ky
		} else {
			i, r = ci+reachI*w.NormFloat64()*0.6, cr+reachR*w.NormFloat64()*0.6
		}
		size := min(4.5*math.Pow(1-w.Float64(), -1/1.7), 45)
		w.stone(s, i, r, size, length, l)
	}
}

// stone sets one stone of size pixels whose shadow is about length times as long as it is deep.
func (w *world) stone(s *side, i, r, size, length float64, l look) {
	if r < 0 || int(r) >= s.rows || i < s.first[int(r)]+4 {
		return
	}
	a := max(size*w.between(0.35, 0.6)/w.kx, 0.9)
	b := max(size*w.between(0.35, 0.6)/w.ky, 0.9)
	shadow := 2 * a * min(max(length*w.spread(0.6, 1.7)*(0.6+0.8*i/float64(s.n)), 1), 6)
	if !s.free(rect{int(i - a - 2), int(r - b - 2), int(i + a + shadow + 3), int(r + b + 3)}) {
		return
	}
	t := w.start(s, detect.BottomObject, "rock")
	p := newRelief(int(i-1.6*a)-1, int(r-1.6*b)-1, int(i+1.6*a)+3, int(r+1.6*b)+3)
	height := s.height(i, shadow+a*0.7)
	p.heap(i, r, a, b, height, 0.5, newOutline(w.dice, 0.22))
	l.face *= w.between(0.6, 1.3)
	l.steep = height / (a + 1) * 1.3
	t.raise(p, l, w.dice)
}

// echoes sets lone strong echoes without any shadow on the dim far bottom.
func (w *world) echoes(s *side) {
	for range w.whole(1, 4) {
		i, r := w.aground(s, 0.4, 1)
		size := w.spread(5, 12)
		a, b := max(size*w.between(0.25, 0.5)/w.kx, 0.5), max(size*w.between(0.25, 0.5)/w.ky, 0.5)
		if !s.free(rect{int(i - 3*a - 2), int(r - 3*b - 2), int(i + 3*a + 3), int(r + 3*b + 3)}) {
			continue
		}
		t := w.start(s, detect.BottomObject, "echo")
		strong := float64(s.level(int(i), int(r))) * w.spread(12, 80)
		t.spot(i, r, a*0.6, b*0.6, strong)
		for range w.whole(0, 3) {
			t.spot(i+a*w.between(-0.7, 0.7), r+b*w.between(-0.7, 0.7), a*0.4, b*0.4, strong*w.between(0.4, 1))
		}
	}
}

// clumps sets ragged bright clumps of many spots with little or no shadow.
func (w *world) clumps(s *side) {
	for range w.whole(1, 3) {
		i, r := w.aground(s, 0.35, 1)
		size := w.spread(12, 40)
		a, b := size*w.between(0.3, 0.5)/w.kx, size*w.between(0.3, 0.5)/w.ky
		if !s.free(rect{int(i - 1.5*a - 2), int(r - 1.5*b - 2), int(i + 2*a + 3), int(r + 1.5*b + 3)}) {
			continue
		}
		t := w.start(s, detect.BottomObject, "clump")
		level := float64(s.level(int(i), int(r)))
		strong := w.spread(3, 20)
		for range w.whole(10, 45) {
			u, v := w.NormFloat64()*0.5, w.NormFloat64()*0.5
			if u*u+v*v > 1 {
				continue
			}
			grain := w.spread(0.7, 1.8)
			t.spot(i+a*u, r+b*v, max(grain/w.kx, 0.45), max(grain/w.ky, 0.45), level*strong*w.spread(0.3, 1.5))
		}
		if w.chance(0.35) {
			long := a * w.between(0.3, 0.8)
			t.patch(i+a+long, r, long, b*0.7, w.between(0.3, 0.65), w.dice)
		}
	}
}

// logs lays timber on the white near bottom: a dark streak, with hardly any echo of its own.
func (w *world) logs(s *side) {
	for range w.whole(1, 4) {
		i, r := w.aground(s, 0.02, 0.3)
		long, wide := w.spread(14, 80), w.spread(2, 6)
		turn := w.between(-1.2, 1.2)
		di, dr := math.Sin(turn)*long/2/w.kx, math.Cos(turn)*long/2/w.ky
		lie := rect{int(i - math.Abs(di) - 4), int(r - math.Abs(dr) - 2), int(i + math.Abs(di) + wide + 5), int(r + math.Abs(dr) + 3)}
		if lie.i0 < 0 || float64(lie.i0) < s.first[int(r)]+2 || !s.free(lie) {
			continue
		}
		t := w.start(s, detect.BottomObject, "timber")
		left := w.spread(0.01, 0.15)
		shy := w.chance(0.7)
		level := float64(s.level(int(i), int(r)))
		bow := w.between(-0.12, 0.12)
		steps := int(2*math.Hypot(di, dr)) + 2
		for k := range steps + 1 {
			f := 2*float64(k)/float64(steps) - 1
			if wide < 5 && w.chance(0.06) {
				continue // Sunk into the bottom here.
			}
			x, y := i+f*di+bow*(1-f*f)*long/w.kx, r+f*dr
			half := max(wide/2/w.kx*(1-0.35*f)*w.between(0.7, 1.25), 0.7)
			t.patch(x+half, y, half, max(0.3, half*0.4), left, w.dice)
			if !shy {
				t.spot(x-0.8, y, 0.8, 0.8, level*w.between(0.2, 1))
			}
		}
	}
}
