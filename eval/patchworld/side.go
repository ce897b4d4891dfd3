package patchworld

import (
	"image"
	"math"

	"shadowgap/detect"
)

// side is one side of the swath in rows by slant range: column 0 touches the nadir. Lengths are native pixels of slant range.
type side struct {
	name  detect.Side
	w, h  int
	from  int       // where the picture begins; what is nearer is cut off
	first []float32 // slant range of the first return, which over a flat bottom is the altitude
	echo  plane     // echo strength before speckle, without things
	shade plane     // what shadows leave of it, 1 where none falls
	glow  plane     // what things add to it
}

// course is a first return over n rows around the given slant range.
func course(d dice, n int, mid float64, limit float64) []float32 {
	slow := d.line(n, float64(n)*d.between(0.3, 1.5), d.between(0.2, 0.45))
	fast := d.line(n, d.logBetween(4, 60), 0.5)
	amp, quick := d.logBetween(0.005, 0.25), d.logBetween(0.001, 0.012)
	amp = min(amp, 0.06*limit/mid) // a steep bank, but no saw
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(mid * (1 + amp*float64(slow[i]) + quick*float64(fast[i])))
	}
	for range d.pick(6, 2, 1) {
		at, wide := d.between(0, float64(n)), d.logBetween(6, float64(n)/3+7)
		lift := max(d.between(-0.5, 0.3)*mid, -0.5*wide)
		for i := range out {
			u := (float64(i) - at) / wide
			out[i] += float32(lift * math.Exp(-u*u))
		}
	}
	for i := range out {
		out[i] = min(max(out[i], 5), float32(limit))
	}
	return out
}

// newSide composes bottom and water column of a side.
func newSide(recipe, d dice, name detect.Side, w int, first []float32) *side {
	s := &side{name: name, w: w, h: len(first), first: first}
	s.echo, s.shade, s.glow = newPlane(s.w, s.h), newPlane(s.w, s.h), newPlane(s.w, s.h)
	for i := range s.shade.v {
		s.shade.v[i] = 1
	}
	slow := bottomLog(recipe.fork(), d, s.w/coarse+2, s.h/coarse+2)
	for i, v := range slow.v {
		slow.v[i] = float32(math.Exp(float64(v)))
	}
	mid := float64(first[len(first)/2])
	gain := rangeGain(recipe.fork(), s.w, mid)
	for r := range s.h {
		row := s.echo.row(r)
		y := float32(r) / coarse
		for i := range row {
			row[i] = slow.at(float32(i)/coarse, y) * gain[i]
		}
	}
	s.addFine(recipe.fork(), d)
	s.addRim(recipe.fork(), d)
	return s
}

// addFine lays what is finer than the coarse grid: small relief and ripples.
func (s *side) addFine(recipe, d dice) {
	if recipe.chance(0.5) {
		n := newPlane(s.w, s.h)
		cell := recipe.logBetween(1.3, 7)
		d.addNoise(n, cell*recipe.between(0.6, 1.6), cell*recipe.between(0.6, 1.6), float32(recipe.logBetween(0.03, 0.35)))
		for i, v := range n.v {
			s.echo.v[i] *= max(1+v, 0.1)
		}
	}
	if recipe.chance(0.22) {
		n := crests(recipe, d, s.w, s.h, recipe.logBetween(4, 22))
		amp := float32(recipe.between(0.05, 0.55))
		for i, v := range n.v {
			s.echo.v[i] *= 1 + amp*v
		}
	}
}

// addRim shapes the first-return band and everything nearer, the water column.
func (s *side) addRim(recipe, d dice) {
	hot, wide := recipe.between(-0.7, 2), recipe.logBetween(2, 40)
	if recipe.chance(0.3) {
		hot = 0
	}
	ramp := float32(recipe.logBetween(0.5, 7))
	ragged := recipe.logBetween(0.05, 1.4)
	jag, uneven := d.line(s.h, 1.5, 0.7), d.line(s.h, d.logBetween(3, 80), 0.7)
	water := s.waterColumn(recipe, d)
	near := s.level(0, s.h/2)
	fade := make([]float32, s.w)
	for i := range fade {
		fade[i] = float32(hot * math.Exp(-float64(i)/wide))
	}
	for r := range s.h {
		row, wet := s.echo.row(r), water.row(r)
		edge := max(s.first[r]+jag[r]*float32(ragged), 0)
		lit := max(1+0.5*uneven[r], 0)
		for i := range row {
			past := float32(i) - edge
			bottom := row[i]
			if past >= 0 {
				bottom *= max(1+fade[int(past)]*lit, 0.3)
			}
			switch mix := (past + ramp/2) / ramp; {
			case mix <= 0:
				row[i] = wet[i] * near
			case mix < 1:
				row[i] = bottom*mix + wet[i]*near*(1-mix)
			default:
				row[i] = bottom
			}
		}
	}
}

