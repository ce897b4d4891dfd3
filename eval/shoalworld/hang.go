package shoalworld

import (
	"math"

	"shadowgap/detect"
)

// dot is one body that hangs in the water. Lengths are bins across and rows along.
type dot struct {
	row, slant float64
	depth      float64 // under the boat
	across     float64 // half length in slant range
	along      float64 // half length along track
	tall       float64 // half of what it blocks, at right angles to the ray
	amp        float64 // echo over that of a common bottom
	block      float64 // share of the ray that it takes away
	bend       float64 // bins of slant range it lies farther out one row² from its middle
	thing      int
}

// place is where something is hung.
type place struct {
	row, slant float64
	gap        float64 // from its outer edge to where its shadow begins, bins
	inWater    bool
}

// holds tells whether a place lies within the record and clear of the pulse itself.
func (p *plan) holds(row, slant float64) bool {
	return row >= 1 && row <= float64(p.rows-2) && slant > 3*float64(p.nadirPx) && slant < 0.99*p.reach()
}

// spot picks a place in the water column, at the first return or over bottom; ok is false where none was free.
func (d dice) spot(p *plan, sc *scene, margin float64) (pl place, ok bool) {
	for range 40 {
		pl = place{row: d.uni(0.02, 0.98) * float64(p.rows)}
		h := p.alt[int(pl.row)]
		weights := []float64{28, 14, 58}
		if p.crop {
			weights = []float64{0, 0, 1}
		}
		switch d.weighted(weights...) {
		case 0:
			low := max(2.5*float64(p.nadirPx), 0.12*h) + margin/p.fx
			if low > 0.93*h-margin/p.fx {
				continue
			}
			pl.slant, pl.inWater = d.uni(low, 0.93*h-margin/p.fx), true
			pl.gap = h - pl.slant + d.logUni(1, 200)/p.fx
		case 1:
			pl.slant, pl.inWater = h+d.uni(-7, 4)/p.fx, true
			pl.gap = max(h-pl.slant, 0) + d.logUni(4, 90)/p.fx
		default:
			if n := sc.nest; n != nil && d.chance(0.4) {
				pl.row, pl.slant = n[0]+d.NormFloat64()*30/p.fy, n[1]+d.NormFloat64()*30/p.fx
			} else {
				pl.slant = d.uni(max(1.04*h, float64(p.first)+8), 0.98*p.reach())
			}
			pl.gap = d.logUni(3, 200) / p.fx
			if d.chance(0.6) {
				pl.gap = d.logUni(3, 50) / p.fx
			}
		}
		if p.holds(pl.row, pl.slant) && sc.free(p, pl.row, pl.slant, margin) {
			return pl, true
		}
	}
	return pl, false
}

// hung returns a dot at a place, as deep as the gap to its shadow asks for.
func hung(p *plan, pl place, body dot) dot {
	body.row, body.slant = pl.row, pl.slant
	r := min(max(int(pl.row), 0), p.rows-1)
	h := p.alt[r]
	gap := pl.gap + 1.3*body.across
	for range 4 {
		body.depth = h * (1 - gap/(pl.slant+gap))
		near := h / math.Cos(max(math.Acos(min(body.depth/pl.slant, 1))-body.tall/pl.slant, 0))
		if lack := pl.gap - (near - pl.slant - 1.3*body.across); lack > 0.5 && !pl.inWater {
			gap += lack
		}
	}
	body.depth = max(min(body.depth, 0.999*pl.slant), 0.04*h)
	return body
}

// fish is one body of the looks that fish have, in bins and rows.
func (d dice) fish(p *plan, style int, inWater bool) []dot {
	b := dot{amp: d.logUni(2.5, 25), block: d.uni(0.5, 0.97), thing: -1}
	var across, along float64 // pixels
	switch style {
	case 0: // a hard dot
		across, along = d.uni(1.5, 2.6), d.uni(1.5, 2.8)
		b.amp *= 1.5
	case 1: // a dash along track
		across, along = d.uni(1.1, 2), d.logUni(3.5, 13)
	case 2: // an arc, its ends farther out
		across, along = d.uni(1.1, 1.9), d.logUni(5, 15)
		rows := along / p.fy
		b.bend = d.uni(1.5, 6) / p.fx / (rows * rows)
	case 3: // a smeared blob
		across, along = d.uni(2.2, 5), d.uni(2.5, 7)
		b.amp = d.logUni(1.5, 8)
	case 4: // two dashes, the second weaker
		across, along = d.uni(1.1, 1.8), d.uni(2.5, 8)
	default: // a weak one
		across, along = d.uni(1.2, 2.6), d.uni(2, 8)
		b.amp = d.logUni(0.8, 2.2)
	}
	if inWater {
		b.amp *= d.logUni(0.15, 1)
	}
	b.across, b.along = across/p.fx, along/p.fy
	b.tall = d.uni(0.8, 2) * math.Sqrt(across*min(along, 6)) / p.fx
	if style != 4 {
		return []dot{b}
	}
	c := b
	c.slant, c.amp, c.block = d.uni(3.2, 6)/p.fx, b.amp*d.uni(0.3, 0.8), 0
	c.row = d.uni(-0.4, 0.4) * b.along
	return []dot{b, c}
}

