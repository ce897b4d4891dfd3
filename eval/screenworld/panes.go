package screenworld

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"
)

// surroundings draws every pane that is no side-scan.
func (s *screen) surroundings() {
	for _, p := range s.panes {
		switch p.kind {
		case paneBar:
			s.bar(p.rect)
		case paneFigures:
			s.figures(p.rect)
		case paneGauges:
			s.gauges(p.rect)
		case paneKeys:
			s.keys(p.rect)
		case paneLevels:
			s.levels(p.rect)
		case paneChart:
			s.chart(p.rect)
		case paneDown:
			s.downward(p.rect)
		case paneTwin, paneCorner:
		}
	}
	if s.plan.rim > 0 && chance(s.r, 0.4) {
		col := mixed(s.theme.back, s.theme.ink, between(s.r, 0.2, 0.9))
		for _, p := range s.panes {
			s.edge(p.rect.Inset(-1), 1, col)
		}
	}
}

// bar writes status figures in a row.
func (s *screen) bar(b image.Rectangle) {
	s.fill(b, s.theme.pane)
	px := math.Min(float64(b.Dy())*between(s.r, 0.4, 0.7), 22)
	for x := b.Min.X + 6; ; {
		text := pick(s.r, words) + " " + figure(s.r) + " " + pick(s.r, units)
		size := extent(text, s.theme.type1, px)
		if x+size.X > b.Max.X || size.Y > b.Dy() {
			return
		}
		s.write(text, s.theme.type1, px, image.Pt(x, b.Min.Y+(b.Dy()-size.Y)/2), s.theme.ink)
		x += size.X + 8 + s.r.IntN(60)
	}
}

// figures writes a column of names with numbers under them.
func (s *screen) figures(b image.Rectangle) {
	s.fill(b, s.theme.pane)
	small := math.Min(math.Max(float64(b.Dx())/9, 9), 15)
	big := small * between(s.r, 1.3, 2.3)
	ruled := chance(s.r, 0.5)
	step := int((small + big) * 1.6)
	for y := b.Min.Y + 6; y+step < b.Max.Y; y += step {
		s.write(pick(s.r, words), s.theme.type1, small, image.Pt(b.Min.X+5, y), mixed(s.theme.ink, s.theme.pane, 0.35))
		text := figure(s.r)
		if size := extent(text, s.theme.type2, big); size.X < b.Dx()-6 {
			s.write(text, s.theme.type2, big, image.Pt(b.Max.X-size.X-5, y+int(small*1.3)), s.theme.ink)
		}
		if ruled {
			s.fill(image.Rect(b.Min.X+3, y+step-3, b.Max.X-3, y+step-2), mixed(s.theme.ink, s.theme.pane, 0.7))
		}
		if chance(s.r, 0.1) {
			break
		}
	}
}

// gauges draws as many dials as find room.
func (s *screen) gauges(b image.Rectangle) {
	s.fill(b, s.theme.pane)
	size := min(b.Dx(), b.Dy())
	for at := image.Pt(b.Min.X, b.Min.Y); at.X+size <= b.Max.X && at.Y+size <= b.Max.Y; {
		x, y, out := float64(at.X+size/2), float64(at.Y+size/2), float64(size)*0.4
		for k := range 60 {
			sin, cos := math.Sincos(float64(k)/60*1.5*math.Pi + 0.75*math.Pi)
			in := 0.96
			if k%10 == 0 {
				in = 0.82
			}
			s.stroke(b, x+cos*out*in, y+sin*out*in, x+cos*out, y+sin*out, 1, s.theme.ink)
		}
		sin, cos := math.Sincos(s.r.Float64()*1.5*math.Pi + 0.75*math.Pi)
		s.stroke(b, x, y, x+cos*out*0.8, y+sin*out*0.8, 2.5, s.theme.accent)
		s.write(figure(s.r), s.theme.type1, out*0.3, image.Pt(int(x-out*0.25), int(y+out*0.4)), s.theme.ink)
		if b.Dx() > b.Dy() {
			at.X += size
		} else {
			at.Y += size
		}
	}
}

// keys draws soft keys along a pane.
func (s *screen) keys(b image.Rectangle) {
	s.fill(b, s.theme.pane)
	n := 3 + s.r.IntN(5)
	face := mixed(s.theme.pane, s.theme.ink, between(s.r, 0.1, 0.3))
	for k := range n {
		key := image.Rect(b.Min.X+b.Dx()*k/n, b.Min.Y, b.Min.X+b.Dx()*(k+1)/n, b.Max.Y)
		if b.Dy() > b.Dx() {
			key = image.Rect(b.Min.X, b.Min.Y+b.Dy()*k/n, b.Max.X, b.Min.Y+b.Dy()*(k+1)/n)
		}
		key = key.Inset(2 + s.r.IntN(2))
		col := face
		if chance(s.r, 0.12) {
			col = s.theme.accent
		}
		s.fill(key, col)
		s.centred(pick(s.r, words), key)
	}
}

// centred writes a word into the middle of a box, if it has room.
func (s *screen) centred(text string, b image.Rectangle) {
	px := math.Min(float64(b.Dy())*0.5, 16)
	size := extent(text, s.theme.type1, px)
	if size.X <= b.Dx() && size.Y <= b.Dy() {
		s.write(text, s.theme.type1, px, image.Pt(b.Min.X+(b.Dx()-size.X)/2, b.Min.Y+(b.Dy()-size.Y)/2), s.theme.ink)
	}
}

