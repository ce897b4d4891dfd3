package scene

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// screen paints the panel and the furniture around and over it.
type screen struct {
	spec *Spec
	img  *image.RGBA
	face font.Face
	ink  color.RGBA // on bars
	bar  color.RGBA
	line color.RGBA // over the panel
	// drawn lists what was drawn over the panel, in pixels of the screen.
	drawn []eval.FurnitureLabel
	chain Chain // as the record exposed it
	// darkIsStrong is true where colours darken with the echo: by the palette or the chain's inversion, not by both.
	darkIsStrong bool
}

// paintScreen draws the whole screen of a capture.
func paintScreen(s *Spec, sides [2]*drawn) (*screen, error) {
	colours, err := s.Display.colours()
	if err != nil {
		return nil, err
	}
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("reading the screen font: %w", err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: float64(max(9, s.Screen.TextPx)), DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, fmt.Errorf("sizing the screen font: %w", err)
	}
	defer face.Close()
	p := &screen{spec: s, img: image.NewRGBA(image.Rect(0, 0, s.ScreenW, s.ScreenH)), face: face}
	p.ink, p.bar = color.RGBA{225, 230, 235, 255}, color.RGBA{28, 32, 40, 255}
	if s.Screen.Light {
		p.ink, p.bar = color.RGBA{20, 24, 30, 255}, color.RGBA{214, 218, 222, 255}
	}
	p.darkIsStrong = (lum(colours[0]) > lum(colours[len(colours)-1])) != (s.Chain.On && s.Chain.Invert)
	p.line = color.RGBA{235, 235, 235, 255}
	if (lum(colours[0]) > 128) != s.Chain.Invert {
		p.line = color.RGBA{25, 25, 25, 255}
	}
	draw.Draw(p.img, p.img.Bounds(), image.NewUniform(p.bar), image.Point{}, draw.Src)
	if s.Chain.On {
		whole := lay(s, sides)
		p.chain = s.Chain.exposed(whole)
		p.chain.paint(p.img, p.chain.rescale(whole, p.chain.W, p.chain.H), s.PanelX, s.PanelY, colours)
		p.panes(whole, colours)
	} else {
		p.panel(sides, colours)
	}
	p.bars()
	p.second(colours)
	p.overlays(colours)
	if err := p.plates(colours); err != nil {
		return nil, err
	}
	return p, nil
}

func lum(c color.RGBA) int { return (299*int(c.R) + 587*int(c.G) + 114*int(c.B)) / 1000 }

func (p *screen) panel(sides [2]*drawn, colours *[256]color.RGBA) {
	s := p.spec
	for r := range s.Rows {
		at := p.img.PixOffset(s.PanelX, s.PanelY+r)
		for c := range s.PortPx + s.StarboardPx {
			v := float32(0)
			if r < s.Pings {
				if c < s.PortPx {
					v = sides[portSide].v[r*s.PortPx+s.PortPx-1-c]
				} else {
					v = sides[starboardSide].v[r*s.StarboardPx+c-s.PortPx]
				}
			}
			k := colours[uint8(v*255+0.5)]
			o := at + 4*c
			p.img.Pix[o], p.img.Pix[o+1], p.img.Pix[o+2], p.img.Pix[o+3] = k.R, k.G, k.B, 255
		}
	}
}

func (p *screen) fill(r image.Rectangle, c color.Color) {
	draw.Draw(p.img, r, image.NewUniform(c), image.Point{}, draw.Over)
}

// text writes with its baseline at y.
func (p *screen) text(x, y int, c color.Color, t string) {
	d := font.Drawer{Dst: p.img, Src: image.NewUniform(c), Face: p.face, Dot: fixed.P(x, y)}
	d.DrawString(t)
}

// over writes on the panel with its baseline at y.
func (p *screen) over(x, y int, t string) {
	p.text(x, y, p.line, t)
	p.note("text", p.extent(x, y, t))
}

// extent is the box of text with its baseline at y.
func (p *screen) extent(x, y int, t string) image.Rectangle {
	b, _ := font.BoundString(p.face, t)
	return image.Rect(b.Min.X.Floor(), b.Min.Y.Floor(), b.Max.X.Ceil(), b.Max.Y.Ceil()).Add(image.Pt(x, y))
}

// note keeps the box of something drawn over the panel.
func (p *screen) note(kind string, r image.Rectangle) {
	if r = r.Intersect(p.spec.panelBox().Rect()); !r.Empty() {
		p.drawn = append(p.drawn, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(r)})
	}
}

