package bedworld

import "math"

// blot multiplies the bottom inside a soft-edged patch by what by gives for a place and how deep inside it is, 0..1. The bottom's own slow
// change bends the patch's edge by the share warp.
func (s *side) blot(ci, cr, a, b, warp float64, by func(i, r int, in float64) float64) {
	reach := 1 + warp
	for r := max(int(cr-b*reach), 0); r < min(int(cr+b*reach)+1, s.rows); r++ {
		for i := max(int(ci-a*reach), int(s.first[r])+2, 0); i < min(int(ci+a*reach)+1, s.n); i++ {
			u, v := (float64(i)-ci)/a, (float64(r)-cr)/b
			if in := 1 - u*u - v*v + warp*float64(s.texture[r*s.n+i]); in > 0 {
				s.base[r*s.n+i] *= float32(max(by(i, r, min(in, 1)), 0.02))
			}
		}
	}
}

// meet draws two sediments that meet at a winding edge.
func (s *side) meet(d dice) {
	cell := float64(s.n) * d.between(0.3, 0.7)
	where := d.field(s.rows, s.n, cell, cell, 0.45)
	cut, sharp := float32(d.between(-0.4, 0.8)), d.between(2, 14)
	change := d.spread(0.35, 0.8)
	if d.chance(0.4) {
		change = 1 / change
	}
	for r := range s.rows {
		for i := max(int(s.first[r])+1, 0); i < s.n; i++ {
			at := r*s.n + i
			in := 1 / (1 + math.Exp(-sharp*float64(where[at]-cut)))
			s.base[at] *= float32(1 + (change-1)*in)
		}
	}
}

// ripple draws sand ripples over a part of the bottom, crests 5 to 30 pixels apart.
func (s *side) ripple(p plan, d dice) {
	apart := d.spread(5, 30) / p.kx
	turn := d.between(-0.9, 0.9)
	fi, fr := 2*math.Pi*math.Cos(turn)/apart, 2*math.Pi*math.Sin(turn)/apart
	cell := max(apart*5, 8)
	bend := d.field(s.rows, s.n, cell, cell, 0.5)
	strong := d.between(0.15, 0.7)
	ci, cr := d.between(0.2, 1)*float64(s.n), d.between(0, 1)*float64(s.rows)
	a, b := d.between(0.25, 0.9)*float64(s.n), d.between(0.25, 0.9)*float64(s.rows)
	s.blot(ci, cr, a, b, 0.5, func(i, r int, in float64) float64 {
		phase := fi*float64(i) + fr*float64(r) + 1.6*float64(bend[r*s.n+i])
		// A second harmonic makes crests narrow and troughs wide.
		return 1 + strong*math.Sqrt(in)*(0.75*math.Sin(phase)+0.35*math.Sin(2*phase+0.6))
	})
}

// gravel draws a patch of grains too small and too close to be told apart.
func (s *side) gravel(p plan, d dice) {
	cell := max(d.between(2, 5)/p.kx, 2)
	grain := d.field(s.rows, s.n, cell, cell, 0.5)
	strong := d.between(0.3, 0.8)
	a, b := d.spread(20, 160)/p.kx, d.spread(20, 160)/p.ky
	s.blot(d.between(0.2, 1)*float64(s.n), d.Float64()*float64(s.rows), a, b, 0.7, func(i, r int, in float64) float64 {
		return math.Exp(strong * math.Sqrt(in) * float64(grain[r*s.n+i]))
	})
}

// furrow draws a drag line: a winding groove whose near wall is dark and whose far wall is bright, or at times a plain streak.
func (s *side) furrow(p plan, d dice) {
	long := d.between(0.6, 1.6) * float64(max(s.n, s.rows))
	turn := d.between(0, math.Pi)
	di, dr := math.Sin(turn), math.Cos(turn)
	wide := d.between(1.2, 4) / p.kx
	dark, bright := d.between(0.2, 0.6), d.between(0.1, 0.9)
	if d.chance(0.3) {
		bright = 0
	}
	wind := d.wave(int(long)+2, long*0.3)
	sway := d.between(0, 0.04) * long
	ci, cr := d.between(0.15, 1)*float64(s.n), d.Float64()*float64(s.rows)
	done := map[int]bool{}
	for k := range int(long) {
		t := float64(k) - long/2
		off := sway * float64(wind[k])
		row := int(math.Round(cr + t*dr - off*di))
		// A groove that runs along the range shows no walls, only a weaker streak.
		wall := max(math.Abs(dr), 0.25)
		if row < 0 || row >= s.rows || (math.Abs(dr) > 0.5 && done[row]) {
			continue
		}
		done[row] = true
		mid := ci + t*di + off*dr
		for i := max(int(mid-2*wide)-1, int(s.first[row])+3, 0); i < min(int(mid+2*wide)+2, s.n); i++ {
			u := (float64(i) - mid) / wide
			s.base[row*s.n+i] *= float32(max(1-wall*dark*bell(u+0.7)+wall*bright*bell(u-0.9), 0.05))
		}
	}
}

func bell(u float64) float64 { return math.Exp(-u * u) }

// pit draws a hollow: its near wall lies in shadow and its far wall faces the boat.
func (s *side) pit(p plan, d dice) {
	a := d.spread(3, 14) / p.kx
	b := a * d.between(0.6, 1.6) * p.kx / p.ky
	dark, bright := d.between(0.4, 0.95), d.between(0.2, 1.6)
	ci := d.between(0.15, 1) * float64(s.n)
	s.blot(ci, d.Float64()*float64(s.rows), a, b, 0, func(i, _ int, in float64) float64 {
		u := (float64(i) - ci) / a
		return 1 - dark*math.Sqrt(in)*bell((u+0.5)/0.6) + bright*math.Sqrt(in)*bell((u-0.7)/0.35)
	})
}

// fallAway lets the bottom fade to black beyond a winding line, as where it falls away from the boat.
func (s *side) fallAway(d dice) {
	line := d.wave(s.rows, float64(s.rows)*d.between(0.2, 0.6))
	from := d.between(0.45, 0.95) * float64(s.n)
	sway, soft := d.between(0.02, 0.2)*float64(s.n), d.spread(2, 60)
	left := d.between(0.02, 0.25)
	for r := range s.rows {
		edge := from + sway*float64(line[r])
		for i := max(int(s.first[r])+8, 0); i < s.n; i++ {
			in := 1 / (1 + math.Exp((edge-float64(i))/soft))
			s.base[r*s.n+i] *= float32(1 + (left-1)*in)
		}
	}
}
