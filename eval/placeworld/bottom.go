package placeworld

import "math"

// layBottom gives the ground its gentle relief and its sediments. Sizes, strengths and directions are drawn independently.
func (w *world) layBottom() {
	wd := 2 * w.ng
	big := w.uni(60, 400)
	grain := w.uni(-0.8, 0.8)
	along := big * w.logUni(0.3, 3) * w.dg / w.dv
	w.fractal(w.z, wd, lattice{big, along, grain}, w.between(2, 4), w.uni(0.25, 0.5), w.depthM*w.logUni(0.002, 0.09))
	if w.chance(0.75) {
		w.fractal(w.z, wd, lattice{w.logUni(3, 20), w.logUni(2, 16), grain}, 3, w.uni(0.3, 0.6), w.dg*w.logUni(0.01, 0.35))
	}
	tint := w.logUni(0.03, 0.55)
	w.fractal(w.refl, wd, lattice{w.logUni(20, 200), w.logUni(15, 200), w.uni(-1.5, 1.5)}, w.between(3, 6), w.uni(0.35, 0.85), tint)
	if w.chance(0.6) {
		w.fractal(w.refl, wd, lattice{w.logUni(2, 16), w.logUni(2, 30), w.uni(-1, 1)}, 3, w.uni(0.4, 0.9), w.logUni(0.05, 0.6))
	}
	if w.chance(0.55) {
		w.edges()
	}
	for i, r := range w.refl {
		w.refl[i] = exp32(r)
	}
	slope := w.uni(-0.06, 0.06)
	if w.chance(0.15) {
		slope = w.uni(-0.35, 0.35)
	}
	cross := w.uni(-0.05, 0.05)
	for y := range w.h {
		for x := range wd {
			w.z[y*wd+x] += float32(slope*float64(x-w.ng)*w.dg + cross*float64(y)*w.dv*0.3)
		}
	}
}

// edges lays sediments of another strength side by side, with borders as sharp as chance has it.
func (w *world) edges() {
	wd := 2 * w.ng
	f := make([]float32, len(w.z))
	w.fractal(f, wd, lattice{w.logUni(40, 300), w.logUni(30, 300), w.uni(-1, 1)}, 5, w.uni(0.3, 0.65), 1)
	sharp := float32(w.logUni(1, 30))
	step, level := float32(w.uni(-1.1, 1.1)), float32(w.uni(-0.7, 0.7))
	for i, v := range f {
		w.refl[i] += step / (1 + exp32(-sharp*(v-level)))
	}
}

func exp32(x float32) float32 { return float32(math.Exp(float64(x))) }

// ripples are waves of the ground, in a patch or all over.
func (w *world) ripples() {
	wave := w.logUni(4, 40) * w.dg
	dir := w.uni(0, math.Pi)
	kx, ky := math.Cos(dir)*2*math.Pi/wave, math.Sin(dir)*2*math.Pi/wave
	amp := wave * w.logUni(0.008, 0.06)
	bend := make([]float32, len(w.z))
	w.fractal(bend, 2*w.ng, lattice{w.uni(25, 150), w.uni(25, 150), 0}, 3, 0.5, w.uni(0.5, 4))
	patch := make([]float32, len(w.z))
	w.fractal(patch, 2*w.ng, lattice{w.uni(40, 250), w.uni(40, 250), 0}, 3, 0.5, 1)
	level := w.uni(-1.2, 0.4)
	for y := range w.h {
		for x := range 2 * w.ng {
			i := y*2*w.ng + x
			m := clamp((float64(patch[i])-level)*3, 0, 1)
			if m == 0 {
				continue
			}
			ph := kx*float64(x)*w.dg + ky*float64(y)*w.dv + float64(bend[i])
			w.z[i] += float32(m * amp * math.Sin(ph))
		}
	}
}

// gravel is a patch of stones no bigger than a cell or two: speckle that looks like stones.
func (w *world) gravel() {
	patch := make([]float32, len(w.z))
	w.fractal(patch, 2*w.ng, lattice{w.uni(30, 200), w.uni(30, 200), w.uni(-1, 1)}, 4, 0.55, 1)
	level := float32(w.uni(-0.3, 0.9))
	high, share, glint := float32(w.dg*w.logUni(0.1, 0.9)), float32(w.logUni(0.02, 0.4)), float32(w.logUni(1.1, 4))
	q := w.quick()
	for i, p := range patch {
		if p > level && q.unit() < share {
			w.z[i] += high * q.unit()
			w.refl[i] *= 1 + (glint-1)*q.unit()
		}
	}
}

// weed is a soft bed: ragged, with a dim and broken shadow behind it.
func (w *world) weed(level float64) {
	patch := make([]float32, len(w.z))
	w.fractal(patch, 2*w.ng, lattice{w.uni(30, 220), w.uni(30, 220), w.uni(-1, 1)}, 5, 0.6, 1)
	high := float32(w.height(w.logUni(0.05, 0.9)))
	glint := float32(w.logUni(0.5, 2.5))
	dense := float32(w.logUni(0.05, 0.6))
	q := w.quick()
	for i, p := range patch {
		if m := p - float32(level); m > 0 {
			if m > 0.3 {
				m = 0.3
			}
			if q.unit() < dense {
				w.z[i] += high * m * 3 * q.unit()
				w.soft[i] = true
			}
			w.refl[i] *= 1 + (glint-1)*m*3
		}
	}
}