func (p *screen) width(t string) int { return font.MeasureString(p.face, t).Ceil() }

// depth is the depth reading; the transducer hangs 0.4 m below the surface.
func (p *screen) depth() float64 {
	if p.spec.Screen.DepthM > 0 {
		return p.spec.Screen.DepthM
	}
	return p.spec.AltitudeM + 0.4
}

// bars draws the strips over and under the panel with readings of an invented boat.
func (p *screen) bars() {
	s := p.spec
	rng := newRand(s.Seed, streamScreen)
	clock := fmt.Sprintf("%02d:%02d:%02d", 5+rng.IntN(14), rng.IntN(60), rng.IntN(60))
	water := 6 + 18*rng.Float64()
	if s.Screen.Clock != "" {
		clock = s.Screen.Clock
	}
	if s.Screen.WaterC != 0 {
		water = s.Screen.WaterC
	}
	readings := []string{
		fmt.Sprintf("Depth %.1f m", p.depth()), fmt.Sprintf("%.1f km/h", s.SpeedMps*3.6),
		fmt.Sprintf("Water %.1f C", water), fmt.Sprintf("Range %.0f m", s.RangeM), clock,
	}
	if h := s.Screen.TopBar; h > 0 {
		step := s.ScreenW / len(readings)
		for i, t := range readings {
			p.text(10+i*step, h/2+s.Screen.TextPx/3, p.ink, t)
		}
	}
	if h := s.Screen.BottomBar; h > 0 {
		y := s.ScreenH - h/2 + s.Screen.TextPx/3
		mode := s.Screen.Mode
		if mode == "" {
			mode = s.sidesShown()
		}
		p.text(10, y, p.ink, mode)
		t := fmt.Sprintf("Echo level %d   Shade %d", rng.IntN(20), rng.IntN(20))
		p.text(s.ScreenW-p.width(t)-10, y, p.ink, t)
	}
	if s.Screen.Labels {
		x, y := s.PanelX+8, s.PanelY+s.Screen.TextPx+8
		for _, t := range readings[:2] {
			p.over(x, y, t)
			y += s.Screen.TextPx + 5
		}
		p.over(s.PanelX+s.shownW()-p.width(clock)-8, s.PanelY+s.shownH()-8, clock)
	}
}

// sidesShown says in words what the panel shows.
func (s *Spec) sidesShown() string {
	switch {
	case s.PortPx == 0:
		return fmt.Sprintf("Starboard only, %.0f m", s.RangeM)
	case s.StarboardPx == 0:
		return fmt.Sprintf("Port only, %.0f m", s.RangeM)
	}
	return fmt.Sprintf("Both sides, %.0f m each", s.RangeM)
}

// overlays draws range lines, cursor and bars over the panel.
func (p *screen) overlays(colours *[256]color.RGBA) {
	s := p.spec
	widest := max(s.PortPx, s.StarboardPx)
	stretch := float64(s.shownW()) / float64(s.PortPx+s.StarboardPx)
	w, h := s.shownW(), s.shownH()
	fade := color.RGBA{p.line.R, p.line.G, p.line.B, 255}
	alpha := uint8(255 * min(1, max(0, s.Screen.GridAlpha)))
	thin := color.NRGBA{fade.R, fade.G, fade.B, alpha}
	for i := 1; i <= s.Screen.GridLines; i++ {
		off := widest * i / (s.Screen.GridLines + 1)
		label := fmt.Sprintf("%.0f", s.RangeM*float64(i)/float64(s.Screen.GridLines+1))
		for side, sign := range []int{-1, 1} {
			if off >= s.sidePx(side) {
				continue
			}
			x := s.PanelX + int(math.Round(float64(s.PortPx+sign*off)*stretch))
			r := image.Rect(x, s.PanelY, x+1, s.PanelY+h)
			p.fill(r, thin)
			p.note("line", r)
			p.over(x+3, s.PanelY+s.Screen.TextPx+2, label)
		}
	}
	if s.Screen.Cursor {
		x, y := s.Screen.CursorX, s.Screen.CursorY
		red := color.RGBA{230, 70, 60, 255}
		p.fill(image.Rect(x-9, y, x+10, y+1), red)
		p.fill(image.Rect(x, y-9, x+1, y+10), red)
		p.note("cursor", image.Rect(x-9, y-9, x+10, y+10))
	}
	if s.Screen.ScaleBar {
		// A round number of metres near a fifth of the wider side.
		m := math.Pow(10, math.Floor(math.Log10(s.RangeM/5)))
		long := int(m / s.PixelM() * stretch)
		x, y := s.PanelX+w-long-14, s.PanelY+h-30
		if float64(s.PortPx)*stretch > float64(long+60) {
			x = s.PanelX + 14
		}
		p.fill(image.Rect(x, y, x+long, y+2), p.line)
		p.fill(image.Rect(x, y-4, x+1, y+6), p.line)
		p.fill(image.Rect(x+long-1, y-4, x+long, y+6), p.line)
		p.note("bar", image.Rect(x, y-4, x+long, y+6))
		p.over(x, y-6, fmt.Sprintf("%g m", m))
	}
	if s.Screen.ColourBar {
		x, y := s.PanelX+w-16, s.PanelY+h/4
		for i := range h / 3 {
			p.fill(image.Rect(x, y+i, x+10, y+i+1), colours[255-255*i*3/h])
		}
		p.note("bar", image.Rect(x, y, x+10, y+h/3))
	}
}

