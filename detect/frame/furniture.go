package frame

import (
	"bytes"
	"encoding/binary"

	"shadowgap/features"
)

// write turns every pixel of the box into echo strength, in one pass, and marks colours that are not on the palette.
func write(p *pixels, pal *palette, pan *Panel, arena *features.Arena) error {
	r := pan.Box
	g, err := arena.Grid(r.Dy(), r.Dx())
	if err != nil {
		return err
	}
	pan.Echo = g
	pan.Valid = arena.Mask(len(g.V))
	clear(pan.Valid)
	if pal.grey && p.read16 != nil {
		write16(p, pal, pan)
		return nil
	}
	if p.raw != nil {
		row := pal.colourRaw
		if pal.grey {
			row = pal.greyRaw
		}
		for y := range g.Rows {
			row(g.Row(y), pan.Valid[y*g.Cols:(y+1)*g.Cols], p.raw(r.Min.X, r.Min.Y+y, g.Cols))
		}
		return nil
	}
	buf := make([]uint32, r.Dx())
	for y := range g.Rows {
		p.read(buf, r.Min.X, r.Min.Y+y)
		dst := g.Row(y)
		ok := pan.Valid[y*g.Cols : (y+1)*g.Cols]
		if pal.grey {
			pal.greyRow(dst, ok, buf)
		} else {
			pal.colourRow(dst, ok, buf)
		}
	}
	return nil
}

func write16(p *pixels, pal *palette, pan *Panel) {
	r := pan.Box
	shift := uint(0)
	if p.grey {
		shift = p.unusedBits()
	}
	buf := make([]uint16, r.Dx())
	rgb := make([]uint32, r.Dx())
	for y := range pan.Echo.Rows {
		p.read16(buf, r.Min.X, r.Min.Y+y)
		dst := pan.Echo.Row(y)
		ok := pan.Valid[y*len(dst) : (y+1)*len(dst)]
		for x, v := range buf {
			e := float32(v<<shift) * (1.0 / 65535)
			if pal.flip {
				e = 1 - e
			}
			dst[x], ok[x] = e, 1
		}
		if !p.grey {
			p.read(rgb, r.Min.X, r.Min.Y+y)
			for x, c := range rgb {
				if chroma(c) > pal.tolGrey {
					ok[x] = 0
				}
			}
		}
	}
}

// greyRaw is greyRow straight from a picture's bytes, the commonest case.
func (p *palette) greyRaw(dst []float32, ok []uint8, src []uint8) {
	scale, base := float32(1.0/255), float32(0)
	if p.flip {
		scale, base = -scale, 1
	}
	for x := range dst {
		q := src[4*x : 4*x+3 : 4*x+3]
		if g := q[1]; g == q[0] && g == q[2] {
			dst[x], ok[x] = base+scale*float32(g), 1
			continue
		}
		v, in := p.value(pack(q[0], q[1], q[2]))
		dst[x] = v
		if in {
			ok[x] = 1
		}
	}
}

// colourRaw is colourRow straight from a picture's bytes.
func (p *palette) colourRaw(dst []float32, ok []uint8, src []uint8) {
	last := latest{colour: ^uint32(0)}
	src, ok = src[:4*len(dst)], ok[:len(dst)]
	for x := range dst {
		dst[x], ok[x] = last.strength(p, binary.BigEndian.Uint32(src[4*x:4*x+4])>>8)
	}
}

// latest spares a look at the palette where a pixel has the colour of the one before.
type latest struct {
	colour uint32
	v      float32
	in     uint8
}

func (l *latest) strength(p *palette, c uint32) (v float32, in uint8) {
	if c != l.colour {
		l.look(p, c)
	}
	return l.v, l.in
}

func (l *latest) look(p *palette, c uint32) {
	v, good := p.value(c)
	*l = latest{colour: c, v: v}
	if good {
		l.in = 1
	}
}

func (p *palette) greyRow(dst []float32, ok []uint8, src []uint32) {
	scale, base := float32(1.0/255), float32(0)
	if p.flip {
		scale, base = -scale, 1
	}
	dst, ok = dst[:len(src)], ok[:len(src)]
	for x, c := range src {
		g := c & 255
		if c == g*0x010101 {
			dst[x], ok[x] = base+scale*float32(g), 1
			continue
		}
		v, in := p.value(c)
		dst[x] = v
		if in {
			ok[x] = 1
		}
	}
}

func (p *palette) colourRow(dst []float32, ok []uint8, src []uint32) {
	last := latest{colour: ^uint32(0)}
	dst, ok = dst[:len(src)], ok[:len(src)]
	for x, c := range src {
		dst[x], ok[x] = last.strength(p, c)
	}
}

// countZero counts the pixels of a panel that hold no echo.
func countZero(valid []uint8) int { return bytes.Count(valid, []byte{0}) }
