package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// mound is a bank, rubble heap or outcrop some hundred pixels along the track: a rough face, pocked with hollows, before a broad black
// shadow whose far edge runs out in spikes. Bits stand up out of the shadow.
func (s *swath) mound() {
	for range 3 {
		p, ok := s.bottomSpot()
		if !ok {
			return
		}
		long := math.Min(s.log(150, 500)/s.sy, 0.9*float64(s.gridH))
		_, hi := s.span(p.side)
		wide, cast := s.log(18, 130)/s.sx, s.log(40, 260)/s.sx
		if p.slant+wide*0.5 > hi {
			continue
		}
		s.keep(s.moundAt(p, long, wide, cast))
		return
	}
}

func (s *swath) moundAt(p spot, long, wide, cast float64) thing {
	t := thing{class: detect.RaisedStructure, kind: "mound", side: p.side, height: heightFor(p.depth, p.slant, cast)}
	n := int(long)
	front, depth, spike := wander(s.Rand, n+1, s.log(3, 20), 32), wander(s.Rand, n+1, s.log(2, 12), 16), wander(s.Rand, n+1, s.log(1, 5), 8)
	bow, lean, jag := s.NormFloat64()*0.13*long*s.sy/s.sx, s.NormFloat64()*0.2*s.sy/s.sx, s.log(5, 40)/s.sx
	fine := wander(s.Rand, n+1, s.log(1, 3), 4)
	level := s.level(p, wide+6, long/4) * s.log(0.9, 4)
	grain, rough, swell, spread := s.in(0.4, 1.1), s.in(0.3, 1), s.in(0.1, 0.6), s.in(0.1, 0.5)
	hollow, tilt := float32(s.in(-2.4, -0.5)), s.in(-0.6, 0.6)
	sh := shape{murk: s.log(0.02, 0.25), cast: 1, haze: s.in(0, 3), fray: s.in(0.3, 1.2)}
	move := s.IntN(len(s.lumps.v))
	for k := range n {
		y := int(p.y-long/2) + k
		v := 2*float64(k)/long - 1
		if y < 0 || y >= s.gridH {
			continue
		}
		body := math.Sqrt(1 - v*v)
		near := math.Max(p.slant+bow*(v*v-0.3)+lean*v*long/2+jag*front[k]+2*fine[k]/s.sx, s.edge[idx(p.side)][y]+1)
		face := math.Max(wide*(0.25+0.75*body)*(1+swell*depth[k]+0.12*fine[n-k]), 2)
		for b := near; b < near+face && b < float64(s.bins); b++ {
			x := int(math.Floor(s.col(b, p.side)))
			if x < 0 || x >= s.gridW {
				continue
			}
			i := y*s.gridW + x
			u := (b - near) / face
			l := s.lumps.v[i]
			if math.Min(2*u, 4*(1-u))+math.Min(4*(1-math.Abs(v)), 1)-1+rough*float64(l) < 0 { // ragged rims
				continue
			}
			if s.lumps.v[(i+2*move)%len(s.lumps.v)] < hollow {
				s.pass.v[i] = min(s.pass.v[i], float32(sh.murk+0.2))
				continue
			}
			e := (1 + tilt*(2*u-1)) * math.Exp(grain*float64(s.lumps.v[(i+move)%len(s.lumps.v)]))
			s.add.v[i] = max(s.add.v[i], float32(level*e))
			t.lit = append(t.lit, int32(i))
		}
		from := near + face
		s.shade(&t, sh, y, from, from+cast*body*math.Max(1+spread*spike[k], 0.1))
	}
	t.dark = s.unlit(t)
	for range s.IntN(40) { // stones and stems that reach up out of the shadow
		if len(t.dark) == 0 {
			break
		}
		c := int(t.dark[s.IntN(len(t.dark))])
		b, _ := s.slant(c % s.gridW)
		s.over(spot{y: float64(c / s.gridW), slant: b, side: p.side}, s.log(0.8, 3)/s.sx, s.log(0.8, 5)/s.sy, func(i int, u, v float64) {
			if u*u+v*v < 1 {
				s.add.v[i] = max(s.add.v[i], float32(level*s.in(0.2, 1)))
			}
		})
	}
	return t
}
