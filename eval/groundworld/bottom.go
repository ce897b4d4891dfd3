package groundworld

import "math"

// groundKinds are what a bottom may hold beside relief and mottling; twice where it shall be drawn more often.
var groundKinds = []string{"gravel", "ripples", "ripples", "waves", "weed", "weed", "tufts", "tufts", "pits", "scour", "ledges", "cobbles",
	"cobbles", "edge", "patches", "patches", "knolls"}

// invent lays out everything natural.
func (w *world) invent() {
	for _, kind := range w.grounds {
		switch kind {
		case "gravel":
			w.gravel()
		case "ripples":
			w.ripples(w.d.scale(4, 14), 1)
		case "waves":
			w.ripples(w.d.scale(18, 90), 0.7)
		case "weed":
			w.weed()
		case "tufts":
			w.tufts()
		case "pits":
			w.pits()
		case "scour":
			w.scour()
		case "ledges":
			w.ledges()
		case "cobbles":
			w.cobbles()
		case "edge":
			w.edge()
		case "patches":
			w.patches()
		case "knolls":
			w.knolls()
		}
	}
}

// somewhere is a point of the ground that is in view.
func (w *world) somewhere() (x, y float64) {
	lo, hi := w.g.spanX()
	return w.d.in(lo, hi), w.d.in(0, w.g.long())
}

// pxM is a length in metres of one pixel, the geometric mean over both axes.
func (w *world) pxM() float64 { return math.Sqrt(w.binM / w.sx * w.pingM / w.sy) }

// area is a ragged outline somewhere, or one that holds the whole picture.
func (w *world) area() blob {
	x, y := w.somewhere()
	size := min(w.rangeM-w.startM, w.g.long())
	if w.d.may(0.3) {
		return blob{x: x, y: y, r: 1e4 * size, squash: 1}
	}
	return newBlob(w.d, x, y, size*w.d.scale(0.15, 1), 0.3)
}

func (w *world) gravel() {
	rough, bright := min(0.6, 2*w.altM/w.rangeM)*w.g.cm*w.d.in(0.05, 0.35), w.d.in(0.1, 0.5)
	a := w.area()
	store := newNormals(w.d)
	w.g.within(a.x, a.y, min(2.5*a.r, 1e5), func(i int, cx, cy float64) {
		if k := smooth(0, 0.2, a.depth(cx, cy)); k > 0 {
			n := float64(store[w.d.IntN(len(store))])
			w.g.z[i] += float32(k * rough * n)
			w.g.refl[i] *= float32(1 + k*bright*math.Abs(n))
		}
	})
}

// ripples lays waves of a length in pixels over an area; steep is their steepness over what is usual.
func (w *world) ripples(lengthPx, steep float64) {
	length := max(lengthPx*w.pxM(), 4*max(w.binM, w.pingM))
	high := length * min(steep*w.d.in(0.015, 0.06), w.d.in(0.08, 0.4)*w.altM/w.rangeM)
	a := w.area()
	turn, sharp := w.d.in(0, math.Pi), w.d.in(0, 0.4)
	kx, ky := 2*math.Pi/length*math.Cos(turn), 2*math.Pi/length*math.Sin(turn)
	bend, reach := w.d.in(0.5, 3), w.d.in(6, 25)*length
	p1, p2 := w.d.in(0, 6), w.d.in(0, 6)
	var zone uint8
	if grazing := w.altM / max(w.altM, math.Abs(a.x)); 2*math.Pi*high/length*w.lambert > 0.3*grazing {
		zone = w.zoneOf("ripples") // else hardly anything shows
	}
	w.g.within(a.x, a.y, 2.5*a.r, func(i int, cx, cy float64) {
		k := smooth(0, 0.25, a.depth(cx, cy))
		if k <= 0 {
			return
		}
		phase := kx*cx + ky*cy + bend*(math.Sin(cx/reach+p1)+math.Sin(cy/reach*1.3+p2)+0.3*math.Sin((cx-2*cy)/reach*3))
		fade := 0.6 + 0.4*math.Sin(cx/reach*0.7-cy/reach+p1)
		wave := math.Sin(phase)
		w.g.z[i] += float32(high * k * fade * (wave + sharp*math.Cos(2*phase)))
		w.g.refl[i] *= float32(1 - 0.15*k*wave)
		if k > 0.5 && zone != 0 {
			w.g.zone[i] = zone
		}
	})
}

// weed grows a bed in an area, from scattered tufts to a closed canopy.
func (w *world) weed() {
	a := w.area()
	a.r = min(a.r, w.d.scale(0.2, 1)*max(w.g.long(), w.rangeM-w.startM))
	canopy := fractal(w.d, w.g.wide, w.g.high, w.d.in(0.8, 1.8))
	bare, high, bright := w.d.in(-0.7, 1.4), min(w.d.scale(0.02, 0.2)*w.altM, w.d.scale(0.15, 1.2)), w.d.scale(1.4, 3)
	if w.d.may(0.3) {
		bright = w.d.scale(0.3, 0.65)
	}
	zone := w.zoneOf("weed")
	w.g.within(a.x, a.y, 2.5*a.r, func(i int, cx, cy float64) {
		k := smooth(-0.05, 0.3, a.depth(cx, cy))
		if k <= 0 {
			return
		}
		if k > 0.3 {
			w.g.zone[i] = zone
		}
		over := float64(canopy[i]) - bare - 1.5*(1-k)
		if over <= 0 {
			return
		}
		w.g.z[i] += float32(high * min(1, 0.7*over))
		w.g.refl[i] *= float32(1 + (bright-1)*min(1, 2*over))
	})
}

