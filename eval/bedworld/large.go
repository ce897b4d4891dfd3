package bedworld

import (
	"math"

	"shadowgap/detect"
)

// site draws where a large thing of half axes a × b lies; a part of them is cut by the edge of the picture.
func (w *world) site(s *side, a, b float64) (i, r float64) {
	i, r = w.aground(s, 0.15, 0.9)
	if w.chance(0.35) {
		r = w.between(-0.3, 0.3) * b
		if w.chance(0.5) {
			r = float64(s.rows) - r
		}
	} else if !w.water && w.chance(0.3) {
		i = w.between(-0.4, 0.3) * a
	}
	return i, r
}

// mound raises a mound or an outcrop of 60 to 250 pixels with its long broad shadow.
func (w *world) mound(s *side) {
	size := w.spread(60, 250)
	a := min(size*w.between(0.2, 0.5)/w.kx, float64(s.n)*0.3)
	b := min(size*w.between(0.3, 0.55)/w.ky, float64(s.rows)*0.45)
	i, r := w.site(s, a, b)
	shadow := a * w.spread(1, 4)
	if s.dry(i-1.2*a, r) || !s.free(rect{int(i - 1.3*a), int(r - 1.3*b), int(i + a + shadow), int(r + 1.3*b)}) {
		return
	}
	kind, steep, rough := "mound", w.between(0.35, 0.8), w.between(0.1, 0.35)
	if w.chance(0.5) {
		kind, steep, rough = "outcrop", w.between(0.25, 0.6), w.between(0.3, 0.8)
	}
	t := w.start(s, detect.RaisedStructure, kind)
	p := newRelief(int(i-1.6*a), int(r-1.6*b), int(i+1.6*a)+1, int(r+1.6*b)+1)
	height := s.height(i, shadow)
	p.heap(i, r, a, b, height, steep, newOutline(w.dice, w.between(0.1, 0.35)))
	cell := max(min(a, b)*w.between(0.3, 0.9), 4)
	bumps := w.field(p.h, p.w, cell, cell, w.between(0.4, 0.65))
	for k := range p.z {
		p.z[k] *= float32(max(1+rough*float64(bumps[k]), 0.05))
	}
	t.raise(p, look{
		face: w.spread(1, 5), body: w.spread(0.6, 1.8), steep: height / a * w.between(0.8, 2), left: w.spread(0.02, 0.2),
		fill: w.between(0, 0.15),
	}, w.dice)
}

// dry says whether a place lies in the water column, where nothing can lie on the bottom.
func (s *side) dry(i, r float64) bool {
	k := min(max(int(r), 0), s.rows-1)
	return i < s.first[k]+2 && s.first[k] > 0
}

// debris heaps stones and beams into one structure with many shadows of its own, at times within a frame of long beams.
func (w *world) debris(s *side) {
	size := w.spread(50, 220)
	a := min(size*w.between(0.2, 0.45)/w.kx, float64(s.n)*0.25)
	b := min(size*w.between(0.3, 0.55)/w.ky, float64(s.rows)*0.4)
	i, r := w.site(s, a, b)
	shadow := a * w.spread(0.4, 1.5)
	if s.dry(i-1.1*a, r) || !s.free(rect{int(i - 1.2*a), int(r - 1.2*b), int(i + a + shadow), int(r + 1.2*b)}) {
		return
	}
	t := w.start(s, detect.RaisedStructure, "debris")
	p := newRelief(int(i-1.4*a), int(r-1.4*b), int(i+1.4*a)+1, int(r+1.4*b)+1)
	height := s.height(i, shadow)
	beams, frame := w.chance(0.6), w.chance(0.35)
	if frame {
		w.frame(p, i, r, a, b, height)
	}
	for range w.whole(12, 60) {
		u, v := w.NormFloat64()*0.45, w.NormFloat64()*0.45
		if u*u+v*v > 1 {
			continue
		}
		grain := w.spread(3, 18)
		high := height * w.spread(0.25, 1) * (1.1 - u*u - v*v)
		if beams && w.chance(0.4) {
			turn, long := w.between(0, math.Pi), grain*w.between(1, 3)
			p.bar(i+a*u, r+b*v, i+a*u+math.Sin(turn)*long/w.kx, r+b*v+math.Cos(turn)*long/w.ky, max(2/w.kx, 0.6), high)
			continue
		}
		p.heap(i+a*u, r+b*v, max(grain/2/w.kx, 0.8), max(grain/2/w.ky, 0.8), high, 0.5, newOutline(w.dice, 0.25))
	}
	t.raise(p, look{
		face: w.spread(1.5, 6), body: w.spread(0.6, 1.5), steep: height / a * w.between(1, 4), left: w.spread(0.03, 0.25),
		fill: w.between(0, 0.15),
	}, w.dice)
}

// frame raises a long closed outline of beams with ribs across, as of a hull or a crib.
func (w *world) frame(p *relief, i, r, a, b, height float64) {
	turn := w.between(-0.9, 0.9)
	sin, cos := math.Sin(turn), math.Cos(turn)
	slim := w.between(0.25, 0.6)
	at := func(u, v float64) (float64, float64) { return i + a*(slim*u*cos-v*sin), r + b*(slim*u*sin+v*cos) }
	wide := max(w.between(1.5, 4)/w.kx, 0.7)
	corners := [][2]float64{{-1, -0.7}, {-1, 0.6}, {0, 1}, {1, 0.6}, {1, -0.7}, {-1, -0.7}}
	for k := range corners[1:] {
		i0, r0 := at(corners[k][0], corners[k][1])
		i1, r1 := at(corners[k+1][0], corners[k+1][1])
		p.bar(i0, r0, i1, r1, wide, height*w.between(0.5, 1))
	}
	for range w.whole(2, 9) {
		v := w.between(-0.7, 0.6)
		i0, r0 := at(-1, v)
		i1, r1 := at(1, v+w.between(-0.1, 0.1))
		p.bar(i0, r0, i1, r1, wide*0.6, height*w.between(0.2, 0.6))
	}
}