// levels draws the palette as an upright bar with figures.
func (s *screen) levels(b image.Rectangle) {
	s.fill(b, s.theme.pane)
	in := b.Inset(6)
	in.Max.X = in.Min.X + in.Dx()/3 + 2
	for y := in.Min.Y; y < in.Max.Y; y++ {
		s.fill(image.Rect(in.Min.X, y, in.Max.X, y+1), s.pal.at(float32(in.Max.Y-y)/float32(in.Dy())))
	}
	for k := range 5 {
		s.write(figure(s.r), s.theme.type1, 10, image.Pt(in.Max.X+4, in.Min.Y+(in.Dy()-12)*k/4), s.theme.ink)
	}
}

// chartColours are a chart's: from land over shallow to deep, of its own or of the record's palette.
func (s *screen) chartColours() (land color.RGBA, water []color.RGBA, line color.RGBA) {
	r := s.r
	n := 4 + r.IntN(4)
	if s.plan.chartAlike {
		at := func() color.RGBA { return s.pal.at(float32(between(r, 0.1, 0.95))) }
		for k := range n {
			water = append(water, s.pal.at(0.15+0.7*float32(k)/float32(n)))
		}
		return at(), water, s.pal.at(1)
	}
	hue := between(r, 0.5, 0.65)
	night := between(r, 0.3, 1)
	for k := range n {
		t := float64(k) / float64(n)
		water = append(water, solid(hued(hue, 0.2+0.5*t, (1-0.3*t)*night)))
	}
	return solid(hued(between(r, 0.08, 0.2), between(r, 0.2, 0.6), 0.85*night)), water, solid(hued(hue, 0.8, 0.35*night))
}

// chart draws land, depths in steps, contour lines, depth figures, a grid and the boat's track.
func (s *screen) chart(b image.Rectangle) {
	r := s.r
	wide, high := b.Dx(), b.Dy()
	land, water, line := s.chartColours()
	small := fractal(r, max(wide/4, 8), max(high/4, 8), between(r, 2.8, 4), float64(max(wide, high))/between(r, 5, 12), 1)
	depths := small.resampled(float64(small.w), wide, high, tentKernel, tentKernel)
	shore := between(r, -2, -0.6)
	lines := chance(r, 0.7)
	step := func(v float32) int { return int(math.Floor((float64(v) - shore) * 2.2)) }
	for y := range high {
		row := depths.row(y)
		for x, v := range row {
			k := step(v)
			col := land
			if k >= 0 {
				col = water[min(k, len(water)-1)]
			}
			if lines && (x > 0 && step(row[x-1]) != k || y > 0 && step(depths.row(y - 1)[x]) != k) {
				col = line
			}
			s.img.SetRGBA(b.Min.X+x, b.Min.Y+y, col)
		}
	}
	ink := mixed(line, s.theme.back, 0.3)
	if chance(r, 0.6) {
		for range wide * high / whole(r, 4000, 20000) {
			s.writeIn(b, figure(r), 9+between(r, 0, 3), image.Pt(b.Min.X+r.IntN(wide), b.Min.Y+r.IntN(high)), ink)
		}
	}
	if chance(r, 0.5) {
		pitch := 40 + r.IntN(120)
		for x := b.Min.X + r.IntN(pitch); x < b.Max.X; x += pitch {
			s.shade(image.Rect(x, b.Min.Y, x+1, b.Max.Y), s.theme.ink, 0.4)
		}
		for y := b.Min.Y + r.IntN(pitch); y < b.Max.Y; y += pitch {
			s.shade(image.Rect(b.Min.X, y, b.Max.X, y+1), s.theme.ink, 0.4)
		}
	}
	s.track(b)
}

// whole draws a whole number from lo up to but not hi.
func whole(r *rand.Rand, lo, hi int) int { return lo + r.IntN(hi-lo) }

// writeIn writes a text if it has room in a box.
func (s *screen) writeIn(b image.Rectangle, text string, px float64, at image.Point, col color.RGBA) {
	size := extent(text, s.theme.type1, px)
	if (image.Rectangle{at, at.Add(size)}).In(b) {
		s.write(text, s.theme.type1, px, at, col)
	}
}

// track draws where the boat was and is, and the swath's reach beside it at times.
func (s *screen) track(b image.Rectangle) {
	r := s.r
	x, y := float64(b.Min.X)+between(r, 0.4, 0.6)*float64(b.Dx()), float64(b.Min.Y)+between(r, 0.4, 0.6)*float64(b.Dy())
	heading := r.Float64() * 2 * math.Pi
	sin, cos := math.Sincos(heading)
	px, py, turn := x, y, heading
	for range 12 + r.IntN(60) {
		turn += r.NormFloat64() * 0.15
		nx, ny := px-8*math.Cos(turn), py-8*math.Sin(turn)
		s.stroke(b, px, py, nx, ny, 2, s.theme.accent)
		px, py = nx, ny
	}
	size := between(r, 6, 14)
	s.stroke(b, x+cos*size, y+sin*size, x-cos*size-sin*size*0.6, y-sin*size+cos*size*0.6, 2.5, s.theme.ink)
	s.stroke(b, x+cos*size, y+sin*size, x-cos*size+sin*size*0.6, y-sin*size-cos*size*0.6, 2.5, s.theme.ink)
	if chance(r, 0.3) {
		reach := between(r, 20, 80)
		s.stroke(b, x-sin*reach, y+cos*reach, x+sin*reach, y-cos*reach, 1, s.theme.accent)
	}
}
