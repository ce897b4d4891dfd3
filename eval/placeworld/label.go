package placeworld

import (
	"image"
	"image/color"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// extent is where in the record a thing lit or shaded bins on a side.
type extent struct {
	bins []int32
	n    int
}

// traces collects what each thing did on each side. The key is 2*id, plus 1 on starboard.
func (w *world) traces(owner []uint16, s *screen) map[int]*extent {
	out := map[int]*extent{}
	wd := 2 * w.ng
	for i, id := range owner {
		if id == 0 {
			continue
		}
		y, x := i/wd, i%wd
		if x < s.firstColumn || x >= s.firstColumn+s.columns {
			continue
		}
		key := 2 * int(id)
		if x >= w.ng {
			key++
		}
		e := out[key]
		if e == nil {
			e = &extent{}
			out[key] = e
		}
		e.bins = append(e.bins, int32(y*wd+x))
	}
	for _, e := range out {
		e.n = len(e.bins)
	}
	return out
}

// box is the part of the record that holds all but the outermost stray bins, half open.
func (e *extent) box(wd int) image.Rectangle {
	xs, ys := make([]int32, 0, e.n), make([]int32, 0, e.n)
	for _, b := range e.bins {
		xs, ys = append(xs, b%int32(wd)), append(ys, b/int32(wd))
	}
	slices.Sort(xs)
	slices.Sort(ys)
	cut := 0
	if e.n > 30 {
		cut = e.n / 80
	}
	last := e.n - 1 - cut
	return image.Rect(int(xs[cut]), int(ys[cut]), int(xs[last])+1, int(ys[last])+1)
}

// onScreen maps a rectangle of the record into the picture; what is seen there is at least a pixel.
func (s *screen) onScreen(r image.Rectangle) image.Rectangle {
	x0, x1 := int(math.Round(s.left+float64(r.Min.X)*s.kx)), int(math.Round(s.left+float64(r.Max.X)*s.kx))
	y0, y1 := int(math.Round(s.top+float64(r.Min.Y)*s.ky)), int(math.Round(s.top+float64(r.Max.Y)*s.ky))
	return image.Rect(x0, y0, max(x1, x0+1), max(y1, y0+1)).Intersect(s.panel)
}

// label tells the truth about the picture on the screen.
func (w *world) label(s *screen) eval.CaptureLabel {
	panel := detect.BoxOf(s.panel)
	l := eval.CaptureLabel{
		By: "scene", RangeM: math.Round(w.rangeM*100) / 100, Panel: &panel, DarkIsStrong: s.inverted, Side: s.side,
		Marks: []eval.MarkLabel{}, Humps: [][2]int{}, Furniture: s.furniture,
	}
	w.bounds(s, &l)
	for _, r := range w.lost {
		b := s.onScreen(image.Rect(s.firstColumn, r[0], s.firstColumn+s.columns, r[1]))
		l.LostRows = append(l.LostRows, [2]int{b.Min.Y, b.Max.Y})
	}
	w.marks(s, &l)
	doubtOverlaps(l.Marks)
	return l
}

// doubtOverlaps takes the certainty from what hangs before something that lies or stands there: which echo is whose cannot be told.
func doubtOverlaps(marks []eval.MarkLabel) {
	for i := range marks {
		if marks[i].Class != detect.SuspendedTarget {
			continue
		}
		own := marks[i].Highlight.Rect()
		for j := range marks {
			if marks[j].Class == detect.SuspendedTarget || marks[j].Side != marks[i].Side {
				continue
			}
			if both := own.Intersect(marks[j].Highlight.Rect()); 3*both.Dx()*both.Dy() > own.Dx()*own.Dy() {
				*marks[i].Sure = false
			}
		}
	}
}

// bounds gives the nadir and the first returns every 8 rows of the picture.
func (w *world) bounds(s *screen, l *eval.CaptureLabel) {
	middle := s.left + float64(w.ng)*s.kx
	for y := s.panel.Min.Y; y < s.panel.Max.Y; y += 8 {
		ping := min(w.h-1, max(0, int((float64(y)+0.5-s.top)/s.ky)))
		if s.side == "" {
			l.Nadir = append(l.Nadir, detect.RowX{float64(y), tenth(middle)})
		}
		port := middle - float64(w.firstBin[0][ping])*s.kx
		starboard := middle + float64(w.firstBin[1][ping])*s.kx
		if s.side != detect.Starboard && port > float64(s.panel.Min.X) && port < float64(s.panel.Max.X) {
			l.FirstReturn.Port = append(l.FirstReturn.Port, detect.RowX{float64(y), tenth(port)})
		}
		if s.side != detect.Port && starboard < float64(s.panel.Max.X) && starboard > float64(s.panel.Min.X) {
			l.FirstReturn.Starboard = append(l.FirstReturn.Starboard, detect.RowX{float64(y), tenth(starboard)})
		}
	}
}

func tenth(x float64) float64 { return math.Round(x*10) / 10 }

// marks labels the things that can be seen in the finished picture, and says of which one can be sure.
func (w *world) marks(s *screen, l *eval.CaptureLabel) {
	lit, shaded := w.traces(w.lit, s), w.traces(w.shaded, s)
	lum := luminance(s.img, s.inverted)
	eye := &eye{world: w, s: s, lum: lum, wd: s.img.Bounds().Dx()}
	for key := 2; key < 2*len(w.things)+2; key++ {
		t := w.things[key/2-1]
		h, sh := lit[key], shaded[key]
		if h == nil {
			continue
		}
		side := detect.Port
		if key%2 == 1 {
			side = detect.Starboard
		}
		hb := s.onScreen(h.box(2 * w.ng))
		if hb.Empty() {
			continue
		}
		if t.region {
			l.Regions = append(l.Regions, detect.Region{Kind: t.kind, Box: detect.BoxOf(hb)})
			continue
		}
		m := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: side, HeightM: hundredth(t.heightM), OffBottomM: hundredth(t.offBottomM)}
		bright, measured := eye.stands(h, hb)
		dark := sight{}
		var sb image.Rectangle
		if sh != nil {
			if sb = s.onScreen(sh.box(2 * w.ng)); !sb.Empty() {
				dark, _ = eye.stands(sh, sb)
			}
		}
		sure, there := judge(bright, dark, hb, sb)
		if !there && measured {
			continue
		}
		box := detect.BoxOf(eye.seen(h, bright))
		m.Highlight, m.Sure = &box, &sure
		if dark.z < -1 && dark.step < -3 || sb.Dx()*sb.Dy() > 900 && dark.step < -6 {
			sbox := detect.BoxOf(eye.seen(sh, dark))
			m.Shadow = &sbox
			if t.class == detect.SuspendedTarget {
				gap := tenth(w.gap(h, sh) * s.kx)
				m.GapPx = &gap
				// what seems to touch its shadow cannot be told from what lies on the bottom
				if gap < 2 {
					sure = false
				}
			}
		}
		l.Marks = append(l.Marks, m)
	}
}

