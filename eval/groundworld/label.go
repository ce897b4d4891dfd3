package groundworld

import (
	"fmt"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// label is the truth of a picture.
func label(w *world, r *record, p *picture, seed int64) eval.CaptureLabel {
	box := p.box
	l := eval.CaptureLabel{Capture: fmt.Sprintf("groundworld-%d.png", seed), By: "scene", Panel: &box, Palette: w.tone.palette.name,
		DarkIsStrong: w.tone.palette.dark, Side: w.side, LostRows: p.lost, Marks: []eval.MarkLabel{}, Humps: [][2]int{}}
	if w.frame != tile {
		l.RangeM = w.rangeM
		l.Nadir = p.nadir(r)
		for _, s := range r.sides {
			if path := p.firstReturn(r, s); r.leftward(s) {
				l.FirstReturn.Port = path
			} else {
				l.FirstReturn.Starboard = path
			}
		}
	}
	views := seen(r, p)
	j := newJudge(p, views)
	for _, v := range views {
		if m, ok := v.mark(r, p, j); ok {
			l.Marks = append(l.Marks, m)
		}
	}
	for _, s := range r.sides {
		l.Regions = append(l.Regions, p.regions(r, s)...)
	}
	return l
}

// everyRow calls visit for each 8th row of the picture and the last, but for those that were lost, with its ping.
func (p *picture) everyRow(r *record, visit func(row, ping int)) {
	for y := 0; y < p.box.H; y += max(1, min(8, p.box.H-1-y)) {
		if !p.gone[y] {
			visit(p.box.Y+y, min(r.rows-1, int((float64(y)+0.5)/r.w.sy)))
		}
	}
}

// x is where a column edge of the record lies in the picture, kept inside the panel.
func (p *picture) x(r *record, edge float64) float64 {
	return min(float64(p.box.X+p.box.W-1), max(float64(p.box.X), float64(p.box.X)+edge*r.w.sx-0.5))
}

func (p *picture) nadir(r *record) []detect.RowX {
	var path []detect.RowX
	x := p.x(r, float64(r.axis(r.sides[0])))
	p.everyRow(r, func(row, _ int) { path = append(path, detect.RowX{float64(row), x}) })
	return path
}

func (p *picture) firstReturn(r *record, s *sounding) []detect.RowX {
	path := []detect.RowX{}
	p.everyRow(r, func(row, ping int) {
		out := s.first[ping] / r.w.binM
		if r.leftward(s) {
			out = -out
		}
		path = append(path, detect.RowX{float64(row), p.x(r, float64(r.axis(s))+out)})
	})
	return path
}

// regions are the boxes of a side's zones that are large enough to tell.
func (p *picture) regions(r *record, s *sounding) []detect.Region {
	var list []detect.Region
	for k, z := range s.w.zones {
		a := s.spans[k+1]
		if a.n < 150 {
			continue
		}
		c0, c1 := r.col(s, a.b0), r.col(s, a.b1-1)
		c0, c1 = min(c0, c1), max(c0, c1)
		x0, x1, y0, y1 := p.pixels(r, c0, c1, a.p0, a.p1-1)
		if x1-x0 >= 20 && y1-y0 >= 20 {
			list = append(list, detect.Region{Kind: z.kind, Box: detect.Box{X: p.box.X + x0, Y: p.box.Y + y0, W: x1 - x0, H: y1 - y0}})
		}
	}
	return list
}

// pixels are the half-open pixels of the box that columns c0 to c1 and pings p0 to p1 fill, at least one.
func (p *picture) pixels(r *record, c0, c1, p0, p1 int) (x0, x1, y0, y1 int) {
	x0, y0 = min(p.box.W-1, int(float64(c0)*r.w.sx+0.5)), min(p.box.H-1, int(float64(p0)*r.w.sy+0.5))
	x1, y1 = max(x0+1, int(float64(c1+1)*r.w.sx+0.5)), max(y0+1, int(float64(p1+1)*r.w.sy+0.5))
	return x0, min(p.box.W, x1), y0, min(p.box.H, y1)
}

// view is what one side shows of a thing: pixels of the box, as indices, of its highlight and shadow.
type view struct {
	t      *thing
	s      *sounding
	hi, sh []int32
}

// seen compares the record with things to that without and returns what each side shows of each thing.
func seen(r *record, p *picture) []*view {
	var list []*view
	n := len(r.w.things)
	marked := [2][]uint8{make([]uint8, len(p.tone)), make([]uint8, len(p.tone))}
	for _, s := range r.sides {
		views := make([]*view, n+1)
		for i, t := range r.w.things {
			views[i+1] = &view{t: t, s: s}
		}
		calm := s.calm()
		for i, e := range s.echo {
			if s.hid[i]|s.sid[i] == 0 {
				continue
			}
			ping, bin := i/s.w.bins, i%s.w.bins
			floor := float32(r.w.texture.leaks) / r.gain[bin]
			usual := calm[i]
			switch h, t := s.hid[i], s.sid[i]; {
			case h != 0 && e > 1.3*usual+0.8*floor:
				views[h].hi = p.collect(r, views[h].hi, marked[0], r.col(s, bin), ping, h)
			case e+floor < 0.6*(usual+floor) && usual > floor && t|h != 0:
				if t == 0 {
					t = h
				}
				views[t].sh = p.collect(r, views[t].sh, marked[1], r.col(s, bin), ping, t)
			}
		}
		for _, v := range views[1:] {
			if len(v.hi)+len(v.sh) > 0 {
				list = append(list, v)
			}
		}
	}
	return list
}

// collect appends the pixels of a column and ping that a thing does not hold yet.
func (p *picture) collect(r *record, to []int32, marked []uint8, col, ping int, id uint8) []int32 {
	x0, x1, y0, y1 := p.pixels(r, col, col, ping, ping)
	for y := y0; y < y1; y++ {
		if p.gone[y] {
			continue
		}
		for x := x0; x < x1; x++ {
			if i := y*p.box.W + x; marked[i] != id {
				marked[i] = id
				to = append(to, int32(i))
			}
		}
	}
	return to
}

// calm is the echo without things, averaged over 7 by 7.
func (s *sounding) calm() []float32 {
	wide, high := s.w.bins, s.w.pings
	out := make([]float32, len(s.natural))
	copy(out, s.natural)
	column, sum := make([]float32, high), make([]float64, high+1)
	for b := range wide {
		smear(out[b:], wide, 3, column, sum)
	}
	column, sum = make([]float32, wide), make([]float64, wide+1)
	for p := range high {
		smear(out[p*wide:(p+1)*wide], 1, 3, column, sum)
	}
	return out
}

// hull is the box round pixels, in the picture, less a hundredth of them at each edge, which may be stray; nil without any.
func (p *picture) hull(pixels []int32) *detect.Box {
	if len(pixels) == 0 {
		return nil
	}
	xs, ys := make([]int, p.box.W), make([]int, p.box.H)
	for _, i := range pixels {
		xs[int(i)%p.box.W]++
		ys[int(i)/p.box.W]++
	}
	x0, x1 := core(xs, len(pixels)/100)
	y0, y1 := core(ys, len(pixels)/100)
	return &detect.Box{X: p.box.X + x0, Y: p.box.Y + y0, W: x1 - x0, H: y1 - y0}
}

// core is the half-open range that leaves at most stray counts out at each end.
func core(counts []int, stray int) (lo, hi int) {
	hi = len(counts)
	for n := counts[lo]; n <= stray; n += counts[lo] {
		lo++
	}
	for n := counts[hi-1]; n <= stray; n += counts[hi-1] {
		hi--
	}
	return lo, hi
}

// mark is the label of a view; false where nothing of it can be told from the bottom at all.
func (v *view) mark(r *record, p *picture, j *judge) (eval.MarkLabel, bool) {
	w := r.w
	hi, sh := j.weigh(v.hi), j.weigh(v.sh)
	sh.diff, sh.clear = -sh.diff, -sh.clear
	m := eval.MarkLabel{Class: v.t.class, Kind: v.t.kind, Side: r.sideOf(v.s)}
	if hi.weight() >= 1 || sh.weight() < 1 {
		m.Highlight = p.hull(v.hi)
	}
	if sh.weight() >= 1 {
		m.Shadow = p.hull(v.sh)
	}
	if m.Highlight == nil && m.Shadow == nil {
		return m, false
	}
	sure := j.sure(m, hi, sh)
	m.Sure = &sure
	if m.Highlight != nil {
		contrast := hi.diff / max(0.01, hi.mean)
		m.Contrast = &contrast
		mid := float64(m.Highlight.X-p.box.X) + float64(m.Highlight.W)/2
		slant := w.startM + math.Abs(mid-float64(r.axis(v.s))*w.sx)*w.binM/w.sx
		m.SlantM = &slant
	}
	tall := v.t.tall
	m.HeightM = &tall
	if !v.t.hanging {
		return m, true
	}
	off := v.t.off
	m.OffBottomM = &off
	if m.Shadow != nil && m.Highlight != nil {
		gap := v.gap(r, m)
		m.GapPx = &gap
	}
	return m, true
}

// gap is the slant range between highlight and shadow in pixels: between their boxes, or for a school that of a fish amid it.
func (v *view) gap(r *record, m eval.MarkLabel) float64 {
	if v.t.kind == "school" {
		return r.w.gapOf(math.Abs(v.t.x), min(0.9*r.w.altM, v.t.off)) * r.w.sx / r.w.binM
	}
	if r.leftward(v.s) {
		return float64(max(0, m.Highlight.X-m.Shadow.X-m.Shadow.W))
	}
	return float64(max(0, m.Shadow.X-m.Highlight.X-m.Highlight.W))
}
