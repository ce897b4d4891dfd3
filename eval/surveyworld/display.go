package surveyworld

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// show turns echo into grey of 0 to 1 at the panel's size: a logarithm or a power, contrast, clipping, then resampling and softness.
func (s *swath) show(echo plane, k kin) plane {
	mid := s.in(0.12, 0.75) // grey of the mean bottom
	logarithm, span, power := s.chance(0.4), s.log(18, 60), s.log(0.35, 1.3)
	switch k {
	case line:
		mid, logarithm, span = s.in(0.35, 1.05), true, s.in(20, 50)
	case quay:
		mid, logarithm, power = s.in(0.22, 0.55), s.chance(0.2), s.in(0.5, 1)
	case river:
		mid, logarithm, power = s.in(0.13, 0.55), false, s.in(0.6, 1.2)
	case effigy:
		mid, power = s.in(0.14, 0.7), s.in(0.6, 1.2)
	}
	if s.chance(0.06) {
		mid *= s.log(0.5, 1.6)
	}
	bend := s.NormFloat64() * 0.25
	// the curve is read from a table over the fourth root, which is fine where echo is weak
	const top, steps = 40.0, 4096
	table := make([]float32, steps+1)
	for i := range table {
		v := math.Pow(float64(i)/steps, 4) * top
		g := mid * math.Pow(v, power)
		if logarithm {
			g = mid + 10*math.Log10(v+1e-9)/span
		}
		g = math.Min(math.Max(g, 0), 1)
		table[i] = float32(math.Min(math.Max(g+bend*g*(1-g), 0), 1))
	}
	for i, v := range echo.v {
		t := float32(math.Sqrt(math.Sqrt(float64(min(v*(1/float32(top)), 1))))) * steps
		j := min(int(t), steps-1)
		echo.v[i] = table[j] + (table[j+1]-table[j])*(t-float32(j))
	}
	out := resize(echo, s.w, s.h, s.chance(0.4))
	if s.chance(0.2) {
		w := float32(s.in(0.05, 0.6))
		smooth(out, w, w*float32(s.log(0.5, 2)))
	}
	if s.chance(0.15) { // an edge lift, as viewers do
		soft := plane{out.w, out.h, append([]float32(nil), out.v...)}
		smooth(soft, 0.8, 0.8)
		g := float32(s.in(0.2, 0.9))
		for i, v := range out.v {
			out.v[i] = min(max(v+g*(v-soft.v[i]), 0), 1)
		}
	}
	return out
}

