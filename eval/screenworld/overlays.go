package screenworld

import (
	"fmt"
	"image"
	"image/color"
	"math"
)

// overlays draws what lies over the main record.
func (s *screen) overlays() {
	r, k := s.r, s.plan.clutter
	if chance(r, 0.6*k) {
		s.rangeScale()
	}
	for range int(k * between(r, 0, 4)) {
		s.caption()
	}
	for range int(k * between(r, 0, 5)) {
		s.waypoint()
	}
	if chance(r, 0.4*k) {
		s.cursor()
	}
	if chance(r, 0.2*k) {
		s.barOver()
	}
	if s.plan.inset {
		s.zoom()
	}
	for range s.plan.menus {
		s.menu()
	}
}

// somewhere is a random place of the main record where a box of a size fits, or its corner.
func (s *screen) somewhere(size image.Point) image.Point {
	b := s.main.rect
	return image.Pt(b.Min.X+s.r.IntN(max(b.Dx()-size.X, 1)), b.Min.Y+s.r.IntN(max(b.Dy()-size.Y, 1)))
}

// plain is a colour that stands out from the record: the theme's or white or yellow.
func (s *screen) plain() color.RGBA {
	return pick(s.r, []color.RGBA{s.theme.ink, s.theme.accent, {255, 255, 255, 255}, {255, 230, 40, 255}, {40, 255, 90, 255}})
}

// rangeScale draws upright lines at even ranges, or ticks, with figures.
func (s *screen) rangeScale() {
	r, rec := s.r, s.main
	b := rec.rect
	steps := 2 + r.IntN(4)
	full, ticks, dotted := chance(r, 0.4), chance(r, 0.5), chance(r, 0.4)
	col := s.plain()
	y := b.Min.Y + 2
	if chance(r, 0.4) {
		y = b.Max.Y - 16
	}
	for side := range 2 {
		for k := 1; k <= steps; k++ {
			out := float64(k) / float64(steps) * float64(rec.w.cells) * rec.across
			if int(out) >= rec.width[side] {
				continue
			}
			x := b.Min.X + rec.column(side, int(out))
			line := image.Rect(x, b.Min.Y, x+1, b.Max.Y)
			if !full {
				line = image.Rect(x, y, x+1, y+8).Intersect(b)
			}
			if full || ticks {
				for yy := line.Min.Y; yy < line.Max.Y; yy++ {
					if !dotted || yy/3%2 == 0 {
						s.img.SetRGBA(x, yy, col)
					}
				}
				s.note("line", line)
			}
			text := fmt.Sprintf("%.0f", float64(k)/float64(steps)*rec.plan.rangeM*rec.shrink)
			size := extent(text, s.theme.type1, 11)
			if at := image.Pt(x-size.X-2, y); at.X > b.Min.X && at.Y+size.Y < b.Max.Y {
				s.note("text", s.write(text, s.theme.type1, 11, at, col))
			}
		}
	}
}

// caption writes a text over the record, on a plate or bare.
func (s *screen) caption() {
	r := s.r
	text := pick(s.r, words) + " " + figure(r) + pick(r, units)
	px := between(r, 10, 26)
	size := extent(text, s.theme.type2, px)
	at := s.somewhere(size.Add(image.Pt(8, 6)))
	if chance(r, 0.5) {
		plate := image.Rectangle{at, at.Add(size).Add(image.Pt(8, 6))}.Intersect(s.main.rect)
		s.fill(plate, s.theme.pane)
		if chance(r, 0.5) {
			s.edge(plate, 1, s.theme.ink)
		}
		s.write(text, s.theme.type2, px, at.Add(image.Pt(4, 3)), s.theme.ink)
		s.note("plate", plate)
		return
	}
	s.note("text", s.write(text, s.theme.type2, px, at, s.plain()))
}

// waypoint draws a small sign, most with a name beside it.
func (s *screen) waypoint() {
	r := s.r
	size := 7 + r.IntN(10)
	at := s.somewhere(image.Pt(size, size))
	b := image.Rectangle{at, at.Add(image.Pt(size, size))}.Intersect(s.main.rect)
	col := s.plain()
	x, y, half := float64(at.X)+float64(size)/2, float64(at.Y)+float64(size)/2, float64(size)/2
	kind := "plate"
	switch r.IntN(4) {
	case 0:
		s.dot(b, x, y, half-0.5, col)
	case 1:
		s.fill(b, col)
		s.fill(b.Inset(2), s.theme.back)
	case 2:
		kind = "cursor"
		s.stroke(b, x-half, y-half, x+half, y+half, 1, col)
		s.stroke(b, x-half, y+half, x+half, y-half, 1, col)
	default:
		for k := range size {
			s.fill(image.Rect(at.X+k/2, b.Max.Y-k-1, b.Max.X-k/2, b.Max.Y-k).Intersect(b), col)
		}
	}
	s.note(kind, b)
	if !chance(r, 0.6) {
		return
	}
	text := fmt.Sprintf("%c%02d", 'A'+rune(r.IntN(26)), r.IntN(100))
	where := image.Pt(b.Max.X+2, b.Min.Y)
	if end := where.Add(extent(text, s.theme.type1, 11)); end.In(s.main.rect) {
		s.note("text", s.write(text, s.theme.type1, 11, where, col))
	}
}

