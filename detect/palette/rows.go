package palette

import "encoding/binary"

// Row turns a row of packed colours into echo strength and sets ok, which must be 0, to 1 where a colour is on the path.
// Both are as long as src.
func (p *Palette) Row(dst []float32, ok []uint8, src []uint32) {
	dst, ok = dst[:len(src)], ok[:len(src)]
	switch {
	case p.grey:
		p.greyRow(dst, ok, src)
	case p.exact != nil:
		for x, c := range src {
			e := &p.exact[place(c)]
			if e.key != c+1 {
				e = p.fill(c)
			}
			dst[x], ok[x] = parted(e.value)
		}
	default:
		for x, c := range src {
			v := p.val[bin6(c)]
			if v == 0 {
				v = p.fillBin(c)
			}
			dst[x], ok[x] = parted(v - 2)
		}
	}
}

// RawRow is Row straight from a picture's bytes, red, green, blue and one more a pixel: the commonest case.
func (p *Palette) RawRow(dst []float32, ok []uint8, src []uint8) {
	if p.grey {
		p.greyRaw(dst, ok, src)
		return
	}
	var some [512]uint32
	for len(dst) > 0 {
		colours := some[:min(len(some), len(dst))]
		from := src[:4*len(colours)]
		for x := range colours {
			colours[x] = binary.BigEndian.Uint32(from[4*x:4*x+4]) >> 8
		}
		p.Row(dst[:len(colours)], ok[:len(colours)], colours)
		dst, ok, src = dst[len(colours):], ok[len(colours):], src[4*len(colours):]
	}
}

// DeepRow is Row for a grey palette and 16-bit values, of which the highest shift bits are not in use.
func (p *Palette) DeepRow(dst []float32, ok []uint8, src []uint16, shift uint) {
	for x, v := range src {
		e := float32(float32(v<<shift) * (1.0 / 65535))
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
	for x, c := range src {
		if g := c & 255; c == g*0x010101 {
			dst[x], ok[x] = base+float32(scale*float32(g)), 1
		} else {
			dst[x], ok[x] = p.nearGrey(c)
		}
	}
}

func (p *Palette) greyRaw(dst []float32, ok []uint8, src []uint8) {
	scale, base := float32(1.0/255), float32(0)
	if p.flip {
		scale, base = -scale, 1
	}
	ok = ok[:len(dst)]
	for x := range dst {
		q := src[4*x : 4*x+4 : 4*x+4]
		if g := q[1]; g == q[0] && g == q[2] {
			dst[x], ok[x] = base+float32(scale*float32(g)), 1
		} else {
			dst[x], ok[x] = p.nearGrey(binary.BigEndian.Uint32(q) >> 8)
		}
	}
}

// nearGrey is the echo strength of a colour whose channels differ, and whether it is one of a grey palette's, 1 or 0.
func (p *Palette) nearGrey(c uint32) (v float32, in uint8) {
	r, g, b := int(c>>16&255), int(c>>8&255), int(c&255)
	v = float32(float32(r+g+b) * (1.0 / 765))
	if p.flip {
		v = 1 - v
	}
	if max(r, g, b)-min(r, g, b) <= p.tolGrey {
		in = 1
	}
	return v, in
}
