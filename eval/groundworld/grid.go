package groundworld

import "math"

// grid is the ground: a row a ping, cells of cm metres across from x0 and of pm metres along the track.
type grid struct {
	wide, high int
	x0, cm, pm float64
	z, refl    []float32 // heights in metres; reflectivity, 1 on average
	id         []uint8   // the thing a cell belongs to, 0 for none
	zone       []uint8   // the region a cell belongs to, 0 for none
}

// layGround makes the relief and mottling of a plan's bottom.
func layGround(p *plan) *world {
	far := p.rangeM * 1.01
	near := -far
	switch p.frame {
	case oneSide:
		near = 0
	case tile:
		near = 0.9 * math.Sqrt(p.startM*p.startM-p.altM*p.altM)
	}
	cm := 0.75 * p.binM
	g := &grid{wide: int((far - near) / cm), high: p.pings, x0: near, cm: cm, pm: p.pingM}
	g.z = fractal(p.d, g.wide, g.high, p.roughB)
	g.refl = fractal(p.d, g.wide, g.high, p.mottleB)
	g.id, g.zone = make([]uint8, len(g.z)), make([]uint8, len(g.z))
	relief := float32(min(p.reliefM, p.shade*p.altM/p.rangeM*g.cm/steps(g.z)))
	for i, v := range g.z {
		g.z[i] = v * relief
		g.refl[i] = expish(g.refl[i] * float32(p.mottle))
	}
	return &world{plan: p, g: g}
}

// steps is the root mean square of the differences between neighbours.
func steps(f []float32) float64 {
	sum := 0.0
	for i := 1; i < len(f); i += 7 {
		d := float64(f[i] - f[i-1])
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(f)/7+1))
}

// expish is the exponential function, near enough for a bottom and cheap: (1 + x/8) to the eighth.
func expish(x float32) float32 {
	y := max(0.05, 1+x/8)
	y *= y
	y *= y
	return y * y
}

func (g *grid) x(col int) float64       { return g.x0 + (float64(col)+0.5)*g.cm }
func (g *grid) y(row int) float64       { return (float64(row) + 0.5) * g.pm }
func (g *grid) spanX() (lo, hi float64) { return g.x0, g.x0 + float64(g.wide)*g.cm }
func (g *grid) long() float64           { return float64(g.high) * g.pm }
func (g *grid) col(x float64) int       { return int(math.Floor((x - g.x0) / g.cm)) }
func (g *grid) row(y float64) int       { return int(math.Floor(y / g.pm)) }
func (g *grid) fine() float64           { return 0.55 * max(g.cm, g.pm) }
func (g *grid) height(x, y float64) float64 {
	c, r := min(g.wide-1, max(0, g.col(x))), min(g.high-1, max(0, g.row(y)))
	return float64(g.z[r*g.wide+c])
}

// within calls visit for every cell whose middle is at most reach metres from x, y along either axis.
func (g *grid) within(x, y, reach float64, visit func(i int, cx, cy float64)) {
	c0, c1 := max(0, g.col(x-reach)), min(g.wide-1, g.col(x+reach))
	r0, r1 := max(0, g.row(y-reach)), min(g.high-1, g.row(y+reach))
	for r := r0; r <= r1; r++ {
		for c := c0; c <= c1; c++ {
			visit(r*g.wide+c, g.x(c), g.y(r))
		}
	}
}

// surface is the upper side of a thing in its own coordinates, metres along u and v: height over its base and reflectivity, and whether
// there is anything.
type surface func(u, v float64) (z, refl float64, there bool)

// stamp sets a surface on the ground, turned by turn radians. A draped one follows the ground, the others stand on the level of their
// middle and are buried where the ground is higher. The result is how far it rises over the ground, metres.
func (g *grid) stamp(top surface, x, y, turn, reach float64, drape bool, id uint8) (tall float64) {
	c, s := math.Cos(turn), math.Sin(turn)
	base := g.height(x, y)
	g.within(x, y, reach, func(i int, cx, cy float64) {
		dx, dy := cx-x, cy-y
		z, refl, there := top(dx*c+dy*s, dy*c-dx*s)
		if !there {
			return
		}
		ground := float64(g.z[i])
		if drape && g.id[i] != 0 && g.id[i] != id {
			return // it doesn't lie on other things
		}
		if drape {
			z += ground
		} else {
			z += base
		}
		if z < ground {
			return
		}
		tall = max(tall, z-ground)
		g.z[i], g.refl[i], g.id[i] = float32(z), float32(refl), id
	})
	return tall
}

// bump raises the ground (or digs, where high is negative) by a Gaussian and scales its reflectivity.
func (g *grid) bump(x, y, radius, high, refl float64) {
	g.within(x, y, 2.5*radius, func(i int, cx, cy float64) {
		q := ((cx-x)*(cx-x) + (cy-y)*(cy-y)) / (radius * radius)
		if q > 6 {
			return
		}
		k := math.Exp(-q)
		g.z[i] += float32(high * k)
		g.refl[i] *= float32(1 + (refl-1)*k)
	})
}