func hundredth(x float64) *float64 {
	r := math.Round(x*100) / 100
	return &r
}

// gap is the median over pings of the bins between a thing's highlight and its shadow.
func (w *world) gap(lit, shaded *extent) float64 {
	wd := 2 * w.ng
	out := func(b int32) int {
		k := int(b)%wd - w.ng
		if k < 0 {
			k = -1 - k
		}
		return k
	}
	far := map[int]int{}
	for _, b := range lit.bins {
		far[int(b)/wd] = max(far[int(b)/wd], out(b))
	}
	near := map[int]int{}
	for _, b := range shaded.bins {
		k, ok := near[int(b)/wd]
		if !ok || out(b) < k {
			near[int(b)/wd] = out(b)
		}
	}
	var gaps []float64
	for y, k := range near {
		if f, ok := far[y]; ok {
			gaps = append(gaps, math.Max(0, float64(k-f-1)))
		}
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}

// sight is how a place stands out: by how many grey levels, and in units of how much such places differ around it, whose middle
// grey is about.
type sight struct{ z, step, about float64 }

// judge says whether a careful reader would be sure of a thing, and whether it is there to be seen at all.
func judge(bright, dark sight, hb, sb image.Rectangle) (sure, there bool) {
	// around a large thing there is too little of the same to tell how much it varies: the step alone counts
	area, areaDark := hb.Dx()*hb.Dy(), sb.Dx()*sb.Dy()
	sure = area > 900 && (bright.step > 20 || bright.step > 12 && bright.z > 1.5) || sureSmall(bright, dark, hb, sb)
	sure = sure || area > 100 && areaDark > 900 && dark.step < -18 && bright.step > 10
	there = sure || bright.z > 1.2 && bright.step > 4 || dark.z < -1.2 && dark.step < -4
	return sure, there || area > 400 && bright.step > 8 || areaDark > 400 && dark.step < -8
}

// sureSmall wants a highlight that stands out by itself, or a shadow that does and a fair highlight before it.
func sureSmall(bright, dark sight, hb, sb image.Rectangle) bool {
	if max(hb.Dx(), hb.Dy()) < 4 || hb.Dx()*hb.Dy() < 8 {
		return false
	}
	if bright.z > 4 && bright.step > 11 && (bright.z > 6 || dark.z < -1.5) {
		return true
	}
	if bright.z > 2.2 && dark.z < -2.2 && bright.z-dark.z > 6 && bright.step > 9 && dark.step < -8 {
		return true
	}
	large := min(sb.Dx(), sb.Dy()) >= 2 && max(sb.Dx(), sb.Dy()) >= 5
	return large && dark.z < -3.2 && dark.step < -10 && bright.z > 1.8 && bright.step > 8
}

// eye measures the finished picture.
type eye struct {
	*world
	s   *screen
	lum []uint8
	wd  int
}

// stands compares the mean of a thing's own pixels with the means over the same shape set down beside it.
func (e *eye) stands(x *extent, box image.Rectangle) (sight, bool) {
	step := max(1, x.n/300)
	pts := make([]image.Point, 0, 300)
	for i := 0; i < x.n; i += step {
		b := int(x.bins[i])
		wd := 2 * e.ng
		p := image.Pt(int(e.s.left+(float64(b%wd)+0.5)*e.s.kx), int(e.s.top+(float64(b/wd)+0.5)*e.s.ky))
		if p.In(e.s.panel) {
			pts = append(pts, p)
		}
	}
	own, ok := e.mean(pts, image.Point{}, e.s.panel)
	if !ok {
		return sight{}, false
	}
	bounds := e.s.panel
	middle := int(e.s.left + float64(e.ng)*e.s.kx)
	if box.Min.X >= middle-1 {
		bounds.Min.X = max(bounds.Min.X, middle)
	} else if box.Max.X <= middle+1 {
		bounds.Max.X = min(bounds.Max.X, middle)
	}
	around := e.around(x, pts, box, bounds)
	if len(around) < 4 {
		return sight{}, false
	}
	slices.Sort(around)
	mid := around[len(around)/2]
	dev := make([]float64, len(around))
	for i, a := range around {
		dev[i] = math.Abs(a - mid)
	}
	slices.Sort(dev)
	spread := 1.48*dev[len(dev)/2] + 1.5
	z := (own - mid) / spread
	// at an edge, half of what is around is as bright as the thing itself
	if fifth := len(around) / 5; own > mid && own < around[len(around)-1-fifth]+2 || own < mid && own > around[fifth]-2 {
		z = clamp(z, -1.5, 1.5)
	}
	return sight{z, own - mid, mid}, true
}

// seen is the box of a thing without the margins that hardly differ from what is around it: columns and rows at its ends are left
// out while their own step is less than a quarter of the whole's, a fifth of the box at most at each end.
func (e *eye) seen(x *extent, look sight) image.Rectangle {
	wd := 2 * e.ng
	box := x.box(wd)
	if math.Abs(look.z) < 2 || math.Abs(look.step) < 6 {
		return e.s.onScreen(box)
	}
	cols, rows := make([]float64, box.Dx()), make([]float64, box.Dy())
	nc, nr := make([]float64, box.Dx()), make([]float64, box.Dy())
	for _, b := range x.bins {
		p := image.Pt(int(b)%wd, int(b)/wd)
		q := image.Pt(int(e.s.left+(float64(p.X)+0.5)*e.s.kx), int(e.s.top+(float64(p.Y)+0.5)*e.s.ky))
		if !p.In(box) || !q.In(e.s.panel) {
			continue
		}
		step := (float64(e.lum[q.Y*e.wd+q.X]) - look.about) / look.step
		cols[p.X-box.Min.X] += step
		nc[p.X-box.Min.X]++
		rows[p.Y-box.Min.Y] += step
		nr[p.Y-box.Min.Y]++
	}
	x0, x1 := ends(cols, nc)
	y0, y1 := ends(rows, nr)
	return e.s.onScreen(image.Rect(box.Min.X+x0, box.Min.Y+y0, box.Min.X+x1, box.Min.Y+y1))
}

// ends are the first and past the last of the sums whose mean is a quarter or more.
func ends(sum, n []float64) (from, to int) {
	to = len(sum)
	most := len(sum) / 5
	for from < most && sum[from] < 0.25*n[from]+1e-9 {
		from++
	}
	for to > len(sum)-most && sum[to-1] < 0.25*n[to-1]+1e-9 {
		to--
	}
	return from, to
}

// around are the means over the shape at places beside it: a whole box away, or, where the shape is a thin line in a wide box,
// a few pixels.
func (e *eye) around(x *extent, pts []image.Point, box, bounds image.Rectangle) []float64 {
	stepX, stepY := box.Dx()+3, box.Dy()+3
	if filled := float64(x.n) * e.s.kx * e.s.ky / float64(box.Dx()*box.Dy()); filled < 0.3 {
		stepX, stepY = min(stepX, 9), min(stepY, 9)
	}
	var around []float64
	for ring := 1; ring <= 3; ring++ {
		dx, dy := stepX+(ring-1)*min(stepX, 50), stepY+(ring-1)*min(stepY, 50)
		for _, d := range []image.Point{{dx, 0}, {-dx, 0}, {0, dy}, {0, -dy}, {dx, dy}, {-dx, dy}, {dx, -dy}, {-dx, -dy}} {
			if m, ok := e.mean(pts, d, bounds); ok {
				around = append(around, m)
			}
		}
	}
	return around
}

func (e *eye) mean(pts []image.Point, d image.Point, bounds image.Rectangle) (float64, bool) {
	sum, n := 0, 0
	for _, p := range pts {
		q := p.Add(d)
		if q.In(bounds) && (d == image.Point{} || !e.taken(q)) {
			sum += int(e.lum[q.Y*e.wd+q.X])
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return float64(sum) / float64(n), 3*n >= len(pts)
}

// taken tells where some thing echoes or throws its shadow, which is no surroundings to compare with.
func (e *eye) taken(p image.Point) bool {
	x := int((float64(p.X) + 0.5 - e.s.left) / e.s.kx)
	y := int((float64(p.Y) + 0.5 - e.s.top) / e.s.ky)
	if x < 0 || y < 0 || x >= 2*e.ng || y >= e.h {
		return true
	}
	i := y*2*e.ng + x
	return e.lit[i] != 0 || e.shaded[i] != 0
}

// luminance of a picture (weights of ITU-R BT.601), turned about where the palette is inverted, so that more echo is more.
func luminance(img image.Image, inverted bool) []uint8 {
	b := img.Bounds()
	wd := b.Dx()
	out := make([]uint8, wd*b.Dy())
	for y := range b.Dy() {
		row := out[y*wd : (y+1)*wd]
		switch m := img.(type) {
		case *image.YCbCr:
			copy(row, m.Y[y*m.YStride:])
		case *image.RGBA:
			grey(row, m.Pix[y*m.Stride:])
		case *image.NRGBA:
			grey(row, m.Pix[y*m.Stride:])
		default:
			for x := range row {
				row[x] = color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y
			}
		}
		if inverted {
			for x := range row {
				row[x] = 255 - row[x]
			}
		}
	}
	return out
}

func grey(row, pix []uint8) {
	for x := range row {
		row[x] = uint8((299*int(pix[4*x]) + 587*int(pix[4*x+1]) + 114*int(pix[4*x+2])) / 1000)
	}
}
