package patchworld

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// lettering is a text as an alpha mask, enlarged and perhaps turned.
func lettering(d dice, text string) *image.Alpha {
	face := basicfont.Face7x13
	small := image.NewAlpha(image.Rect(0, 0, 7*len(text), 13))
	(&font.Drawer{Dst: small, Src: image.Opaque, Face: face, Dot: fixed.P(0, face.Ascent)}).DrawString(text)
	k, turned := d.pick(5, 3, 1)+1, d.chance(0.25)
	w, h := small.Rect.Dx(), small.Rect.Dy()
	if turned {
		w, h = h, w
	}
	out := image.NewAlpha(image.Rect(0, 0, w*k, h*k))
	for y := range h * k {
		for x := range w * k {
			u, v := x/k, y/k
			if turned {
				u, v = h-1-v, u
			}
			out.SetAlpha(x, y, small.AlphaAt(u, v))
		}
	}
	return out
}

func words(d dice) string {
	switch d.IntN(5) {
	case 0:
		return fmt.Sprintf("%.1f m", d.between(0.5, 60))
	case 1:
		return fmt.Sprintf("%d", d.count(1, 120))
	case 2:
		return fmt.Sprintf("%02d:%02d:%02d", d.IntN(24), d.IntN(60), d.IntN(60))
	case 3:
		return fmt.Sprintf("%d M", 5*d.count(1, 10))
	}
	letters := make([]byte, d.count(3, 12))
	for i := range letters {
		letters[i] = byte('A' + d.IntN(26))
	}
	return string(letters)
}

func tone(d dice) color.RGBA {
	if d.chance(0.6) {
		g := []uint8{0, 0, 230, 255}[d.IntN(4)]
		return color.RGBA{g, g, g, 255}
	}
	return color.RGBA{uint8(d.IntN(256)), uint8(d.IntN(256)), uint8(d.IntN(256)), 255}
}

// overlay draws letters, plates, bars and lines over the panel and tells where.
func overlay(d dice, img *image.RGBA, panel image.Rectangle) []eval.FurnitureLabel {
	var out []eval.FurnitureLabel
	note := func(kind string, r image.Rectangle) {
		if r = r.Intersect(panel); !r.Empty() {
			out = append(out, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(r)})
		}
	}
	if d.chance(0.4) {
		ink, plate := tone(d), d.chance(0.4)
		for range d.count(1, 6) {
			mask := lettering(d, words(d))
			at := image.Pt(panel.Min.X+d.IntN(panel.Dx()), panel.Min.Y+d.IntN(panel.Dy()))
			if d.chance(0.5) {
				at.Y = panel.Min.Y + d.IntN(8)
			}
			box := mask.Rect.Add(at)
			kind := "text"
			if plate {
				kind = "plate"
				box = box.Inset(-3)
				draw.Draw(img, box.Intersect(panel), image.NewUniform(color.RGBA{A: 255}), image.Point{}, draw.Src)
				ink = color.RGBA{240, 240, 240, 255}
			}
			draw.DrawMask(img, mask.Rect.Add(at).Intersect(panel), image.NewUniform(ink), image.Point{}, mask, image.Point{}, draw.Over)
			note(kind, box)
		}
	}
	if d.chance(0.2) {
		ink := tone(d)
		for range d.count(1, 3) {
			x, y := panel.Min.X+d.IntN(panel.Dx()), panel.Min.Y+d.IntN(panel.Dy())
			line, kind := image.Rect(x, panel.Min.Y, x+1, panel.Max.Y), "line"
			if d.chance(0.5) {
				line, kind = image.Rect(panel.Min.X, y, panel.Max.X, y+1), "cursor"
			}
			draw.Draw(img, line, image.NewUniform(ink), image.Point{}, draw.Src)
			note(kind, line)
		}
	}
	if d.chance(0.12) {
		wide := d.count(4, 22)
		bar := image.Rect(panel.Max.X-wide, panel.Min.Y, panel.Max.X, panel.Max.Y)
		if d.chance(0.5) {
			bar = image.Rect(panel.Min.X, panel.Max.Y-wide, panel.Max.X, panel.Max.Y)
		}
		draw.Draw(img, bar, image.NewUniform(tone(d)), image.Point{}, draw.Src)
		note("bar", bar)
	}
	return out
}

// frame fills what is around the panel: plain, with letters and a scale of the palette.
func frame(d dice, img *image.RGBA, panel image.Rectangle, pal ramp) {
	draw.Draw(img, img.Rect, image.NewUniform(tone(d)), image.Point{}, draw.Src)
	if d.chance(0.5) {
		dark := uint8(d.IntN(60))
		draw.Draw(img, img.Rect, image.NewUniform(color.RGBA{dark, dark, dark, 255}), image.Point{}, draw.Src)
	}
	for range d.count(0, 8) {
		mask := lettering(d, words(d))
		at := image.Pt(d.IntN(img.Rect.Dx()), d.IntN(img.Rect.Dy()))
		draw.DrawMask(img, mask.Rect.Add(at), image.NewUniform(tone(d)), image.Point{}, mask, image.Point{}, draw.Over)
	}
	if right := img.Rect.Max.X - panel.Max.X; right > 14 && d.chance(0.5) {
		for y := panel.Min.Y; y < panel.Max.Y; y++ {
			c := pal.colours[255-255*(y-panel.Min.Y)/panel.Dy()]
			draw.Draw(img, image.Rect(panel.Max.X+4, y, panel.Max.X+12, y+1), image.NewUniform(c), image.Point{}, draw.Src)
		}
	}
}
