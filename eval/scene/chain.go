package scene

import (
	"image"
	"image/color"
	"math"
)

// shownW and shownH are the size of the panel on the screen in pixels.
func (s *Spec) shownW() int {
	if s.Chain.On {
		return s.Chain.W
	}
	return s.PortPx + s.StarboardPx
}

func (s *Spec) shownH() int {
	if s.Chain.On {
		return s.Chain.H
	}
	return s.Rows
}

// shown maps the panel's samples, laid on the screen one a pixel, to where the display draws them.
func (s *Spec) shown() warp {
	kx := float64(s.shownW()) / float64(s.PortPx+s.StarboardPx)
	ky := float64(s.shownH()) / float64(s.Rows)
	return warp{kx, 0, float64(s.PanelX) * (1 - kx), 0, ky, float64(s.PanelY) * (1 - ky), 0, 0, 1}
}

// lay puts the two sides together, port mirrored, outermost columns outside.
func lay(s *Spec, sides [2]*drawn) *plane {
	p := &plane{s.PortPx + s.StarboardPx, s.Rows, make([]float32, (s.PortPx+s.StarboardPx)*s.Rows)}
	for r := range s.Pings {
		dst := p.v[r*p.w : (r+1)*p.w]
		if d := sides[portSide]; d != nil {
			for c, v := range d.v[r*d.cols : (r+1)*d.cols] {
				dst[s.PortPx-1-c] = v
			}
		}
		if d := sides[starboardSide]; d != nil {
			copy(dst[s.PortPx:], d.v[r*d.cols:(r+1)*d.cols])
		}
	}
	return p
}

// rescale averages bins and pings, smooths and fits the panel into w × h pixels.
func (c *Chain) rescale(p *plane, w, h int) *plane {
	bw, bh := (p.w+c.BinX-1)/max(1, c.BinX), (p.h+c.BinY-1)/max(1, c.BinY)
	if c.BinX > 1 || c.BinY > 1 {
		p = p.resample(kernelTaps(KernelArea, p.w, bw), kernelTaps(KernelArea, p.h, bh))
	}
	p = p.blur(c.Smooth)
	if p.w != w || p.h != h {
		p = p.resample(kernelTaps(c.Kernel, p.w, w), kernelTaps(c.Kernel, p.h, h))
	}
	p = p.blur(c.PostSmooth)
	if c.Sharpen > 0 {
		soft := p.blur(1)
		for i, v := range p.v {
			p.v[i] = v + float32(c.Sharpen)*(v-soft.v[i])
		}
	}
	return p
}

// levels maps strength to 0 to 255 by black level, white level, gamma and inversion.
func (c *Chain) levels() func(v float32) uint8 {
	var lut [1025]uint8
	white := c.White
	if white <= c.Black {
		white = 1
	}
	for i := range lut {
		u := (float64(i)/float64(len(lut)-1) - c.Black) / (white - c.Black)
		u = min(1, max(0, u))
		if c.Gamma > 0 {
			u = math.Pow(u, c.Gamma)
		}
		if c.Invert {
			u = 1 - u
		}
		lut[i] = uint8(255*u + 0.5)
	}
	return func(v float32) uint8 { return lut[int(min(1, max(0, v))*float32(len(lut)-1)+0.5)] }
}

// shade maps strength to how bright it is shown, 0 to 1, inversion left out.
func (c Chain) shade() func(v float32) float64 {
	c.Invert = false
	level := c.levels()
	return func(v float32) float64 { return float64(level(v)) / 255 }
}

// exposed is the chain with its white level set by the record, where it asks for that.
func (c Chain) exposed(p *plane) Chain {
	if c.Full <= 0 {
		return c
	}
	var count [256]int
	for _, v := range p.v {
		count[int(255*min(1, max(0, v)))]++
	}
	left := int((1 - c.Full) * float64(len(p.v)))
	i := len(count) - 1
	for ; i > 0 && left >= count[i]; i-- {
		left -= count[i]
	}
	// A panel that is black all over stays dark.
	const least = 0.12
	c.White = max(c.Black+least, float64(i+1)/float64(len(count)))
	return c
}

// paint draws the panel through the chain with its upper left corner at x, y.
func (c *Chain) paint(img *image.RGBA, p *plane, x, y int, colours *[256]color.RGBA) {
	level := c.levels()
	for r := range p.h {
		at := img.PixOffset(x, y+r)
		for i, v := range p.v[r*p.w : (r+1)*p.w] {
			k := colours[level(v)]
			o := at + 4*i
			img.Pix[o], img.Pix[o+1], img.Pix[o+2], img.Pix[o+3] = k.R, k.G, k.B, 255
		}
	}
}
