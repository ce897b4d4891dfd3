package pulseworld

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// face picks a typeface and a size; the plain bitmap face stands in where an outline can't be set.
func (d *dice) face() font.Face {
	if d.chance(0.2) {
		return basicfont.Face7x13
	}
	ttf := [][]byte{goregular.TTF, gomono.TTF, gobold.TTF}[d.IntN(3)]
	f, err := opentype.Parse(ttf)
	if err != nil {
		return basicfont.Face7x13
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: d.logu(9, 30), DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return basicfont.Face7x13
	}
	return face
}

func (d *dice) ink() color.RGBA {
	switch d.IntN(4) {
	case 0:
		return color.RGBA{255, 255, 255, 255}
	case 1:
		return color.RGBA{uint8(d.IntN(60)), uint8(d.IntN(60)), uint8(d.IntN(60)), 255}
	}
	return color.RGBA{uint8(d.IntN(256)), uint8(d.IntN(256)), uint8(d.IntN(256)), 255}
}

// words makes a figure or a note as screens show them.
func (d *dice) words() string {
	switch d.IntN(8) {
	case 0:
		return fmt.Sprintf("%.1f", d.uni(0.5, 60))
	case 1:
		return fmt.Sprintf("%d m", d.int(2, 60))
	case 2:
		return fmt.Sprintf("%02d:%02d:%02d", d.IntN(24), d.IntN(60), d.IntN(60))
	case 3:
		return fmt.Sprintf("%.4f N", d.uni(40, 60))
	case 4:
		return fmt.Sprintf("%.1f kn", d.uni(1, 6))
	case 5:
		return fmt.Sprintf("%d kHz", d.int(300, 1400))
	case 6:
		return fmt.Sprintf("%.1f °C", d.uni(2, 24))
	}
	return fmt.Sprintf("WP %d", d.int(1, 99))
}

// drawRims fills the bars beside the panel.
func (w *world) drawRims(img *image.RGBA) {
	p := &w.disp
	ground := w.ink()
	if w.chance(0.5) {
		ground = color.RGBA{20, 22, 26, 255}
	}
	draw.Draw(img, img.Bounds(), image.NewUniform(ground), image.Point{}, draw.Src)
	b := p.panel
	for _, r := range []image.Rectangle{
		image.Rect(0, 0, p.w, b.Y), image.Rect(0, b.Y+b.H, p.w, p.h), image.Rect(0, b.Y, b.X, b.Y+b.H), image.Rect(b.X+b.W, b.Y, p.w, b.Y+b.H),
	} {
		if r.Dx() < 14 || r.Dy() < 14 {
			continue
		}
		face := w.face()
		sub, _ := img.SubImage(r).(*image.RGBA)
		for range w.int(0, 5) {
			w.write(sub, face, image.Pt(r.Min.X+w.IntN(r.Dx()), r.Min.Y+w.IntN(r.Dy())), w.words(), w.ink())
		}
		if w.chance(0.3) {
			for i := range 256 {
				x := r.Min.X + i*r.Dx()/256
				draw.Draw(sub, image.Rect(x, r.Min.Y+2, x+r.Dx()/256+1, r.Min.Y+8), image.NewUniform(p.palette[i]), image.Point{}, draw.Src)
			}
		}
	}
}

// write sets text with its left end at a point and returns the tight box of its ink.
func (w *world) write(img *image.RGBA, face font.Face, at image.Point, text string, ink color.RGBA) image.Rectangle {
	dr := font.Drawer{Dst: img, Src: image.NewUniform(ink), Face: face, Dot: fixed.P(at.X, at.Y)}
	b, _ := dr.BoundString(text)
	dr.DrawString(text)
	return image.Rect(b.Min.X.Floor(), b.Min.Y.Floor(), b.Max.X.Ceil(), b.Max.Y.Ceil()).Intersect(img.Bounds())
}

// furnish draws what a screen lays over the panel and keeps the boxes.
func (w *world) furnish(img *image.RGBA) {
	if w.chance(0.35) {
		return
	}
	p := w.disp.panel
	area := p.Rect()
	sub, _ := img.SubImage(area).(*image.RGBA)
	keep := func(kind string, r image.Rectangle) {
		if r = r.Intersect(area); !r.Empty() {
			w.disp.furniture = append(w.disp.furniture, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(r)})
		}
	}
	fill := func(r image.Rectangle, c color.RGBA) { draw.Draw(sub, r, image.NewUniform(c), image.Point{}, draw.Src) }
	face := w.face()
	for range w.int(0, 5) {
		at := image.Pt(p.X+w.IntN(p.W), p.Y+12+w.IntN(p.H))
		if w.chance(0.5) {
			at = image.Pt(p.X+w.int(2, 30), p.Y+20+w.int(0, 20)+w.IntN(2)*(p.H-50))
		}
		text := w.words()
		if w.chance(0.35) {
			dr := font.Drawer{Face: face, Dot: fixed.P(at.X, at.Y)}
			b, _ := dr.BoundString(text)
			plate := image.Rect(b.Min.X.Floor()-w.int(1, 5), b.Min.Y.Floor()-w.int(1, 5), b.Max.X.Ceil()+w.int(1, 5), b.Max.Y.Ceil()+w.int(1, 5))
			fill(plate, w.ink())
			w.write(sub, face, at, text, w.ink())
			keep("plate", plate)
			continue
		}
		keep("text", w.write(sub, face, at, text, w.ink()))
	}
	if w.chance(0.25) {
		w.drawScale(sub, fill, keep)
	}
	if w.chance(0.2) { // a cursor: crossed lines, through all or short
		x, y, c := p.X+w.IntN(p.W), p.Y+w.IntN(p.H), w.ink()
		dx, dy := p.W, p.H
		if w.chance(0.6) {
			dx = w.int(6, 30)
			dy = dx
		}
		t := w.int(1, 2)
		r1, r2 := image.Rect(x-dx, y, x+dx, y+t), image.Rect(x, y-dy, x+t, y+dy)
		fill(r1, c)
		fill(r2, c)
		keep("cursor", r1)
		keep("cursor", r2)
	}
	if w.chance(0.2) { // a bar along a rim
		t := w.int(4, 30)
		r := image.Rect(p.X, p.Y, p.X+t, p.Y+p.H)
		switch w.IntN(3) {
		case 0:
			r = image.Rect(p.X+p.W-t, p.Y, p.X+p.W, p.Y+w.int(p.H/4, p.H))
		case 1:
			r = image.Rect(p.X, p.Y+p.H-t, p.X+p.W, p.Y+p.H)
		}
		fill(r, w.ink())
		keep("bar", r)
	}
}

// drawScale draws lines of equal range, dashed in some, with their figures.
func (w *world) drawScale(sub *image.RGBA, fill func(image.Rectangle, color.RGBA), keep func(string, image.Rectangle)) {
	p := w.disp.panel
	c := w.ink()
	face := w.face()
	n := w.int(2, 6)
	dash := 0
	if w.chance(0.5) {
		dash = w.int(3, 12)
	}
	for i := 1; i < n; i++ {
		x := p.X + i*p.W/n
		r := image.Rect(x, p.Y, x+1, p.Y+p.H)
		if dash == 0 {
			fill(r, c)
		}
		for y := p.Y; dash > 0 && y < p.Y+p.H; y += 2 * dash {
			fill(image.Rect(x, y, x+1, y+dash), c)
		}
		keep("line", r)
		if w.chance(0.7) {
			keep("text", w.write(sub, face, image.Pt(x+3, p.Y+18), fmt.Sprintf("%.0f", w.rangeM*float64(i)/float64(n)), c))
		}
	}
}