// second draws the other panel: a depth history or a chart of the invented lake.
func (p *screen) second(colours *[256]color.RGBA) {
	s := p.spec
	box := image.Rect(s.Screen.SecondX, s.Screen.SecondY, s.Screen.SecondX+s.Screen.SecondW, s.Screen.SecondY+s.Screen.SecondH)
	switch s.Screen.Second {
	case "history":
		p.history(box, colours)
	case "chart":
		p.chart(box)
	}
}

// history is a downward sounder's record: surface noise, water, the bottom's line and its tail, newest at the right.
func (p *screen) history(box image.Rectangle, colours *[256]color.RGBA) {
	s := p.spec
	ground := newTerrain(s)
	rng := newRand(s.Seed, streamScreen+100)
	full := s.AltitudeM * 1.6
	for x := box.Min.X; x < box.Max.X; x++ {
		y := s.TrackM() * (float64(x-box.Min.X)/float64(box.Dx()) - 0.5)
		bottom := (s.AltitudeM - ground.at(0, y)) / full * float64(box.Dy())
		for r := range box.Dy() {
			d := float64(r) - bottom
			v := 0.04 + 0.05*rng.Float64()
			switch {
			case r < 6:
				v = 0.5 + 0.5*rng.Float64()
			case d >= 0:
				v = (0.25 + 0.75*math.Exp(-d/18)) * (0.7 + 0.3*rng.Float64())
			}
			p.img.SetRGBA(x, box.Min.Y+r, colours[uint8(255*min(1, v))])
		}
	}
	p.text(box.Min.X+6, box.Min.Y+s.Screen.TextPx+10, p.line, fmt.Sprintf("%.1f m", p.depth()))
	p.fill(image.Rect(box.Min.X-2, box.Min.Y, box.Min.X, box.Max.Y), p.bar)
}

// chart shows depth bands of the invented lake with the boat's track.
func (p *screen) chart(box image.Rectangle) {
	s := p.spec
	bands := []color.RGBA{{222, 208, 160, 255}, {190, 220, 235, 255}, {150, 195, 225, 255}, {110, 165, 210, 255}, {80, 135, 190, 255}}
	n1 := smoothNoise{seed: uint64(s.Seed) + 77, cell: 1}
	for y := range box.Dy() {
		n1.line(float64(y)/float64(box.Dy())*4, 0, 5)
		for x := range box.Dx() {
			u := n1.at(float64(x)/float64(box.Dx())*4)*0.5 + 1.3 + 1.2*math.Cos(4*float64(x)/float64(box.Dx())-2)
			b := min(len(bands)-1, max(0, int(u*1.6)))
			p.img.SetRGBA(box.Min.X+x, box.Min.Y+y, bands[b])
		}
	}
	for i := range box.Dy() / 2 {
		x := box.Min.X + box.Dx()/2 + int(10*math.Sin(float64(i)/40))
		p.fill(image.Rect(x, box.Max.Y-i-1, x+2, box.Max.Y-i), color.RGBA{200, 40, 60, 255})
	}
	cx, cy := box.Min.X+box.Dx()/2, box.Min.Y+box.Dy()/2
	p.fill(image.Rect(cx-4, cy-6, cx+6, cy+6), color.RGBA{20, 20, 20, 255})
	p.text(box.Min.X+6, box.Max.Y-8, color.RGBA{20, 20, 20, 255}, "Lake Ulvarn")
}
