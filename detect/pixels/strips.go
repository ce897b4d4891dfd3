package pixels

import "math"

// Strip is what one row or column of pixels looks like.
type Strip struct{ r, g, b, texture float64 }

// Diff is how much two strips differ in colour and texture.
func (s Strip) Diff(o Strip) float64 {
	return math.Abs(s.r-o.r) + math.Abs(s.g-o.g) + math.Abs(s.b-o.b) + 2*math.Abs(s.texture-o.texture)
}

// Strips looks at the columns (or rows, when across) [a, b) between from and to.
func (p *Picture) Strips(a, b, from, to int, across bool) []Strip {
	const most = 160 // pixels looked at in a strip
	out := make([]Strip, b-a)
	step := max(1, (to-from)/most)
	n := 0.0
	if across {
		row := make([]uint32, to-from)
		for i := range out {
			p.Read(row, from, a+i)
			n = 0
			for x := 0; x+1 < len(row); x += step {
				out[i].add(row[x], row[x+1])
				n++
			}
		}
	} else {
		row, next := make([]uint32, b-a), make([]uint32, b-a)
		for y := from; y+1 < to; y += step {
			p.Read(row, a, y)
			p.Read(next, a, y+1)
			for i, c := range row {
				out[i].add(c, next[i])
			}
			n++
		}
	}
	for i := range out {
		s := &out[i]
		s.r, s.g, s.b, s.texture = s.r/n, s.g/n, s.b/n, s.texture/n
	}
	return out
}

func (s *Strip) add(c, next uint32) {
	s.r += float64(c >> 16)
	s.g += float64(c >> 8 & 255)
	s.b += float64(c & 255)
	s.texture += float64(Diff(c, next)) / 3
}

// MeanStrip is the mean of several strips.
func MeanStrip(s []Strip) Strip {
	var m Strip
	for _, v := range s {
		m.r, m.g, m.b, m.texture = m.r+v.r, m.g+v.g, m.b+v.b, m.texture+v.texture
	}
	n := float64(len(s))
	return Strip{m.r / n, m.g / n, m.b / n, m.texture / n}
}