// tuft is a plant: blades of all heights with bottom between them, which throw a torn, thin shadow if any.
func (w *world) tuft(x, y, radius, high float64) {
	bright, blade := w.d.scale(0.7, 2), max(w.g.fine(), 0.08*radius)
	tip := 0.5 * radius * w.d.NormFloat64()
	for range w.d.upTo(8, 45) {
		out := w.d.NormFloat64() * 0.45 * radius
		w.g.bump(x+out+tip*w.d.Float64(), y+0.45*w.d.NormFloat64()*radius, blade*w.d.in(0.8, 1.4), high*w.d.in(0.05, 1)*w.d.Float64(), bright)
	}
}

func (w *world) tufts() {
	for range w.d.upTo(1, 14) {
		x, y := w.somewhere()
		radius := w.pxM() * w.d.scale(2, 14)
		w.tuft(x, y, radius, min(w.d.scale(0.015, 0.09)*w.altM, radius*w.d.in(0.2, 1)))
	}
}

// pits digs round holes, some with a rim.
func (w *world) pits() {
	a := w.area()
	a.r = min(a.r, w.d.scale(0.15, 0.5)*w.g.long())
	zone := w.zoneOf("pits")
	radius := w.pxM() * w.d.scale(4, 22)
	for range w.d.upTo(3, 30) {
		x, y := a.x+w.d.NormFloat64()*a.r*0.5, a.y+w.d.NormFloat64()*a.r*0.5
		r := radius * w.d.scale(0.6, 1.6)
		deep := r * w.d.in(0.2, 0.7)
		w.g.bump(x, y, 1.5*r, 0.25*deep*w.d.Float64(), 1)
		w.g.bump(x, y, r, -deep, w.d.in(0.6, 1.3))
		w.mark(x, y, 1.3*r, zone)
	}
}

// mark sets the zone of the cells round a point.
func (w *world) mark(x, y, radius float64, zone uint8) {
	w.g.within(x, y, radius, func(i int, cx, cy float64) {
		if math.Hypot(cx-x, cy-y) < radius {
			w.g.zone[i] = zone
		}
	})
}

// scour digs furrows that run more or less together.
func (w *world) scour() {
	zone := w.zoneOf("scour")
	turn := w.d.in(0, math.Pi)
	radius := w.pxM() * w.d.scale(2.5, 10)
	x0, y0 := w.somewhere()
	for range w.d.upTo(1, 6) {
		x, y := x0+w.d.NormFloat64()*12*radius, y0+w.d.NormFloat64()*12*radius
		heading, deep := turn+0.15*w.d.NormFloat64(), radius*w.d.in(0.03, 0.12)
		for range w.d.upTo(20, 120) {
			w.g.bump(x, y, radius, -deep, 1)
			w.mark(x, y, radius, zone)
			heading += 0.04 * w.d.NormFloat64()
			x, y = x+0.6*radius*math.Cos(heading), y+0.6*radius*math.Sin(heading)
		}
	}
}

// ledges breaks the bottom into strata along wandering lines.
func (w *world) ledges() {
	lines := fractal(w.d, w.g.wide, w.g.high, w.d.in(2.2, 3.2))
	step, count := min(w.d.scale(0.008, 0.06)*w.altM, w.pxM()*w.d.scale(2, 14)), w.d.in(0.7, 2.5)
	dip := w.d.in(0.1, 0.6)
	for i, v := range lines {
		level := float64(v) * count
		whole := math.Floor(level)
		w.g.z[i] += float32(step * (whole + smooth(1-dip, 1, level-whole)))
		if int(whole)&1 == 0 {
			w.g.refl[i] *= 1.25
		}
	}
}

func (w *world) edge() {
	line := fractal(w.d, w.g.wide, w.g.high, w.d.in(2.4, 3.2))
	level, ratio, soft := 0.8*w.d.NormFloat64(), w.d.scale(0.25, 3), w.d.scale(0.02, 0.5)
	for i, v := range line {
		w.g.refl[i] *= float32(1 + (ratio-1)*smooth(level-soft, level+soft, float64(v)))
	}
}

func (w *world) patches() {
	for range w.d.upTo(1, 8) {
		x, y := w.somewhere()
		a := newBlob(w.d, x, y, w.pxM()*w.d.scale(10, 160), 0.4)
		ratio, soft := w.d.scale(0.3, 2.6), w.d.scale(0.05, 0.6)
		w.g.within(x, y, 2*a.r, func(i int, cx, cy float64) {
			w.g.refl[i] *= float32(1 + (ratio-1)*smooth(0, soft, a.depth(cx, cy)))
		})
	}
}

// knolls are broad rises that nobody would mark: lower than a mound and of the bottom's own stuff.
func (w *world) knolls() {
	for range w.d.upTo(1, 5) {
		x, y := w.somewhere()
		r := w.pxM() * w.d.scale(30, 150)
		w.g.bump(x, y, r, min(0.1*w.altM, r*w.d.in(0.01, 0.05)), 1)
	}
}