// cursor draws a cross, small or over the whole record.
func (s *screen) cursor() {
	r, b := s.r, s.main.rect
	at := s.somewhere(image.Pt(1, 1))
	col := s.plain()
	arm := 8 + r.IntN(20)
	if chance(r, 0.4) {
		arm = 5000
	}
	across := image.Rect(at.X-arm, at.Y, at.X+arm+1, at.Y+1).Intersect(b)
	down := image.Rect(at.X, at.Y-arm, at.X+1, at.Y+arm+1).Intersect(b)
	s.fill(across, col)
	s.fill(down, col)
	if arm < 5000 {
		s.note("cursor", across.Union(down))
		return
	}
	s.note("line", across)
	s.note("line", down)
}

// barOver lays a status bar over the record's upper or lower end.
func (s *screen) barOver() {
	b := s.main.rect
	high := min(16+s.r.IntN(18), b.Dy()/6)
	if chance(s.r, 0.5) {
		b.Min.Y = b.Max.Y - high
	} else {
		b.Max.Y = b.Min.Y + high
	}
	s.bar(b)
	s.note("bar", b)
}

// zoom draws an enlarged bit of the record into a corner of it.
func (s *screen) zoom() {
	r, b := s.r, s.main.rect
	wide, high := int(float64(b.Dx())*between(r, 0.15, 0.3)), int(float64(b.Dy())*between(r, 0.15, 0.35))
	times := between(r, 1.8, 4)
	from := s.somewhere(image.Pt(int(float64(wide)/times)+1, int(float64(high)/times)+1))
	source := *s.img
	source.Pix = append([]uint8(nil), s.img.Pix...)
	at := image.Pt(b.Min.X+r.IntN(2)*(b.Dx()-wide), b.Min.Y+r.IntN(2)*(b.Dy()-high))
	if s.plan.insetBeside {
		at = s.somewhere(image.Pt(wide, high))
	}
	box := image.Rectangle{at, at.Add(image.Pt(wide, high))}
	for y := range high {
		for x := range wide {
			s.img.SetRGBA(at.X+x, at.Y+y, source.RGBAAt(from.X+int(float64(x)/times), from.Y+int(float64(y)/times)))
		}
	}
	s.edge(box, 1+r.IntN(2), s.plain())
	s.note("plate", box)
}

// menu lays a dialog over the record: a heading and lines, some of them chosen.
func (s *screen) menu() {
	r, b := s.r, s.main.rect
	lines := 3 + r.IntN(6)
	px := between(r, 11, 18)
	step := int(px * between(r, 1.5, 2.1))
	size := image.Pt(int(px*between(r, 8, 14)), (lines+1)*step)
	size.X, size.Y = min(size.X, b.Dx()/2), min(size.Y, b.Dy()*2/3)
	at := s.somewhere(size)
	if chance(r, 0.4) {
		at.X = b.Min.X + r.IntN(2)*(b.Dx()-size.X)
	}
	box := image.Rectangle{at, at.Add(size)}.Intersect(b)
	if chance(r, 0.2) {
		s.shade(box, s.theme.pane, between(r, 0.8, 0.95))
	} else {
		s.fill(box, s.theme.pane)
	}
	s.fill(image.Rect(box.Min.X, box.Min.Y, box.Max.X, box.Min.Y+step).Intersect(box), mixed(s.theme.pane, s.theme.accent, 0.6))
	chosen := 1 + r.IntN(lines)
	for k := range lines + 1 {
		y := box.Min.Y + k*step
		if k == chosen {
			s.fill(image.Rect(box.Min.X+2, y, box.Max.X-2, y+step).Intersect(box), mixed(s.theme.pane, s.theme.ink, 0.35))
		}
		text := pick(r, words)
		if k > 0 && chance(r, 0.6) {
			text += " " + figure(r)
		}
		s.writeIn(box, text, px, image.Pt(box.Min.X+6, y+int(math.Max(float64(step)-px, 0)/2)), s.theme.ink)
	}
	s.edge(box, 1+r.IntN(2), mixed(s.theme.ink, s.theme.pane, 0.3))
	s.note("plate", box)
}
