package scene

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// plates writes the plates and draws the bars over the panel.
func (p *screen) plates(colours *[256]color.RGBA) error {
	s := p.spec
	for i := range s.Screen.Bars {
		p.edgeBar(&s.Screen.Bars[i], colours)
	}
	if len(s.Screen.Plates) == 0 {
		return nil
	}
	f, err := opentype.Parse(gobold.TTF)
	if err != nil {
		return fmt.Errorf("reading the plates' font: %w", err)
	}
	for i := range s.Screen.Plates {
		if err := p.plate(&s.Screen.Plates[i], f); err != nil {
			return err
		}
	}
	return nil
}

func (p *screen) plate(l *Plate, f *opentype.Font) error {
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: float64(l.TextPx), DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return fmt.Errorf("sizing the plates' font: %w", err)
	}
	defer face.Close()
	ink, ground := color.RGBA{250, 250, 250, 255}, color.RGBA{0, 0, 0, 255}
	if l.Light {
		ink, ground = ground, ink
	}
	b, _ := font.BoundString(face, l.Text)
	pad := max(1, l.TextPx/5)
	w, h := (b.Max.X-b.Min.X).Ceil()+2*pad, (b.Max.Y-b.Min.Y).Ceil()+2*pad
	// Text is drawn upright into a mask of its own, so that it can be turned.
	mask := image.NewAlpha(image.Rect(0, 0, w, h))
	d := font.Drawer{Dst: mask, Src: image.Opaque, Face: face, Dot: fixed.Point26_6{X: fixed.I(pad) - b.Min.X, Y: fixed.I(pad) - b.Min.Y}}
	d.DrawString(l.Text)
	if l.Upright {
		turned := image.NewAlpha(image.Rect(0, 0, h, w))
		for y := range h {
			for x := range w {
				turned.SetAlpha(y, w-1-x, mask.AlphaAt(x, y))
			}
		}
		mask, w, h = turned, h, w
	}
	box := image.Rect(l.X, l.Y, l.X+w, l.Y+h)
	if l.Filled {
		p.fill(box, ground)
	}
	draw.DrawMask(p.img, box, image.NewUniform(ink), image.Point{}, mask, image.Point{}, draw.Over)
	kind := "text"
	if l.Filled {
		kind = "plate"
	}
	p.note(kind, box)
	if l.TickPx > 0 {
		x := l.X + w/2
		r := image.Rect(x, box.Max.Y, x+1, box.Max.Y+l.TickPx)
		p.fill(image.Rect(x-1, box.Max.Y, x+2, box.Max.Y+l.TickPx), color.RGBA{0, 0, 0, 255})
		p.fill(r, color.RGBA{250, 250, 250, 255})
		if l.Twice {
			p.fill(image.Rect(x-3, box.Max.Y+l.TickPx/2, x-2, box.Max.Y+l.TickPx), color.RGBA{250, 250, 250, 255})
		}
		p.note("line", image.Rect(x-3, box.Max.Y, x+2, box.Max.Y+l.TickPx))
	}
	return nil
}

// edgeBar draws a ramp of the palette or an outlined scale with ticks.
func (p *screen) edgeBar(b *Bar, colours *[256]color.RGBA) {
	r := image.Rect(b.X, b.Y, b.X+b.W, b.Y+b.H)
	long := max(b.W, b.H)
	for i := range long {
		k := colours[255*i/long]
		at := image.Rect(b.X, b.Y+b.H-i-1, b.X+b.W, b.Y+b.H-i)
		if b.W > b.H {
			at = image.Rect(b.X+i, b.Y, b.X+i+1, b.Y+b.H)
		}
		switch {
		case b.Ramp:
			p.fill(at, k)
		case i%max(8, long/8) == 0:
			p.fill(at, p.line)
		}
	}
	for _, e := range []image.Rectangle{
		{r.Min, image.Pt(r.Max.X, r.Min.Y+1)}, {image.Pt(r.Min.X, r.Max.Y-1), r.Max},
		{r.Min, image.Pt(r.Min.X+1, r.Max.Y)}, {image.Pt(r.Max.X-1, r.Min.Y), r.Max},
	} {
		p.fill(e, p.line)
	}
	p.note("bar", r)
}

// panes draws the other panels of the screen.
func (p *screen) panes(record *plane, colours *[256]color.RGBA) {
	plain, err := ramp("spectrum")
	if err != nil {
		plain = colours
	}
	for _, n := range p.spec.Screen.Panes {
		box := image.Rect(n.X, n.Y, n.X+n.W, n.Y+n.H)
		c := plain
		if n.Own {
			c = colours
		}
		switch n.Kind {
		case "history":
			p.history(box, c)
		case "chart":
			p.chart(box)
		case "down":
			p.down(box, c)
		default:
			// The same record again, coarser.
			chain := p.chain
			chain.Smooth, chain.PostSmooth, chain.Kernel = 0.4, 0, KernelLinear
			chain.paint(p.img, chain.rescale(record, n.W, n.H), n.X, n.Y, c)
		}
	}
}

// down is a strip of a downward sounder that scrolls with the side-scan: water, the bottom and its tail across, newest on top.
func (p *screen) down(box image.Rectangle, colours *[256]color.RGBA) {
	s := p.spec
	ground := newTerrain(s)
	rng := newRand(s.Seed, streamScreen+150)
	full := s.AltitudeM * 1.5
	weak := octave{seed: uint64(s.Seed) + 5, cx: 9, cy: 14}
	for r := range box.Dy() {
		y := s.TrackM() * (0.5 - float64(r)/float64(box.Dy()))
		bottom := (s.AltitudeM - ground.at(0, y)) / full * float64(box.Dx())
		weak.line(float64(r), 0, float64(box.Dx()))
		for x := range box.Dx() {
			d := float64(x) - bottom
			v := 0.03 + 0.05*rng.Float64()
			if w := weak.at(float64(x)/weak.cx - float64(weak.i0)); d < -4 && w > 1.7 {
				v += 0.5 * (w - 1.7)
			}
			switch {
			case x < 4:
				v = 0.6 + 0.4*rng.Float64()
			case d >= 0:
				v = (0.2 + 0.8*math.Exp(-d/14)) * (0.6 + 0.4*rng.Float64())
			}
			p.img.SetRGBA(box.Min.X+x, box.Min.Y+r, colours[uint8(255*min(1, v))])
		}
	}
}
