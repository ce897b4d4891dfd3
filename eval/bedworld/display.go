package bedworld

import "math"

// grey is a picture of grey levels, 0..255 once clipped, row by row.
type grey struct {
	w, h int
	v    []float32
}

func newGrey(w, h int) *grey { return &grey{w, h, make([]float32, w*h)} }

// column is the column, in samples over the whole picture, of a sample of a side.
func (w *world) column(s *side, i int) int {
	switch {
	case !w.swath && s.port:
		return s.n - 1 - i
	case !w.swath:
		return i
	case s.port:
		return s.n - 1 - i
	default:
		return s.n + i
	}
}

// develop turns echo strengths into the two pictures, with and without the things, under the same noise.
func (w *world) develop() {
	wide := w.n * len(w.sides)
	with, without := newGrey(wide, w.rows), newGrey(wide, w.rows)
	for _, s := range w.sides {
		w.sound(s, with, without)
	}
	bare := len(w.things) == 0
	w.with = w.show(with)
	if bare {
		w.without = w.with
		return
	}
	w.without = w.show(without)
}

// sound draws the echoes of a side, speckle and the receiver's noise included.
func (w *world) sound(s *side, with, without *grey) {
	step := 1
	if s.port {
		step = -1
	}
	speckle := make([]float32, s.n)
	for r := range s.rows {
		w.speckle(speckle, r == 0)
		at := r*with.w + w.column(s, 0)
		for i := range s.n {
			k := r*s.n + i
			hiss := w.tone.hiss * w.gamma(1)
			with.v[at] = (s.base[k]*s.shade[k]+s.lit[k])*speckle[i] + hiss
			without.v[at] = s.base[k]*speckle[i] + hiss
			at += step
		}
	}
}

// speckle draws the speckle of a ping over that of the ping before.
func (w *world) speckle(row []float32, fresh bool) {
	keep := w.tone.track
	if fresh {
		keep = 0
	}
	for i := range row {
		v := w.gamma(w.tone.looks)
		if w.tone.lumps > 0 {
			v *= w.gamma(w.tone.lumps)
		}
		if w.tone.spikes > 0 && w.chance(w.tone.spikes) {
			v *= float32(w.between(4, 14))
		}
		row[i] = keep*row[i] + (1-keep)*v
	}
}

// show is the display: averaged strengths become grey, softened, rescaled and clipped.
func (w *world) show(g *grey) *grey {
	if w.tone.average > 1 {
		g = smooth(g, w.tone.average)
	}
	table := w.table()
	for k, v := range g.v {
		g.v[k] = table[min(int(math.Sqrt(float64(v))*tableStep), len(table)-1)]
	}
	if w.tone.soften {
		g = smooth(smooth(g, 2), 2)
	}
	g = rescale(g, w.w, w.h, w.tone.nearest)
	return g
}

// tableStep is how many entries of the display's table lie within the root of strength 1.
const tableStep = 400

// table is the grey for roots of strengths up to 10.
func (w *world) table() []float32 {
	t := make([]float32, 10*tableStep)
	for k := range t {
		root := (float64(k) + 0.5) / tableStep
		t[k] = float32(min(w.tone.mid*math.Pow(root, 2*w.tone.power), 255))
	}
	return t
}

// smooth averages over so many samples along the range.
func smooth(g *grey, over int) *grey {
	out := newGrey(g.w, g.h)
	for r := range g.h {
		row, to := g.v[r*g.w:(r+1)*g.w], out.v[r*g.w:(r+1)*g.w]
		for i := range row {
			var sum float32
			for k := range over {
				sum += row[min(i+k, g.w-1)]
			}
			to[i] = sum / float32(over)
		}
	}
	return out
}

// tap is what one sample gives to one pixel.
type tap struct {
	from   int
	weight []float32
}

// taps are the shares of from samples in each of to pixels: a triangle at least one sample and one pixel wide to either side, or the
// nearest sample alone.
func taps(from, to int, nearest bool) []tap {
	ratio := float64(from) / float64(to)
	reach := max(1, ratio)
	out := make([]tap, to)
	for x := range out {
		mid := (float64(x)+0.5)*ratio - 0.5
		if nearest {
			out[x] = tap{min(max(int(math.Round(mid)), 0), from-1), []float32{1}}
			continue
		}
		first := max(int(math.Ceil(mid-reach)), 0)
		last := min(int(math.Floor(mid+reach)), from-1)
		t := tap{from: first}
		var sum float32
		for k := first; k <= last; k++ {
			v := float32(max(1-math.Abs(float64(k)-mid)/reach, 0)) + 1e-6
			t.weight = append(t.weight, v)
			sum += v
		}
		for k := range t.weight {
			t.weight[k] /= sum
		}
		out[x] = t
	}
	return out
}

// rescale brings a picture to w × h pixels.
func rescale(g *grey, w, h int, nearest bool) *grey {
	across, down := taps(g.w, w, nearest), taps(g.h, h, nearest)
	mid := newGrey(w, g.h)
	for r := range g.h {
		row, to := g.v[r*g.w:(r+1)*g.w], mid.v[r*w:(r+1)*w]
		for x, t := range across {
			var sum float32
			for k, v := range t.weight {
				sum += v * row[t.from+k]
			}
			to[x] = sum
		}
	}
	out := newGrey(w, h)
	for y, t := range down {
		to := out.v[y*w : (y+1)*w]
		for k, v := range t.weight {
			row := mid.v[(t.from+k)*w : (t.from+k+1)*w]
			for x := range to {
				to[x] += v * row[x]
			}
		}
	}
	return out
}
