package setin

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
)

// What a pixel of the view holds.
const (
	bottom  = iota // free bottom
	water          // free water column
	ripples        // bottom in ripples: free for what stands out
	edge           // about the first return: free for what hangs
	taken          // something labelled, furniture, the nadir's band, rows without echo
)

// ground is the real picture in echo strength, with where it is free and what its texture is like.
type ground struct {
	w, h int
	v    []float32 // echo strength 0..1 of the real picture
	now  []float32 // with what has been set in
	use  []uint8
	free sums // of echo strength over free bottom
	busy sums // counts of what is taken
	// placed are the places of what was set in.
	placed []image.Rectangle
	// cv is the standard deviation of free bottom over its trend; sigmaX and sigmaY how far it is smoothed, pixels.
	cv, sigmaX, sigmaY float64
	typical            float64 // median of the trend of free bottom
	darkMean, darkSD   float64 // echo strength where there is no echo
}

// sums are running sums over rectangles: of n, of its values and of their squares.
type sums struct {
	w      int
	n      []int32
	s1, s2 []float64
}

func (g *ground) pixel(i int) float64 { return float64(g.v[i]) }

// survey measures the view.
func survey(v *view) *ground {
	g := &ground{w: v.w, h: v.h, v: make([]float32, v.w*v.h), use: make([]uint8, v.w*v.h)}
	for y := range v.h {
		row := v.img.Pix[y*v.img.Stride:]
		for x := range v.w {
			g.v[y*v.w+x] = v.path.arc[luminance(row[4*x:])]
		}
	}
	g.now = slices.Clone(g.v)
	g.occupy(v)
	g.sum()
	g.measure(v)
	return g
}

// occupy marks what may not be built on.
func (g *ground) occupy(v *view) {
	for y := range v.h {
		row := g.use[y*v.w : (y+1)*v.w]
		if math.IsNaN(v.nadir[y]) {
			fill(row, 0, len(row), taken)
			continue
		}
		for side := range v.sides {
			if !v.sides[side] {
				continue
			}
			out, n := outward(side), v.nadir[y]
			if math.IsNaN(v.first[side][y]) {
				fillSpan(row, n, n+out*1e6, taken)
				continue
			}
			h := v.altitude(side, y)
			fillSpan(row, n, n+out*0.4*h, taken)
			fillSpan(row, n+out*0.4*h, n+out*(0.94*h-1), water)
			fillSpan(row, n+out*(0.94*h-1), n+out*(1.05*h+2), edge)
		}
	}
	for _, r := range v.label.Regions {
		switch r.Kind {
		case "ripples":
			g.mark(r.Box.Rect(), ripples)
		default:
			g.mark(r.Box.Rect().Inset(-2), taken)
		}
	}
	for _, f := range v.label.Furniture {
		g.mark(f.Box.Rect().Inset(-3), taken)
	}
	for _, m := range v.label.Marks {
		for _, b := range []*detect.Box{m.Highlight, m.Shadow} {
			if b != nil {
				g.mark(b.Rect().Inset(-4), taken)
			}
		}
		if m.Shadow == nil && m.Highlight != nil && m.Kind == "effigy" { // its mask leaves out the shadow
			b := m.Highlight.Rect()
			if v.side(b.Min.X, min(v.h-1, b.Min.Y)) == portSide {
				b.Min.X -= 3*b.Dx() + 20
			} else {
				b.Max.X += 3*b.Dx() + 20
			}
			g.mark(b.Inset(-4), taken)
		}
	}
	for _, r := range v.label.LostRows {
		g.mark(image.Rect(0, r[0]-3, v.w, r[1]+3), taken)
	}
}

func fill(row []uint8, from, to int, what uint8) {
	for x := max(0, from); x < min(len(row), to); x++ {
		row[x] = what
	}
}

func fillSpan(row []uint8, a, b float64, what uint8) {
	a, b = min(a, b), max(a, b)
	end := float64(len(row))
	fill(row, int(math.Round(min(end, max(0, a)))), int(math.Round(min(end, max(0, b)))), what)
}

