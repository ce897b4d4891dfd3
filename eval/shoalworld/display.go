package shoalworld

import (
	"image"
	"image/color"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// palette is the colours of levels 0 to 255.
type palette struct {
	name   string
	colour [256]color.RGBA
	grey   bool
}

// stops are the colours of a palette at even steps from weak to strong; brightness rises all along.
var stops = []struct {
	name string
	at   [][3]float64
}{
	{"amber", [][3]float64{{2, 1, 0}, {70, 32, 2}, {160, 84, 6}, {228, 152, 26}, {255, 214, 96}, {255, 246, 214}}},
	{"copper", [][3]float64{{0, 0, 0}, {84, 46, 30}, {152, 88, 58}, {216, 130, 86}, {255, 178, 126}, {255, 222, 190}}},
	{"sea", [][3]float64{{0, 4, 20}, {2, 34, 84}, {10, 84, 144}, {56, 142, 190}, {140, 202, 224}, {236, 250, 255}}},
	{"moss", [][3]float64{{0, 6, 2}, {8, 50, 18}, {30, 104, 34}, {86, 162, 58}, {168, 216, 110}, {244, 255, 214}}},
	{"violet-to-straw", [][3]float64{{40, 2, 60}, {62, 44, 122}, {48, 102, 138}, {36, 150, 132}, {112, 200, 92}, {250, 230, 50}}},
	{"rust", [][3]float64{{6, 4, 10}, {64, 20, 40}, {130, 44, 44}, {196, 90, 40}, {240, 158, 70}, {255, 236, 190}}},
	{"sand-on-blue", [][3]float64{{2, 6, 34}, {40, 46, 76}, {100, 92, 92}, {164, 142, 104}, {220, 196, 140}, {255, 248, 226}}},
}

func (d dice) palette() palette {
	if d.chance(1.0 / 3) {
		p := palette{name: "grey", grey: true}
		for i := range p.colour {
			p.colour[i] = color.RGBA{uint8(i), uint8(i), uint8(i), 255}
		}
		return p
	}
	s := stops[d.weighted(30, 22, 10, 9, 10, 10, 9)]
	p := palette{name: s.name}
	bend, tint := d.uni(0.8, 1.25), [3]float64{d.uni(0.92, 1), d.uni(0.92, 1), d.uni(0.88, 1)}
	for i := range p.colour {
		x := math.Pow(float64(i)/255, bend) * float64(len(s.at)-1)
		k := min(int(x), len(s.at)-2)
		w := x - float64(k)
		var c [3]uint8
		for j := range c {
			c[j] = uint8(tint[j]*(s.at[k][j]*(1-w)+s.at[k+1][j]*w) + 0.5)
		}
		p.colour[i] = color.RGBA{c[0], c[1], c[2], 255}
	}
	return p
}

// screen turns records into pictures, always by the same measure.
type screen struct {
	p         *plan
	curve     []float32 // level by the upper bits of an echo's strength, which are fine enough and quicker than the power
	furniture []item
	lost      [][2]int // rows of the panel
	lostLevel uint8
	rim       color.RGBA
}

// newScreen sets the gain by the records without things.
func newScreen(p *plan, recs []*record) *screen {
	sum, n := 0.0, 0
	for _, rec := range recs {
		for r := 0; r < p.rows; r += 3 {
			row := rec.row(r)
			for c := max(int(rec.first[r])+2, p.first); c < p.bins; c += 3 {
				sum += math.Pow(float64(row[c]), p.look.power)
				n++
			}
		}
	}
	s := &screen{p: p, curve: make([]float32, 1<<16)}
	scale := p.look.mid * float64(max(n, 1)) / max(sum, 1e-9)
	for i := range s.curve {
		v := float64(math.Float32frombits(uint32(i)<<15 | 1<<14))
		// Echoes far over the brightest level are cut before smoothing, so that they don't bleed without end.
		s.curve[i] = float32(math.Min(scale*math.Pow(v, p.look.power), 330))
	}
	return s
}

// levels is a record as levels from 0 to 255, smoothed and not yet resized.
func (s *screen) levels(rec *record) *field {
	l := s.p.look
	out := newField(rec.rows, rec.cols)
	for i, v := range rec.v {
		out.v[i] = s.curve[math.Float32bits(max(v, 0))>>15]
	}
	for range l.blurX {
		for r := range out.rows {
			smooth(out.row(r))
		}
	}
	for range l.blurY {
		for r := 1; r < out.rows-1; r++ {
			above, row, below := out.row(r-1), out.row(r), out.row(r+1)
			for c := range row {
				row[c] = 0.5*row[c] + 0.2*above[c] + 0.3*below[c]
			}
		}
	}
	return out
}

func smooth(v []float32) {
	last := v[0]
	for i := 1; i < len(v)-1; i++ {
		own := v[i]
		v[i] = 0.5*own + 0.25*(last+v[i+1])
		last = own
	}
}

// picture draws the records of all sides, with lost rows and furniture, as a reader would decode it.
func (s *screen) picture(recs []*record) (image.Image, error) {
	p := s.p
	img := image.NewRGBA(image.Rect(0, 0, p.width, p.height))
	for i := range p.width * p.height {
		img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2], img.Pix[4*i+3] = s.rim.R, s.rim.G, s.rim.B, 255
	}
	for i, rec := range recs {
		s.paint(img, s.levels(rec), p.sides[i])
	}
	for _, it := range s.furniture {
		it.draw(img)
	}
	var shown image.Image = img
	if p.look.palette.grey {
		shown = greyOf(img)
	}
	if p.look.jpeg > 0 {
		return eval.AsJPEG(shown, p.look.jpeg)
	}
	return shown, nil
}

func greyOf(img *image.RGBA) *image.Gray {
	out := image.NewGray(img.Rect)
	for i := range out.Pix {
		c := img.Pix[4*i : 4*i+3]
		out.Pix[i] = uint8((299*int(c[0]) + 587*int(c[1]) + 114*int(c[2]) + 500) / 1000)
	}
	return out
}

// paint resizes one side's levels into its part of the panel.
func (s *screen) paint(img *image.RGBA, lv *field, side detect.Side) {
	p := s.p
	n := p.panel.W / len(p.sides)
	x0, step := int(math.Ceil(p.x(side, float64(p.first)))), 1
	if side == detect.Port {
		x0, step = int(math.Floor(p.x(side, float64(p.first)))), -1
	}
	lost := make([]bool, p.panel.H)
	for _, l := range s.lost {
		for r := l[0]; r < l[1]; r++ {
			lost[r] = true
		}
	}
	for y := range p.panel.H {
		fr := min(max((float64(y)+0.5)/p.fy-0.5, 0), float64(p.rows-1))
		r := min(int(fr), p.rows-2)
		wr := float32(fr - float64(r))
		a, b := lv.row(r), lv.row(r+1)
		for k := range n + 1 {
			x := x0 + k*step
			if x < p.panel.X || x >= p.panel.X+p.panel.W {
				break
			}
			fs := min(max((float64(k)+0.5)/p.fx-0.5+float64(p.first), 0), float64(p.bins-1))
			c := min(int(fs), p.bins-2)
			w := float32(fs - float64(c))
			v := (a[c]*(1-w)+a[c+1]*w)*(1-wr) + (b[c]*(1-w)+b[c+1]*w)*wr
			level := uint8(min(max(v, 0), 255))
			if lost[y] {
				level = s.lostLevel
			}
			if p.look.darkFirst {
				level = 255 - level
			}
			img.SetRGBA(x, y+p.panel.Y, p.look.palette.colour[level])
		}
	}
}