// patches are places of another brightness without any relief.
func (w *world) patches(n int) {
	for range n {
		u, v := w.spot()
		f := float32(w.logUni(1.3, 5))
		if w.chance(0.5) {
			f = 1 / f
		}
		salt := w.Uint32()
		soft := w.chance(0.5)
		w.stamp(u, v, w.size(0.5, 5), w.size(0.5, 5), w.uni(0, math.Pi), func(p, q float64, x, y int) (float64, float64, bool) {
			r := p*p + q*q + 0.6*float64(hash(salt, x/3, y/2)) - 0.3
			if r > 1 {
				return 0, 1, false
			}
			if soft {
				return 0, 1 + float64(f-1)*(1-math.Max(0, r)), true
			}
			return 0, float64(f), true
		}, 0)
	}
}

// pits are depressions: the near wall in shadow, the far one bright. With rim they are ringed.
func (w *world) pits(n int) {
	for range n {
		u, v := w.spot()
		deep, rim, inside := w.uni(0.1, 0.4), w.uni(0, 0.3), w.uni(0.6, 1.2)
		r := math.Min(w.size(0.3, 3), 0.1*w.rangeM)
		bumps, salt := w.outline(), w.Uint32()
		w.stamp(u, v, r, r*w.uni(0.6, 1), w.uni(0, math.Pi), func(p, q float64, x, y int) (float64, float64, bool) {
			d := (p*p+q*q)*bumps(p, q) + 0.1*(float64(hash(salt, x/2, y/2))-0.5)
			if d > 1 {
				return 0, 1, false
			}
			return r * (rim*math.Exp(-30*(d-0.8)*(d-0.8)) - deep*(1-d)*math.Abs(1-d)), 1 + (inside-1)*(1-d), true
		}, 0)
	}
}

// groove is a drag scar or a ditch; high above zero makes it a bank.
func (w *world) groove(path []point, width, high, refl float64) {
	salt, piece := w.Uint32(), math.Max(3*w.dg, width*w.uni(0.3, 3))
	worn := w.uni(0, 0.9)
	w.along(path, width, func(c, s float64, x, y int) (float64, float64, bool) {
		k := math.Floor(s / piece)
		t := s/piece - k
		a, b := float64(hash(salt, int(k), 0)), float64(hash(salt, int(k)+1, 0))
		left := 1 - worn*(a+(b-a)*t)
		c = math.Abs(c)/(0.5+0.5*left) + 0.25*(float64(hash(salt, x, y))-0.5)
		if c > 1 {
			return 0, 1, false
		}
		return high * left * (1 - c*c), 1 + (refl-1)*left*(1-c*c), true
	}, 0)
}

// scars are a few drag scars.
func (w *world) scars(n int) {
	for range n {
		u, v := w.spot()
		dir := w.uni(0, 2*math.Pi)
		width := w.logUni(1, 5) * w.dg
		w.groove(w.wander(u, v, dir, w.logUni(0.1, 1.5)*w.rangeM, w.uni(0, 0.15)), width, -width*w.uni(0.1, 0.5), w.logUni(0.6, 1.5))
	}
}

// ledge is a step along a path: rock, a terrace, an undercut bank. It rises towards one side of a line.
func (w *world) ledge(rise float64, raggedCells float64) {
	wd := 2 * w.ng
	f := make([]float32, len(w.z))
	w.fractal(f, wd, lattice{w.uni(50, 300), w.uni(50, 300), 0}, 5, 0.5, raggedCells)
	dir := w.uni(-0.6, 0.6)
	pos := w.uni(-0.8, 0.8) * float64(w.ng)
	if math.Abs(pos) < 0.2*float64(w.ng) {
		pos += 0.3 * float64(w.ng) * w.sign()
	}
	steep := w.logUni(0.15, 3)
	towards := w.sign()
	for y := range w.h {
		for x := range wd {
			i := y*wd + x
			c := towards * (float64(x-w.ng) - pos + dir*float64(y-w.h/2) + float64(f[i]))
			t := clamp(c*steep*w.dg/math.Abs(rise), 0, 1)
			w.z[i] += float32(rise * t)
			if t > 0 && t < 1 {
				w.refl[i] *= 1.5
			}
		}
	}
}

// outline is an uneven rim: by what the square of the distance from the middle is stretched in a direction.
func (w *world) outline() func(p, q float64) float64 {
	a2, a3, a5 := w.uni(0, 0.3), w.uni(0, 0.3), w.uni(0, 0.2)
	f2, f3, f5 := w.uni(0, 6), w.uni(0, 6), w.uni(0, 6)
	return func(p, q float64) float64 {
		t := math.Atan2(q, p)
		return 1 + a2*math.Cos(2*t+f2) + a3*math.Cos(3*t+f3) + a5*math.Cos(5*t+f5)
	}
}
