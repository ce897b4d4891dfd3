package palette

import "encoding/binary"

// Row turns a row of packed colours into echo strength and sets ok, which must be 0, to 1 where a colour is on the path.
// Both are as long as src.
func (p *Palette) Row(dst []float32, ok []uint8, src []uint32) {
	if p.grey {
		p.greyRow(dst, ok, src)
		return
	}
	last := latest{colour: ^uint32(0)}
	dst, ok = dst[:len(src)], ok[:len(src)]
	for x, c := range src {
		dst[x], ok[x] = last.strength(p, c)
	}
}

// RawRow is Row straight from a picture's bytes, red, green, blue and one more a pixel: the commonest case.
func (p *Palette) RawRow(dst []float32, ok []uint8, src []uint8) {
	if p.grey {
		p.greyRaw(dst, ok, src)
		return
	}
	last := latest{colour: ^uint32(0)}
	src, ok = src[:4*len(dst)], ok[:len(dst)]
	for x := range dst {
		dst[x], ok[x] = last.strength(p, binary.BigEndian.Uint32(src[4*x:4*x+4])>>8)
	}
}

// DeepRow is Row for a grey palette and 16-bit values, of which the highest shift bits are not in use.
func (p *Palette) DeepRow(dst []float32, ok []uint8, src []uint16, shift uint) {
	for x, v := range src {
		e := float32(v<<shift) * (1.0 / 65535)
		if p.flip {
			e = 1 - e
		}
		dst[x], ok[x] = e, 1
	}
}

// ClearColoured sets ok to 0 where a colour is none of a grey palette's.
func (p *Palette) ClearColoured(ok []uint8, src []uint32) {
	for x, c := range src {
		if chroma(c) > p.tolGrey {
			ok[x] = 0
		}
	}
}

func (p *Palette) greyRow(dst []float32, ok []uint8, src []uint32) {
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

func (p *Palette) greyRaw(dst []float32, ok []uint8, src []uint8) {
	scale, base := float32(1.0/255), float32(0)
	if p.flip {
		scale, base = -scale, 1
	}
	for x := range dst {
		q := src[4*x : 4*x+4 : 4*x+4]
		if g := q[1]; g == q[0] && g == q[2] {
			dst[x], ok[x] = base+scale*float32(g), 1
			continue
		}
		v, in := p.value(binary.BigEndian.Uint32(q) >> 8)
		dst[x] = v
		if in {
			ok[x] = 1
		}
	}
}

// latest spares a look at the palette where a pixel has the colour of the one before.
type latest struct {
	colour uint32
	v      float32
	in     uint8
}

func (l *latest) strength(p *Palette, c uint32) (v float32, in uint8) {
	if c != l.colour {
		l.look(p, c)
	}
	return l.v, l.in
}

func (l *latest) look(p *Palette, c uint32) {
	v, good := p.value(c)
	*l = latest{colour: c, v: v}
	if good {
		l.in = 1
	}
}
