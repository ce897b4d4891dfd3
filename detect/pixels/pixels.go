// Package pixels reads any Go image a row at a time, as packed colours, as 16-bit grey where it has that depth, or as its own bytes.
package pixels

import (
	"encoding/binary"
	"image"
)

// Picture reads rows of an image. Coordinates are relative to the image's own origin, so bounds that don't start at 0, 0 need no
// care elsewhere. It shares the image's memory; no two goroutines may use one at a time.
type Picture struct {
	W, H int
	Grey bool // the image's type can't hold colour

	read   func(dst []uint32, x0, y int)
	read16 func(dst []uint16, x0, y int) // nil when the image holds no more than 8 bits a channel
	raw    func(x0, y, n int) []uint8    // nil for images stored in another way
}

// Read fills dst with the pixels x0 to x0+len(dst) of row y, packed as 0x00RRGGBB.
func (p *Picture) Read(dst []uint32, x0, y int) { p.read(dst, x0, y) }

// Deep tells whether the image holds 16 bits a channel, so that Read16 may be called.
func (p *Picture) Deep() bool { return p.read16 != nil }

// Read16 fills dst with the pixels x0 to x0+len(dst) of row y as 16-bit grey; green stands for the others where there are any.
func (p *Picture) Read16(dst []uint16, x0, y int) { p.read16(dst, x0, y) }

// Raw gives the bytes of n pixels of row y from x0, red, green, blue and alpha each; nil for images that are stored in another way.
func (p *Picture) Raw(x0, y, n int) []uint8 {
	if p.raw == nil {
		return nil
	}
	return p.raw(x0, y, n)
}

func pack(r, g, b uint8) uint32 { return uint32(r)<<16 | uint32(g)<<8 | uint32(b) }

// New picks the fast reader for img's type; anything unknown goes through img.At.
func New(img image.Image) *Picture {
	b := img.Bounds()
	p := &Picture{W: b.Dx(), H: b.Dy()}
	switch m := img.(type) {
	case *image.NRGBA:
		p.raw = func(x0, y, n int) []uint8 {
			o := m.PixOffset(b.Min.X+x0, b.Min.Y+y)
			return m.Pix[o : o+4*n]
		}
		p.read = func(dst []uint32, x0, y int) { read32(dst, p.raw(x0, y, len(dst))) }
	case *image.RGBA:
		p.raw = func(x0, y, n int) []uint8 {
			o := m.PixOffset(b.Min.X+x0, b.Min.Y+y)
			return m.Pix[o : o+4*n]
		}
		p.read = func(dst []uint32, x0, y int) { read32(dst, p.raw(x0, y, len(dst))) }
	case *image.Gray:
		p.Grey = true
		p.read = func(dst []uint32, x0, y int) {
			src := m.Pix[m.PixOffset(b.Min.X+x0, b.Min.Y+y):]
			src = src[:len(dst)]
			for i, v := range src {
				dst[i] = uint32(v) * 0x010101
			}
		}
	case *image.Gray16:
		p.Grey = true
		p.read16 = func(dst []uint16, x0, y int) {
			src := m.Pix[m.PixOffset(b.Min.X+x0, b.Min.Y+y):]
			for i := range dst {
				dst[i] = uint16(src[2*i])<<8 | uint16(src[2*i+1])
			}
		}
		p.read = readVia16(p)
	case *image.NRGBA64:
		p.deep(func(x0, y int) []uint8 { return m.Pix[m.PixOffset(b.Min.X+x0, b.Min.Y+y):] })
	case *image.RGBA64:
		p.deep(func(x0, y int) []uint8 { return m.Pix[m.PixOffset(b.Min.X+x0, b.Min.Y+y):] })
	case *image.Paletted:
		var lut [256]uint32
		for i, c := range m.Palette {
			if i < len(lut) {
				r, g, bl, _ := c.RGBA()
				lut[i] = pack(uint8(r>>8), uint8(g>>8), uint8(bl>>8))
			}
		}
		p.read = func(dst []uint32, x0, y int) {
			src := m.Pix[m.PixOffset(b.Min.X+x0, b.Min.Y+y):]
			src = src[:len(dst)]
			for i, v := range src {
				dst[i] = lut[v]
			}
		}
	case *image.YCbCr:
		p.read = func(dst []uint32, x0, y int) { readYCbCr(dst, m, b.Min.X+x0, b.Min.Y+y) }
		if b.Min.X < 0 {
			p.read = readAny(img) // left of 0 the places of colour round the other way; no decoder puts anything there
		}
	default:
		p.read = readAny(img)
	}
	return p
}

