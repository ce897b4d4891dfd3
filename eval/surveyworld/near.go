package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// snags are small things at the first return: they stick into the column or touch the bright rim, and a dark notch lies behind them.
func (s *swath) snags() {
	for range s.between(1, 5) {
		side := 1
		if s.chance(0.5) {
			side = -1
		}
		y := s.in(0.02, 0.98) * float64(s.gridH)
		e := s.edge[idx(side)][int(y)]
		if lo, hi := s.span(side); e < lo+6 || e > hi-20 {
			continue
		}
		across := s.log(6, 30)
		rx, ry := across/2/s.sx, across/2/s.sy*s.log(0.6, 1.6)
		p := spot{y: y, slant: e + s.in(-0.9, 1)*rx, depth: e, side: side}
		x := s.col(p.slant, side)
		if s.occupied(detect.Box{X: int(x - rx), Y: int(y - ry), W: int(2*rx) + 1, H: int(2*ry) + 1}) {
			continue
		}
		cast, gap := s.log(4, 28)/s.sx, 0.0
		hangs := s.chance(0.3)
		if hangs { // bottom shows between it and its notch
			gap = s.log(3, 12) / s.sx
		}
		t := thing{class: detect.BottomObject, kind: "snag", side: side, height: heightFor(e, p.slant, gap+cast)}
		if hangs {
			t.class, t.gap, t.offBottom = detect.SuspendedTarget, gap, e*gap/(p.slant+gap)
			rx *= s.in(0.35, 0.7)
			p.slant = e - s.in(-0.3, 1)*rx
		}
		far := s.heap(&t, p, rx, ry, s.law[idx(side)][min(int(e)+3, s.bins)]*s.log(0.5, 3))
		for y, b := range far { // the notch is in the bottom, which sets in at the first return
			far[y] = math.Max(b, s.edge[idx(side)][y]) + gap
		}
		s.behind(&t, shape{murk: s.in(0.03, 0.5), cast: 1, haze: s.in(0, 2), fray: 1}, far, cast, s.in(0.8, 1))
		t.dark = s.unlit(t)
		s.keep(t)
	}
}

// burn lifts the bottom near the first return on both sides until most displays clip it.
func (s *swath) burn() {
	by := s.log(3, 12)
	reach := s.in(0.08, 0.5)
	for k, side := range []int{-1, 1} {
		_, hi := s.span(side)
		mid := 0.0
		for _, h := range s.altitude[k] {
			mid += h / float64(s.gridH)
		}
		s.burnt[k] = math.Max(reach*(hi-mid), 12)
		lift := func(over float64) float64 {
			u := math.Max(over, 0) / s.burnt[k]
			return 1 + (by-1)*math.Exp(-u*u*u)
		}
		for b := range s.law[k] {
			s.law[k][b] *= lift(float64(b) - mid)
		}
		for y := range s.gridH {
			for b := s.altitude[k][y] - 4; b < s.altitude[k][y]+2.5*s.burnt[k] && b < hi; b++ {
				if x := int(math.Floor(s.col(b, side))); x >= 0 && x < s.gridW {
					s.echo.v[y*s.gridW+x] *= float32(lift(b - s.altitude[k][y]))
				}
			}
		}
	}
}

// inBurnt tells whether a spot lies on the lifted bottom.
func (s *swath) inBurnt(p spot) bool { return p.slant < p.depth+s.burnt[idx(p.side)] }

// boulders lie on the burnt-out bottom, white on white: little but a shadow and a faint outline tells them.
func (s *swath) boulders() {
	for range s.between(1, 6) {
		s.placeWhere(s.boulder, s.inBurnt)
	}
}

func (s *swath) boulder(p spot) shape {
	across := s.log(6, 34) / s.sx
	sh := s.stone(ground(p.slant, p.depth), p.y, across, across*s.sx/s.sy*s.log(0.5, 1.5), heightFor(p.depth, p.slant, s.log(6, 50)/s.sx))
	sh.kind, sh.gloss, sh.murk, sh.haze, sh.instead = "boulder", s.log(0.6, 1.5), s.log(0.01, 0.3), s.in(0, 2), s.in(0.2, 0.9)
	return sh
}