// palette is 256 colours whose luminance rises, or falls where inverted.
func (s *swath) palette(k kin) [256]color.RGBA {
	type stop struct{ t, r, g, b float64 }
	var stops []stop
	s.inverted = s.chance(0.07)
	pick := s.IntN(7)
	if s.chance(0.75) {
		pick = map[kin]int{line: 0, quay: 1, river: 0, effigy: 0}[k]
	}
	switch pick {
	case 0: // grey, perhaps tinted
		a := s.in(0.85, 1)
		stops = []stop{{0, 0, 0, 0}, {1, s.in(a, 1), s.in(a, 1), s.in(a, 1)}}
	case 1, 2: // copper: red leads, green follows, blue hardly
		lead := s.in(0.55, 0.95)
		stops = []stop{{0, 0, 0, 0}, {0.5, lead * s.in(0.6, 0.8), lead * s.in(0.25, 0.42), s.in(0, 0.06)},
			{lead, 1, s.in(0.6, 0.85), s.in(0, 0.1)},
			{1, 1, s.in(0.9, 1), s.in(0, 0.8)}}
	case 3: // dark violet over red to pale yellow
		stops = []stop{{0, 0, 0, 0.02}, {0.25, 0.3, 0.05, 0.4}, {0.5, 0.7, 0.2, 0.3}, {0.75, 0.97, 0.5, 0.1}, {1, 0.98, 1, 0.65}}
	case 4: // dark blue over green to yellow
		stops = []stop{{0, 0.26, 0, 0.32}, {0.25, 0.23, 0.32, 0.54}, {0.5, 0.13, 0.56, 0.55}, {0.75, 0.37, 0.79, 0.38}, {1, 0.99, 0.9, 0.15}}
	case 5: // one hue up to white
		r, g, b := s.Float64(), s.Float64(), s.Float64()
		m := math.Max(r, math.Max(g, b))
		stops = []stop{{0, 0, 0, 0}, {s.in(0.45, 0.75), r / m * 0.7, g / m * 0.7, b / m * 0.7}, {1, 1, 1, s.in(0.7, 1)}}
	default: // a dark tint up to a light one
		stops = []stop{{0, s.in(0, 0.15), s.in(0, 0.12), s.in(0, 0.3)}, {1, s.in(0.6, 1), s.in(0.7, 1), s.in(0.5, 1)}}
	}
	s.colours = [...]string{"grey", "copper", "copper", "ember", "lagoon", "hue", "tint"}[pick]
	if s.inverted {
		s.colours += "-inverted"
	}
	var lut [256]color.RGBA
	for i := range lut {
		t := float64(i) / 255
		j := 0
		for j < len(stops)-2 && t > stops[j+1].t {
			j++
		}
		a, b := stops[j], stops[j+1]
		f := math.Min((t-a.t)/(b.t-a.t), 1)
		c := color.RGBA{byte(255 * (a.r + f*(b.r-a.r))), byte(255 * (a.g + f*(b.g-a.g))), byte(255 * (a.b + f*(b.b-a.b))), 255}
		if s.inverted {
			lut[255-i] = c
		} else {
			lut[i] = c
		}
	}
	return lut
}

// picture colours the panel, sets it in the picture, draws what lies over and beside it and stores it.
func (s *swath) picture(grey plane, k kin) (*image.RGBA, error) {
	lut := s.palette(k)
	img := image.NewRGBA(image.Rect(0, 0, s.picW, s.picH))
	rim := color.RGBA{0, 0, 0, 255}
	if s.chance(0.4) {
		g := byte(s.IntN(256))
		rim = color.RGBA{g, byte(min(int(g)+s.IntN(30), 255)), byte(min(int(g)+s.IntN(40), 255)), 255}
	}
	draw.Draw(img, img.Bounds(), image.NewUniform(rim), image.Point{}, draw.Src)
	for y := range s.h {
		row := img.Pix[img.PixOffset(s.x, s.y+y):]
		for x, v := range grey.v[y*s.w : (y+1)*s.w] {
			c := lut[byte(v*255+0.5)]
			row[4*x], row[4*x+1], row[4*x+2], row[4*x+3] = c.R, c.G, c.B, 255
		}
	}
	s.furnish(img, k)
	if s.chance(0.35) {
		return img, nil
	}
	back, err := eval.AsJPEG(img, s.between(60, 95))
	if err != nil {
		return nil, err
	}
	draw.Draw(img, img.Bounds(), back, image.Point{}, draw.Src)
	return img, nil
}