func readAny(img image.Image) func(dst []uint32, x0, y int) {
	from := img.Bounds().Min
	return func(dst []uint32, x0, y int) {
		for i := range dst {
			r, g, b, _ := img.At(from.X+x0+i, from.Y+y).RGBA()
			dst[i] = pack(uint8(r>>8), uint8(g>>8), uint8(b>>8))
		}
	}
}

func read32(dst []uint32, src []uint8) {
	src = src[:4*len(dst)]
	for i := range dst {
		dst[i] = binary.BigEndian.Uint32(src[4*i:]) >> 8
	}
}

// deep reads pictures of four 16-bit channels; from gives the bytes from a pixel on. Grey ones keep their 16 bits: all three
// colours are alike there, so green stands for them.
func (p *Picture) deep(from func(x0, y int) []uint8) {
	p.read = func(dst []uint32, x0, y int) {
		src := from(x0, y)
		for i := range dst {
			dst[i] = pack(src[8*i], src[8*i+2], src[8*i+4])
		}
	}
	p.read16 = func(dst []uint16, x0, y int) {
		src := from(x0, y)
		for i := range dst {
			dst[i] = uint16(src[8*i+2])<<8 | uint16(src[8*i+3])
		}
	}
}

// readVia16 shows a 16-bit grey picture in 8 bits, stretched to the bits in use: a 12-bit recording stored in 16 would
// otherwise look like sixteen flat steps.
func readVia16(p *Picture) func(dst []uint32, x0, y int) {
	shift := p.UnusedBits()
	line := make([]uint16, p.W)
	return func(dst []uint32, x0, y int) {
		buf := line[:len(dst)]
		p.read16(buf, x0, y)
		for i, v := range buf {
			dst[i] = uint32((v<<shift)>>8) * 0x010101
		}
	}
}

// UnusedBits is how far a deep image can be shifted left before its strongest sampled value would overflow.
func (p *Picture) UnusedBits() uint {
	var all uint16
	buf := make([]uint16, p.W)
	step := max(1, p.H/256)
	for y := 0; y < p.H; y += step {
		p.read16(buf, 0, y)
		for _, v := range buf {
			all |= v
		}
	}
	shift := uint(0)
	for all != 0 && all&0x8000 == 0 {
		all <<= 1
		shift++
	}
	return shift
}

// readYCbCr converts one row with the full-range matrix of JFIF, as image/color does, without a call a pixel.
func readYCbCr(dst []uint32, m *image.YCbCr, x0, y int) {
	yi, ci := m.YOffset(x0, y), m.COffset(x0, y)
	shift := uint(0)
	switch m.SubsampleRatio {
	case image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420:
		shift = 1
	case image.YCbCrSubsampleRatio411, image.YCbCrSubsampleRatio410:
		shift = 2
	}
	c0 := x0 >> shift
	last := -1
	var dr, dg, db int32
	for i, yv := range m.Y[yi : yi+len(dst)] {
		if c := ci + (x0+i)>>shift - c0; c != last {
			last = c
			cb, cr := int32(m.Cb[c])-128, int32(m.Cr[c])-128
			dr, dg, db = 91881*cr, -22554*cb-46802*cr, 116130*cb
		}
		yy := int32(yv) * 0x10101
		r, g, b := yy+dr, yy+dg, yy+db
		if uint32(r|g|b) < 1<<24 {
			dst[i] = uint32(r)&0xff0000 | uint32(g)>>8&0xff00 | uint32(b)>>16
			continue
		}
		dst[i] = clip16(r)<<16 | clip16(g)<<8 | clip16(b)
	}
}

func clip16(v int32) uint32 {
	if v < 0 {
		return 0
	}
	if v >= 1<<24 {
		return 255
	}
	return uint32(v) >> 16
}

// Flat says whether all of a thinned choice of pixels are the same, and their colour.
func (p *Picture) Flat() (uint32, bool) {
	row := make([]uint32, p.W)
	var first uint32
	for y := range p.H {
		if y > 64 && y%7 != 0 {
			continue
		}
		p.read(row, 0, y)
		if y == 0 {
			first = row[0]
		}
		for _, c := range row {
			if c != first {
				return 0, false
			}
		}
	}
	return first, true
}
