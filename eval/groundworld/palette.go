package groundworld

import "image/color"

// palette is a row of colours from weak to strong.
type palette struct {
	name  string
	dark  bool // strong echoes are dark
	stops []uint32
}

var palettes = []palette{
	{"ash", false, []uint32{0x000000, 0xffffff}},
	{"ash", false, []uint32{0x000000, 0xffffff}},
	{"amber", false, []uint32{0x000000, 0x3c1e00, 0xa86410, 0xf0b84a, 0xfff6dc}},
	{"copper", false, []uint32{0x050200, 0x5a2c14, 0xb4703c, 0xffd9a8}},
	{"deep", false, []uint32{0x000014, 0x06306a, 0x3c8cc0, 0xd8f4ff}},
	{"moss", false, []uint32{0x000400, 0x1c4420, 0x70a050, 0xf0ffd0}},
	{"dusk", false, []uint32{0x000020, 0x4c1474, 0xc83c50, 0xfca030, 0xffffc0}},
	{"reef", false, []uint32{0x101030, 0x1c6c8c, 0x50b468, 0xf0e040, 0xff5030}},
	{"ink", true, []uint32{0xffffff, 0x000000}},
	{"bark", true, []uint32{0xfff4d8, 0xc89650, 0x60300c, 0x100400}},
	{"slate", true, []uint32{0xf0f8ff, 0x88a4bc, 0x304860, 0x000810}},
}

// table is a palette's colours at 1024 strengths.
func (p *palette) table() []color.RGBA {
	t := make([]color.RGBA, 1024)
	for i := range t {
		at := float64(i) / 1023 * float64(len(p.stops)-1)
		k := min(len(p.stops)-2, int(at))
		f := at - float64(k)
		mix := func(shift uint) uint8 {
			a, b := float64(p.stops[k]>>shift&255), float64(p.stops[k+1]>>shift&255)
			return uint8(a + f*(b-a) + 0.5)
		}
		t[i] = color.RGBA{mix(16), mix(8), mix(0), 255}
	}
	return t
}