func (g *ground) bounds() image.Rectangle { return image.Rect(0, 0, g.w, g.h) }

func (g *ground) mark(r image.Rectangle, what uint8) {
	r = r.Intersect(g.bounds())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		row := g.use[y*g.w : (y+1)*g.w]
		for x := r.Min.X; x < r.Max.X; x++ {
			if what == taken || row[x] == bottom {
				row[x] = what
			}
		}
	}
}

// sum prepares the running sums.
func (g *ground) sum() {
	w := g.w + 1
	n := w * (g.h + 1)
	g.free = sums{w: w, n: make([]int32, n), s1: make([]float64, n), s2: make([]float64, n)}
	g.busy = sums{w: w, n: make([]int32, n)}
	for y := range g.h {
		var rn, rb int32
		var r1, r2 float64
		for x := range g.w {
			i := y*g.w + x
			switch g.use[i] {
			case bottom, ripples:
				rn++
				v := g.pixel(i)
				r1 += v
				r2 += v * v
			case taken:
				rb++
			}
			k := (y+1)*w + x + 1
			g.free.n[k] = g.free.n[k-w] + rn
			g.free.s1[k] = g.free.s1[k-w] + r1
			g.free.s2[k] = g.free.s2[k-w] + r2
			g.busy.n[k] = g.busy.n[k-w] + rb
		}
	}
}

func (s *sums) count(r image.Rectangle) int {
	a, b := r.Min.Y*s.w, r.Max.Y*s.w
	return int(s.n[b+r.Max.X] - s.n[b+r.Min.X] - s.n[a+r.Max.X] + s.n[a+r.Min.X])
}

func of(v []float64, w int, r image.Rectangle) float64 {
	a, b := r.Min.Y*w, r.Max.Y*w
	return v[b+r.Max.X] - v[b+r.Min.X] - v[a+r.Max.X] + v[a+r.Min.X]
}

// around gives count, mean and standard deviation of the free bottom in a rectangle.
func (g *ground) around(r image.Rectangle) (n int, mean, sd float64) {
	r = r.Intersect(g.bounds())
	if r.Empty() {
		return 0, 0, 0
	}
	n = g.free.count(r)
	if n == 0 {
		return 0, 0, 0
	}
	k := float64(n)
	mean = of(g.free.s1, g.free.w, r) / k
	return n, mean, math.Sqrt(max(0, of(g.free.s2, g.free.w, r)/k-mean*mean))
}

func square(x, y, half int) image.Rectangle { return image.Rect(x-half, y-half, x+half+1, y+half+1) }

// trend is the mean of free bottom near a pixel: of a small window and a larger one, the larger alone where the small one lies on
// something, growing until there is some. It is 0 where there is no free bottom at all.
func (g *ground) trend(x, y int) float64 {
	n, small, _ := g.around(square(x, y, 8))
	m, large, _ := g.around(square(x, y, 18))
	switch {
	case n > 140:
		return 0.5 * (small + large)
	case m > 100:
		return large
	}
	for half := 30; half < 2*max(g.w, g.h); half *= 2 {
		if n, mean, _ := g.around(square(x, y, half)); n > 100 {
			return mean
		}
	}
	return g.typical
}

// measure finds what the picture's texture is like.
func (g *ground) measure(v *view) {
	var trends []float64
	var s2, ax, ay float64
	step := max(1, g.w*g.h/40000)
	n := 0
	for i := v.IntN(step); i < g.w*g.h; i += step {
		x, y := i%g.w, i/g.w
		if g.use[i] != bottom || x+1 >= g.w || y+1 >= g.h || g.use[i+1] != bottom || g.use[i+g.w] != bottom {
			continue
		}
		m, t, _ := g.around(square(x, y, 8))
		if m < 200 || t <= 0.01 || t > 0.85 {
			continue
		}
		a, b, c := g.pixel(i)/t-1, g.pixel(i+1)/t-1, g.pixel(i+g.w)/t-1
		s2 += a * a
		ax += a * b
		ay += a * c
		n++
		trends = append(trends, t)
	}
	g.cv, g.typical, g.sigmaX, g.sigmaY = 0.4, 0.3, 0.5, 0.5
	if n > 200 {
		slices.Sort(trends)
		g.typical = trends[n/2]
		g.cv = math.Sqrt(s2 / float64(n))
		g.sigmaX, g.sigmaY = softness(ax/s2), softness(ay/s2)
	}
	g.findDark()
	v.fill = g.shadowFill(v)
}