// put hangs a body of several dots at a place; the dots' rows and slants are told from it.
func put(p *plan, pl place, body []dot) []dot {
	out := make([]dot, 0, len(body))
	if !pl.inWater {
		// The gap begins at the outer edge of the whole.
		least, most := 0.0, 0.0
		for _, b := range body {
			least, most = min(least, b.slant), max(most, b.slant)
		}
		pl.gap += most - least
	}
	for _, b := range body {
		at := pl
		at.row, at.slant = pl.row+b.row, pl.slant+b.slant
		if pl.inWater {
			at.gap -= b.slant
		}
		if at.slant < 2 {
			continue
		}
		out = append(out, hung(p, at, b))
	}
	return out
}

// hang hangs one fish or several, or something else, and tells what they are.
func (d dice) hang(p *plan, sc *scene) {
	switch d.weighted(40, 15, 12, 9, 8, 7, 4, 5) {
	case 0:
		if pl, ok := d.spot(p, sc, 10); ok {
			style := d.weighted(25, 25, 12, 14, 8, 16)
			sc.addFish(p, put(p, pl, d.fish(p, style, pl.inWater)))
		}
	case 1:
		d.shoal(p, sc, d.between(2, 6), d.uni(12, 40))
	case 2:
		d.shoal(p, sc, d.between(7, 30), d.uni(14, 60))
	case 3:
		d.ball(p, sc)
	case 4:
		d.float(p, sc)
	case 5:
		d.limb(p, sc, false)
	case 6:
		d.limb(p, sc, true)
	default:
		d.net(p, sc)
	}
}

// shoal hangs n fish of one sort about a middle, spread pixels wide.
func (d dice) shoal(p *plan, sc *scene, n int, spread float64) {
	pl, ok := d.spot(p, sc, min(spread*1.2, 40))
	if !ok {
		return
	}
	style := d.weighted(40, 30, 8, 10, 0, 12)
	flat := d.uni(0.5, 1.8)
	var dots []dot
	for range n {
		at := pl
		at.row += d.NormFloat64() * spread * flat / p.fy
		at.slant += d.NormFloat64() * spread / flat / p.fx * 0.7
		at.gap *= d.uni(0.75, 1.3)
		if !p.holds(at.row, at.slant) || !sc.free(p, at.row, at.slant, 0) {
			continue
		}
		if pl.inWater {
			at.gap = max(p.alt[int(at.row)]-at.slant, 0) + d.uni(2, 60)/p.fx
		}
		body := d.fish(p, style, pl.inWater)
		if n > 6 {
			body[0].across *= 0.85
			body[0].along *= 0.7
			body[0].block *= 0.8
		}
		dots = append(dots, put(p, at, body)...)
	}
	sc.addFish(p, dots)
}

// ball hangs fish so dense that they show as one.
func (d dice) ball(p *plan, sc *scene) {
	pl, ok := d.spot(p, sc, 25)
	if !ok {
		return
	}
	hs, hr := d.logUni(6, 28)/p.fx, d.logUni(6, 32)/p.fy
	n := d.between(35, 140)
	amp := d.logUni(0.5, 3)
	var dots []dot
	for range n {
		a, l := d.uni(0, 2*math.Pi), math.Pow(d.Float64(), 0.65)
		b := dot{row: hr * l * math.Cos(a), slant: hs * l * math.Sin(a), amp: amp * d.logUni(0.4, 2)}
		b.across, b.along, b.block = d.uni(1, 2.4)/p.fx, d.uni(1, 3)/p.fy, d.uni(0.1, 0.45)
		b.tall = d.uni(1.5, 3) / p.fx
		dots = append(dots, b)
	}
	sc.add(p, thing{class: detect.SuspendedTarget, kind: "bait-ball"}, put(p, pl, dots))
}

