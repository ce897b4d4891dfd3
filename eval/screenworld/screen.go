package screenworld

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/eval"
)

// screen is the picture while it is drawn.
type screen struct {
	plan         plan
	r            *rand.Rand
	img          *image.RGBA
	panes        []pane
	mainRect     image.Rectangle // what the main record fills once it is full
	twinRect     image.Rectangle // empty where there is none
	main, twin   *record
	pal, twinPal *palette
	theme        theme
	hidden       []bool // pixels of the picture that a plate or bar lies over
	furniture    []eval.FurnitureLabel
}

// theme is the colours and the type of all that is no echo.
type theme struct {
	back, pane, ink, accent color.RGBA
	type1, type2            lettering
}

func newTheme(r *rand.Rand) theme {
	hue := r.Float64()
	t := theme{
		back:   solid(hued(hue, between(r, 0, 0.5), between(r, 0, 0.2))),
		pane:   solid(hued(hue, between(r, 0, 0.5), between(r, 0.05, 0.3))),
		ink:    solid(hued(hue+0.5, between(r, 0, 0.3), between(r, 0.75, 1))),
		accent: solid(hued(r.Float64(), between(r, 0.6, 1), between(r, 0.7, 1))),
		type1:  newLettering(r), type2: newLettering(r),
	}
	if chance(r, 0.25) { // dark on bright
		t.back, t.pane, t.ink = mixed(t.back, color.RGBA{255, 255, 255, 255}, 0.8), mixed(t.ink, t.pane, 0.08), t.back
	}
	return t
}

func newScreen(p plan, r *rand.Rand) *screen {
	s := &screen{plan: p, r: r, img: image.NewRGBA(image.Rect(0, 0, p.w, p.h)), hidden: make([]bool, p.w*p.h)}
	s.theme = newTheme(r)
	s.pal = newPalette(r)
	s.twinPal = s.pal
	if !p.twinAlike {
		s.twinPal = newPalette(r)
	}
	s.fill(s.img.Bounds(), s.theme.back)
	s.mainRect, s.panes = arranged(r, p.layout, s.img.Bounds(), p.rim)
	for i := range s.panes {
		if s.panes[i].kind != paneTwin {
			continue
		}
		twin := &s.panes[i].rect
		if twin.Dx()*twin.Dy() > s.mainRect.Dx()*s.mainRect.Dy() {
			*twin, s.mainRect = s.mainRect, *twin
		}
		s.twinRect = *twin
	}
	return s
}

// filled is the part of the main panel that echo has reached; the rest is blanked.
func (s *screen) filled(all image.Rectangle) image.Rectangle {
	if s.plan.fill >= 1 {
		return all
	}
	part := all
	part.Max.Y = all.Min.Y + max(int(float64(all.Dy())*s.plan.fill), min(all.Dy(), 100))
	blank := s.theme.pane
	if chance(s.r, 0.6) {
		blank = s.pal.at(0)
	}
	s.fill(all, blank)
	return part
}

// lay colours a record and draws its nadir.
func (s *screen) lay(rec *record, pal *palette) {
	s.glow(rec)
	for y := range rec.rect.Dy() {
		for x, v := range rec.v.row(y) {
			s.img.SetRGBA(rec.rect.Min.X+x, rec.rect.Min.Y+y, pal.at(v))
		}
	}
	for _, l := range rec.lost {
		v := rec.v.row(l[0])[0]
		s.fill(image.Rect(0, l[0], rec.rect.Dx(), l[1]).Add(rec.rect.Min), pal.at(v))
	}
	s.nadirLine(rec, pal)
}

// glow lays the transmit pulse over the middle of a record.
func (s *screen) glow(rec *record) {
	if rec.plan.nadir != nadirGlow && rec.plan.nadir != nadirGlowBeside {
		return
	}
	half := between(s.r, 2, 5+0.02*float64(rec.rect.Dx()))
	bright, uneven := between(s.r, 0.5, 1.1), between(s.r, 0, 0.3)
	for y := range rec.rect.Dy() {
		if rec.isLost(y) {
			continue
		}
		row := rec.v.row(y)
		k := bright * (1 - uneven*s.r.Float64())
		for x := range row {
			d := (float64(x) + 0.5 - rec.nadirX()) / half
			if math.Abs(d) < 2.5 {
				row[x] = min(max(row[x], float32(k*math.Exp(-d*d)*(1-uneven*s.r.Float64()))), 1)
			}
		}
	}
}

// nadirLine draws the line or the gap at a record's nadir.
func (s *screen) nadirLine(rec *record, pal *palette) {
	r := s.r
	x0, wide := int(rec.nadirX()), 1+r.IntN(2)
	col, dash := pal.at(1), 0
	switch rec.plan.nadir {
	case nadirBare, nadirGlow, nadirStyles:
		return
	case nadirDashed:
		dash = 3 + r.IntN(8)
	case nadirColoured:
		col, wide = solid(hued(r.Float64(), 1, 1)), 1+r.IntN(3)
	case nadirDark:
		col = pal.at(0)
	case nadirGlowBeside:
		x0 += (2 + r.IntN(5)) * (2*r.IntN(2) - 1)
		col = solid(hued(r.Float64(), r.Float64(), 1))
	case nadirGap:
		wide = rec.gap
		col = pick(r, []color.RGBA{s.theme.back, pal.at(0), s.theme.accent, pal.at(1)})
	case nadirThin:
	}
	for y := range rec.rect.Dy() {
		if dash > 0 && (y/dash)%2 == 1 {
			continue
		}
		s.fill(image.Rect(x0-wide/2, y, x0-wide/2+wide, y+1).Add(rec.rect.Min).Intersect(rec.rect), col)
	}
}

// covered is whether a plate or bar lies over a pixel of the picture.
func (s *screen) covered(x, y int) bool { return s.hidden[y*s.plan.w+x] }

// note sets down what was drawn over the main record, and what of it hides the record.
func (s *screen) note(kind string, r image.Rectangle) {
	in := r.Intersect(s.main.rect)
	if in.Empty() {
		return
	}
	s.furniture = append(s.furniture, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(in)})
	if kind != "plate" && kind != "bar" {
		return
	}
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			s.hidden[y*s.plan.w+x] = true
		}
	}
}

// light dims the picture away from a bright spot.
func (s *screen) light() {
	if s.plan.lightFall == 0 {
		return
	}
	x0, y0 := between(s.r, 0.2, 0.8)*float64(s.plan.w), between(s.r, 0.2, 0.8)*float64(s.plan.h)
	far := math.Hypot(float64(s.plan.w), float64(s.plan.h)) * 0.8
	for y := range s.plan.h {
		for x := range s.plan.w {
			dx, dy := (float64(x)-x0)/far, (float64(y)-y0)/far
			k := 1 - s.plan.lightFall*min((dx*dx+dy*dy)*2, 1)
			px := s.img.Pix[s.img.PixOffset(x, y):]
			for i := range 3 {
				px[i] = uint8(float64(px[i]) * k)
			}
		}
	}
}