// shadowFill is how much of the bottom's echo is left in the shadows of the picture's own things, by the median of those labelled (the
// darkest quarter of each box, which holds more than the shadow); drawn where there are too few.
func (g *ground) shadowFill(v *view) float64 {
	var fills []float64
	for _, m := range v.label.Marks {
		if m.Shadow == nil || m.Shadow.W*m.Shadow.H > 3000 || m.Shadow.W*m.Shadow.H < 12 {
			continue
		}
		r := m.Shadow.Rect()
		_, t, _ := g.around(r.Inset(-20))
		var in []float64
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				in = append(in, g.pixel(y*g.w+x))
			}
		}
		slices.Sort(in)
		if t > 2*g.darkMean {
			fills = append(fills, (mean(in[:len(in)/4+1])-g.darkMean)/(t-g.darkMean))
		}
	}
	if len(fills) < 3 {
		return v.in(0.02, 0.25)
	}
	slices.Sort(fills)
	return min(0.35, max(0, fills[len(fills)/2]*v.in(0.8, 1.3)))
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

// softness is the standard deviation of the Gaussian that gives white noise a correlation of r between neighbours.
func softness(r float64) float64 {
	return min(2.5, max(0.4, 0.5/math.Sqrt(-math.Log(min(0.98, max(0.02, r))))))
}

// findDark measures the echo strength of the darkest places: water or shadows. Plates and padding, which are flat, don't count.
func (g *ground) findDark() {
	const size = 8
	type block struct{ mean, sd float64 }
	var blocks []block
	for y := 0; y+size <= g.h; y += size {
		for x := 0; x+size <= g.w; x += size {
			var s1, s2 float64
			for dy := range size {
				for _, v := range g.v[(y+dy)*g.w+x : (y+dy)*g.w+x+size] {
					s1 += float64(v)
					s2 += float64(v) * float64(v)
				}
			}
			m := s1 / (size * size)
			sd := math.Sqrt(max(0, s2/(size*size)-m*m))
			if sd > 0.0005 {
				blocks = append(blocks, block{m, sd})
			}
		}
	}
	most := 0.16 * g.typical // where no shadow is in view
	if len(blocks) == 0 {
		g.darkMean, g.darkSD = most, most*g.cv
		return
	}
	slices.SortFunc(blocks, func(a, b block) int {
		switch {
		case a.mean < b.mean:
			return -1
		case a.mean > b.mean:
			return 1
		}
		return 0
	})
	b := blocks[len(blocks)/100]
	g.darkMean, g.darkSD = b.mean, b.sd
	if b.mean > most {
		g.darkMean, g.darkSD = most, most*g.cv
	}
}

// room tells whether a thing has room: its highlight on nothing that is taken, and if it lies on the bottom on free bottom alone;
// its shadow, where it falls, on hardly anything that is taken; both clear of what was set in before.
func (g *ground) room(light, shadow image.Rectangle, lies bool) bool {
	if light.Empty() || g.busy.count(light) > 0 || lies && g.free.count(light) < light.Dx()*light.Dy() {
		return false
	}
	if !shadow.Empty() && g.busy.count(shadow)*50 > shadow.Dx()*shadow.Dy() {
		return false
	}
	both := light.Union(shadow)
	for _, p := range g.placed {
		if p.Overlaps(both) {
			return false
		}
	}
	return true
}