// float hangs a buoy on a line that runs down to the bottom.
func (d dice) float(p *plan, sc *scene) {
	pl, ok := d.spot(p, sc, 15)
	if !ok {
		return
	}
	size := d.uni(2, 5)
	b := dot{across: size * d.uni(0.5, 0.8) / p.fx, along: size / p.fy, tall: size * 1.2 / p.fx, amp: d.logUni(5, 30), block: d.uni(0.8, 1)}
	buoy := hung(p, pl, b)
	dots := []dot{buoy}
	h := p.alt[int(pl.row)]
	g := math.Sqrt(max(buoy.slant*buoy.slant-buoy.depth*buoy.depth, 0))
	lean, drift, amp := d.NormFloat64()*0.3, d.NormFloat64()*8/p.fy, d.logUni(0.2, 2.5)
	steps := max(int((h-buoy.depth)/1.2), 2)
	if d.chance(0.35) { // a buoy whose line doesn't echo
		steps = 0
	}
	for i := 1; i <= steps; i++ {
		f := float64(i) / float64(steps)
		depth := buoy.depth + (h-buoy.depth)*f
		e := dot{row: pl.row + drift*f, depth: depth, slant: math.Hypot(g+lean*(depth-buoy.depth), depth)}
		e.across, e.along, e.tall, e.amp, e.block = 0.8/p.fx, 1/p.fy, 0.7/p.fx, amp*d.logUni(0.3, 1.5), 0.35
		dots = append(dots, e)
	}
	sc.add(p, thing{class: detect.SuspendedTarget, kind: "float"}, dots)
}

// limb hangs a branch, or a whole crown of them.
func (d dice) limb(p *plan, sc *scene, crown bool) {
	pl, ok := d.spot(p, sc, 25)
	if !ok {
		return
	}
	kind, n, long := "limb", d.between(1, 4), d.logUni(18, 70)
	if crown {
		kind, n, long = "tree-crown", d.between(8, 22), d.logUni(14, 40)
	}
	amp := d.logUni(0.8, 5)
	trunk := d.uni(0, 2*math.Pi)
	var dots []dot
	for i := range n {
		a := trunk + d.NormFloat64()*0.5
		if crown {
			a = d.uni(0, 2*math.Pi)
		}
		l := long * d.uni(0.4, 1)
		x0, y0 := 0.0, 0.0
		if i == 0 {
			a, l = trunk, long
		} else if f := d.uni(0, 0.8); !crown {
			x0, y0 = long*f*math.Sin(trunk), long*f*math.Cos(trunk)
		}
		thick := d.uni(1, 2.2)
		for t := 0.0; t < l; t += 2 {
			a += d.NormFloat64() * 0.12
			x0, y0 = x0+2*math.Sin(a), y0+2*math.Cos(a)
			b := dot{row: y0 / p.fy, slant: x0 / p.fx, amp: amp * d.logUni(0.25, 2)}
			b.across, b.along, b.tall, b.block = thick/p.fx, (thick+0.5)/p.fy, 1.6*thick/p.fx, d.uni(0.3, 0.8)
			dots = append(dots, b)
		}
	}
	sc.add(p, thing{class: detect.SuspendedTarget, kind: kind}, put(p, pl, dots))
}

// net hangs a sheet of meshes or a basket's ring.
func (d dice) net(p *plan, sc *scene) {
	pl, ok := d.spot(p, sc, 25)
	if !ok {
		return
	}
	kind := "net"
	var dots []dot
	amp := d.logUni(2, 10)
	add := func(x, y, block float64) {
		b := dot{row: y / p.fy, slant: x / p.fx, amp: amp * d.logUni(0.3, 2)}
		b.across, b.along, b.tall, b.block = d.uni(0.8, 1.5)/p.fx, d.uni(0.9, 1.8)/p.fy, 2/p.fx, block
		dots = append(dots, b)
	}
	if d.chance(0.5) {
		kind = "basket"
		a, b := d.uni(4, 13), d.uni(4, 13)
		for t := 0.0; t < 2*math.Pi; t += 1.6 / max(a, b) {
			add(a*math.Sin(t), b*math.Cos(t), 0.5)
		}
		for range d.between(2, 10) {
			add(d.uni(-a, a)*0.7, d.uni(-b, b)*0.7, 0.4)
		}
	} else {
		long, wide, mesh, sway := d.logUni(25, 90), d.logUni(6, 22), d.uni(3.5, 7), d.uni(0, 8)
		phase, lean := d.uni(0, 6), d.uni(-0.5, 0.5)
		for y := -long / 2; y < long/2; y += mesh {
			for x := -wide / 2; x < wide/2; x += mesh {
				if d.chance(0.85) {
					add(x+sway*math.Sin(y/25+phase)+lean*y, y+d.NormFloat64(), 0.45)
				}
			}
		}
	}
	sc.add(p, thing{class: detect.SuspendedTarget, kind: kind}, put(p, pl, dots))
}