// furnish draws text, plates, bars and lines over the picture and labels those on the panel.
func (s *swath) furnish(img *image.RGBA, k kin) {
	light, dark := color.RGBA{255, 255, 255, 255}, color.RGBA{0, 0, 0, 255}
	if s.chance(0.3) {
		light = color.RGBA{byte(s.between(120, 255)), byte(s.between(120, 255)), byte(s.between(0, 255)), 255}
	}
	plates := 0
	if k == river || k == effigy || s.chance(0.15) {
		plates = s.IntN(4)
	}
	for range plates {
		s.write(img, fmt.Sprintf("%d M", s.between(1, 12)*5), light, &dark, s.chance(0.6))
	}
	if s.chance(0.3) {
		for range s.between(1, 6) {
			words := []string{"12.4 m", "R 30", "455", "D 7.2", "SPD 3.1", "54.2101 N", "RANGE 40", "10:42:07", "18.3 C", "x2", "PORT", "STBD"}
			var plate *color.RGBA
			if s.chance(0.3) {
				plate = &dark
			}
			s.write(img, words[s.IntN(len(words))], light, plate, s.chance(0.15))
		}
	}
	if s.chance(0.1) { // range lines
		n := s.between(2, 6)
		for i := 1; i < n; i++ {
			for _, side := range []int{-1, 1} {
				x := s.x + int(s.col(float64(s.bins)*float64(i)/float64(n), side)*s.sx)
				s.stroke(img, detect.Box{X: x, Y: s.y, W: 1, H: s.h}, light, s.in(0.2, 0.8), "line")
			}
		}
	}
	if s.chance(0.1) {
		x, y := s.x+s.IntN(s.w), s.y+s.IntN(s.h)
		s.stroke(img, detect.Box{X: s.x, Y: y, W: s.w, H: 1}, light, s.in(0.3, 1), "cursor")
		s.stroke(img, detect.Box{X: x, Y: s.y, W: 1, H: s.h}, light, s.in(0.3, 1), "cursor")
	}
	if s.chance(0.15) {
		c := color.RGBA{byte(s.IntN(256)), byte(s.IntN(256)), byte(s.IntN(256)), 255}
		w := s.between(2, 24)
		b := []detect.Box{{X: 0, Y: 0, W: w, H: s.picH}, {X: s.picW - w, Y: 0, W: w, H: s.picH}, {X: 0, Y: 0, W: s.picW, H: w},
			{X: 0, Y: s.picH - w, W: s.picW, H: w}}[s.IntN(4)]
		s.stroke(img, b, c, 1, "bar")
	}
}

// stroke fills a box at some strength and labels it.
func (s *swath) stroke(img *image.RGBA, b detect.Box, c color.RGBA, strength float64, kind string) {
	r := b.Rect().Intersect(img.Bounds())
	if r.Empty() {
		return
	}
	a := uint8(255 * strength)
	draw.DrawMask(img, r, image.NewUniform(c), image.Point{}, image.NewUniform(color.Alpha{a}), image.Point{}, draw.Over)
	s.drawnOver(kind, detect.BoxOf(r))
}

// drawnOver labels what is drawn over the panel.
func (s *swath) drawnOver(kind string, b detect.Box) {
	if b.Rect().Overlaps(image.Rect(s.x, s.y, s.x+s.w, s.y+s.h)) {
		s.furniture = append(s.furniture, eval.FurnitureLabel{Kind: kind, Box: b})
	}
}

// write draws a word anywhere in the picture, on a plate or not, upright or turned.
func (s *swath) write(img *image.RGBA, word string, ink color.RGBA, plate *color.RGBA, turned bool) {
	face := basicfont.Face7x13
	w, h := 7*len(word)+4, 15
	small := image.NewAlpha(image.Rect(0, 0, w, h))
	fd := font.Drawer{Dst: small, Src: image.Opaque, Face: face, Dot: fixed.P(2, 11)}
	fd.DrawString(word)
	zoom := s.between(1, 2)
	bw, bh := w*zoom, h*zoom
	if turned {
		bw, bh = bh, bw
	}
	x0, y0 := s.IntN(max(s.picW-bw, 1)), s.IntN(max(s.picH-bh, 1))
	b := detect.Box{X: x0, Y: y0, W: bw, H: bh}
	if plate != nil {
		draw.Draw(img, b.Rect(), image.NewUniform(*plate), image.Point{}, draw.Src)
	}
	for y := range bh {
		for x := range bw {
			u, v := x/zoom, y/zoom
			if turned {
				u, v = w-1-y/zoom, x/zoom
			}
			if small.AlphaAt(u, v).A > 127 && image.Pt(x0+x, y0+y).In(img.Bounds()) {
				img.SetRGBA(x0+x, y0+y, ink)
			}
		}
	}
	kind := "text"
	if plate != nil {
		kind = "plate"
	}
	s.drawnOver(kind, b)
	if plate != nil && turned { // the tick that a range's plate stands on
		s.stroke(img, detect.Box{X: x0 + bw/2, Y: y0 + bh, W: zoom, H: 8 * zoom}, ink, 1, "line")
	}
}