// waterColumn is the echo of the water: near nothing, or clouds, specks, surface lines and the sounder's own ringing.
func (s *side) waterColumn(recipe, d dice) plane {
	p := newPlane(s.w, s.h)
	level := recipe.logBetween(0.004, 0.35)
	limit := 0
	for _, f := range s.first {
		limit = max(limit, min(int(f)+12, s.w))
	}
	if recipe.chance(0.5) {
		n := d.fractal(limit/coarse+2, s.h/coarse+2, d.logBetween(3, 60), d.logBetween(3, 60), 0.6)
		amp, floor := d.between(0.1, 1.5), float32(d.between(-0.5, 1.5))
		for r := range s.h {
			row := p.row(r)[:limit]
			for i := range row {
				row[i] = float32(level) * (1 + float32(amp)*max(n.at(float32(i)/coarse, float32(r)/coarse)-floor, -0.5))
			}
		}
	} else {
		for i := range p.v {
			p.v[i] = float32(level)
		}
	}
	if recipe.chance(0.4) { // plankton and bubbles
		n := int(float64(s.h*limit) * d.logBetween(0.00005, 0.006))
		bright, big := recipe.logBetween(0.15, 1.5), recipe.between(0.3, 0.9)
		for range n {
			dab(p, d.between(0, float64(limit)), d.between(0, float64(s.h)), big*d.between(0.5, 1.2), bright*d.between(0.2, 1), true)
		}
	}
	for range recipe.pick(5, 2, 1) { // the surface's echo
		at, bright, wide := recipe.between(0.1, 1)*float64(limit), recipe.logBetween(0.05, 1), recipe.between(0.4, 2.5)
		wob, torn := d.line(s.h, d.logBetween(5, 100), 0.6), d.line(s.h, d.logBetween(8, 60), 0.5)
		amp := d.between(0, 3)
		for r := range s.h {
			dab(p, at+amp*float64(wob[r]), float64(r), wide, bright*max(0, 0.5+float64(torn[r])), true)
		}
	}
	s.ring(recipe, p)
	return p
}

// ring lays the transmit pulse: a bright or dark band at the nadir, lines beside it.
func (s *side) ring(recipe dice, p plane) {
	band := int(recipe.logBetween(1, 0.25*float64(s.first[0])+2))
	bright := recipe.logBetween(0.3, 6)
	if recipe.chance(0.25) {
		bright = 0.001
	}
	lines := recipe.pick(3, 1, 1, 1)
	for r := range s.h {
		row := p.row(r)
		for i := range min(band, len(row), int(s.first[r])) {
			row[i] = float32(bright)
		}
	}
	for range lines {
		at, v := int(recipe.between(0, 0.6)*float64(s.first[0])), float32(recipe.logBetween(0.05, 1.5))
		for r := range s.h {
			if at < int(s.first[r])-2 && at < s.w {
				p.row(r)[at] += v
			}
		}
	}
}

// level is the mean bottom echo around a place; in the water column that of the bottom just past the first return.
func (s *side) level(x, r int) float32 {
	r = min(max(r, 0), s.h-1)
	x = max(x, int(s.first[r])+4)
	sum, n := float32(0), float32(0)
	for j := max(r-6, 0); j <= min(r+6, s.h-1); j += 3 {
		for i := max(x-8, int(s.first[j])); i <= min(x+8, s.w-1); i += 4 {
			sum += s.echo.v[j*s.w+i]
			n++
		}
	}
	if n == 0 {
		return 0.2
	}
	return sum / n
}

// add lays a stamp's light at column x, row r, strength times the level there, and tells what of it is seen.
func (s *side) add(p plane, x, r int, strength float32) image.Rectangle {
	var seen image.Rectangle
	for j := range p.h {
		y := r + j
		if y < 0 || y >= s.h {
			continue
		}
		glow, shade := s.glow.row(y), s.shade.row(y)
		for i, v := range p.row(j) {
			at := x + i
			if v < 0.04 || at < 0 || at >= s.w {
				continue
			}
			glow[at] = max(glow[at], v*strength*(0.35+0.65*shade[at]))
			if v > 0.33 {
				seen = seen.Union(image.Rect(at, y, at+1, y+1))
			}
		}
	}
	return seen
}

// lit keeps how shaded a stamp's own bright samples are.
func (s *side) lit(p plane, x, r int) []float32 {
	out := make([]float32, len(p.v))
	for i, v := range p.v {
		if at, y := x+i%p.w, r+i/p.w; v > 0.33 && at >= 0 && at < s.w && y >= 0 && y < s.h {
			out[i] = s.shade.v[y*s.w+at]
		}
	}
	return out
}

// relight gives them back what their own shadow took.
func (s *side) relight(p plane, x, r int, before []float32) {
	for i, b := range before {
		if b > 0 {
			s.shade.v[(r+i/p.w)*s.w+x+i%p.w] = b
		}
	}
}

// tint multiplies the bottom by 1 + amp times the stamp; the water column is left alone.
func (s *side) tint(p plane, x, r int, amp float32) {
	for j := range p.h {
		y := r + j
		if y < 0 || y >= s.h {
			continue
		}
		row := s.echo.row(y)
		for i, v := range p.row(j) {
			if at := x + i; at > int(s.first[y])+1 && at < s.w {
				row[at] *= max(1+amp*v, 0.05)
			}
		}
	}
}
