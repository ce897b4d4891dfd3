package pulseworld

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// label writes down what the picture shows. Whether a thing is to be seen is measured in the picture itself.
func (w *world) label(seed int64, img image.Image) eval.CaptureLabel {
	p := &w.disp
	panel := p.panel
	l := eval.CaptureLabel{
		Capture: fmt.Sprintf("pulseworld-%d.png", seed), By: "scene", RangeM: w.rangeM, Panel: &panel, DarkIsStrong: p.inverted,
		Marks: []eval.MarkLabel{}, Humps: [][2]int{}, Furniture: p.furniture,
	}
	if p.oneSide {
		l.Side = w.swaths[0].side
	} else {
		for y := panel.Y; y < panel.Y+panel.H; y += 8 {
			l.Nadir = append(l.Nadir, detect.RowX{float64(y), float64(panel.X) + float64(p.port)*p.fx})
		}
	}
	for _, sw := range w.swaths {
		rows := w.firstReturn(sw)
		if sw.side == detect.Port {
			l.FirstReturn.Port = rows
		} else {
			l.FirstReturn.Starboard = rows
		}
	}
	l.LostRows = w.lostRows()
	for _, a := range p.stones {
		if r, ok := w.region(a); ok {
			l.Regions = append(l.Regions, r)
		}
	}
	m := newMeter(img, panel)
	if p.inverted {
		m.sign = -1
	}
	m.furniture = p.furniture
	type pair struct{ hi, sh *detect.Box }
	boxes := make([]pair, len(w.things))
	for i, t := range w.things {
		sw := w.swaths[t.sw]
		if b, ok := w.boxOf(sw, t.bright); ok {
			boxes[i].hi = &b
			m.avoid = append(m.avoid, b)
		}
		if b, ok := w.boxOf(sw, t.dark); ok {
			boxes[i].sh = &b
			m.avoid = append(m.avoid, b)
		}
	}
	for i, t := range w.things {
		if mark, ok := w.mark(t, m, boxes[i].hi, boxes[i].sh, l.LostRows); ok {
			l.Marks = append(l.Marks, mark)
		}
	}
	return l
}

// lostRows are the lost pings as rows of the picture, in order and joined where they touch. A ping that is less than half a row
// doesn't show.
func (w *world) lostRows() [][2]int {
	p := &w.disp
	slices.SortFunc(w.lost, func(a, b [2]int) int { return a[0] - b[0] })
	var out [][2]int
	for _, q := range w.lost {
		y0, y1 := p.panel.Y+int(math.Round(float64(q[0])*p.fy)), p.panel.Y+int(math.Round(float64(q[1])*p.fy))
		switch {
		case y1 <= y0:
		case len(out) > 0 && y0 <= out[len(out)-1][1]:
			out[len(out)-1][1] = max(y1, out[len(out)-1][1])
		default:
			out = append(out, [2]int{y0, y1})
		}
	}
	return out
}

// lostShare is the share of a box's rows that hold no echo.
func lostShare(b detect.Box, lost [][2]int) float64 {
	n := 0
	for _, q := range lost {
		n += max(0, min(q[1], b.Y+b.H)-max(q[0], b.Y))
	}
	return float64(n) / float64(b.H)
}

func (w *world) firstReturn(sw *swath) []detect.RowX {
	p := &w.disp
	var out []detect.RowX
	for y := p.panel.Y; y < p.panel.Y+p.panel.H; y += 8 {
		ping := min(w.pings-1, int((float64(y-p.panel.Y)+0.5)/p.fy))
		b := w.binAt(sw.h[ping])
		if b < 0 || b >= float64(sw.nb) {
			continue
		}
		out = append(out, detect.RowX{float64(y), w.xOf(sw, b)})
	}
	return out
}

// xOf is where a fractional bin lies in the picture.
func (w *world) xOf(sw *swath, bin float64) float64 {
	p := &w.disp
	if sw.side == detect.Port {
		bin = -bin
	}
	return float64(p.panel.X) + (float64(p.port)+bin)*p.fx
}

// boxOf is a reach in pixels of the picture.
func (w *world) boxOf(sw *swath, r reach) (detect.Box, bool) {
	if r.empty() {
		return detect.Box{}, false
	}
	p := &w.disp
	xa, xb := w.xOf(sw, float64(r.b0)), w.xOf(sw, float64(r.b1))
	if xa > xb {
		xa, xb = xb, xa
	}
	ya, yb := float64(p.panel.Y)+float64(r.p0)*p.fy, float64(p.panel.Y)+float64(r.p1)*p.fy
	box := image.Rect(int(math.Floor(xa+0.25)), int(math.Floor(ya+0.25)), int(math.Ceil(xb-0.25)), int(math.Ceil(yb-0.25)))
	box = box.Intersect(p.panel.Rect())
	return detect.BoxOf(box), !box.Empty()
}

// pixels are the places of cells in the picture.
func (w *world) pixels(sw *swath, cells [][2]int) []image.Point {
	out := make([]image.Point, len(cells))
	for i, c := range cells {
		out[i] = image.Pt(int(w.xOf(sw, float64(c[0])+0.5)), w.disp.panel.Y+int((float64(c[1])+0.5)*w.disp.fy))
	}
	return out
}

// showing is how well a box stands out in the picture: in units of the spread around it, and in grey levels.
type showing struct {
	box     *detect.Box
	z, grey float64
}

// seen tells whether a careful person would notice the box by itself.
func (s showing) seen() bool {
	plain := s.z >= 3 && s.grey >= 13 || s.z >= 1.8 && s.grey >= 35
	return s.box != nil && plain && max(s.box.W, s.box.H) >= 4 && min(s.box.W, s.box.H) >= 2
}

// look measures a box; it is dropped where nothing of it shows.
func (m *meter) look(b *detect.Box, at []image.Point, sign float64) showing {
	if b == nil {
		return showing{}
	}
	z, grey := m.stands(*b, at)
	s := showing{b, z * sign, grey * sign}
	if s.z < 1 || s.grey < 3 || (sign < 0 && min(b.W, b.H) < 2) {
		s.box = nil
	}
	return s
}

// mark labels a thing, or says that nothing of it shows.
func (w *world) mark(t *thing, m *meter, hi, sh *detect.Box, lost [][2]int) (eval.MarkLabel, bool) {
	sw := w.swaths[t.sw]
	bright, dark := m.look(hi, w.pixels(sw, t.brightAt), 1), m.look(sh, w.pixels(sw, t.darkAt), -1)
	out := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: sw.side, Highlight: bright.box, Shadow: dark.box}
	if out.Highlight == nil && out.Shadow == nil {
		return out, false
	}
	height, off, slant := t.heightM, t.offM, math.Hypot(t.x, w.altitudeAt(sw, t.y)-t.offM-t.heightM/2)
	out.HeightM, out.OffBottomM = &height, &off
	var sure bool
	if t.hangs {
		out.SlantM = &slant
		sure = w.sureHanging(t, &out, bright, dark)
	} else {
		sure = sureLying(bright, dark)
	}
	for _, b := range []*detect.Box{out.Highlight, out.Shadow} {
		if b == nil {
			continue
		}
		sure = sure && m.covered(*b) <= 0.35 && lostShare(*b, lost) <= 0.25
	}
	out.Sure = &sure
	return out, true
}

// sureLying asks for both echo and shadow, one of them plain.
func sureLying(bright, dark showing) bool {
	both := bright.box != nil && dark.box != nil && min(bright.z, dark.z) >= 1.8 && min(bright.grey, dark.grey) >= 8
	return both && (bright.seen() || dark.seen()) && max(bright.z, dark.z) >= 3
}

// sureHanging judges a thing in the water and measures its gap. Over the bottom it takes both echo and shadow to tell that it hangs.
func (w *world) sureHanging(t *thing, out *eval.MarkLabel, bright, dark showing) bool {
	inColumn := *out.SlantM < w.altitudeAt(w.swaths[t.sw], t.y)*0.985
	if bright.box == nil {
		return false
	}
	if dark.box == nil {
		return inColumn && bright.seen() && bright.z > 3.5
	}
	gap := float64(out.Shadow.X - out.Highlight.X - out.Highlight.W)
	if out.Side == detect.Port {
		gap = float64(out.Highlight.X - out.Shadow.X - out.Shadow.W)
	}
	gap = max(gap, 0)
	out.GapPx = &gap
	return gap >= 1 && bright.seen() && (dark.z > 1.9 && dark.grey >= 8 || (inColumn && bright.z > 3.5))
}

// meter measures brightness in the finished picture.
type meter struct {
	panel     detect.Box
	sum       []float64 // integral of luminance over the panel
	sign      float64
	avoid     []detect.Box
	furniture []eval.FurnitureLabel
}

func newMeter(img image.Image, panel detect.Box) *meter {
	m := &meter{panel: panel, sign: 1, sum: make([]float64, (panel.W+1)*(panel.H+1))}
	n := panel.W + 1
	for y := range panel.H {
		line := 0.0
		for x := range panel.W {
			line += luminance(img, panel.X+x, panel.Y+y)
			m.sum[(y+1)*n+x+1] = m.sum[y*n+x+1] + line
		}
	}
	return m
}

func luminance(img image.Image, x, y int) float64 {
	switch im := img.(type) {
	case *image.RGBA:
		i := im.PixOffset(x, y)
		return 0.299*float64(im.Pix[i]) + 0.587*float64(im.Pix[i+1]) + 0.114*float64(im.Pix[i+2])
	case *image.YCbCr:
		return float64(im.Y[im.YOffset(x, y)])
	}
	return float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
}

// mean is the mean luminance of a box; ok is false where it leaves the panel.
func (m *meter) mean(x, y, w, h int) (float64, bool) {
	x, y = x-m.panel.X, y-m.panel.Y
	if x < 0 || y < 0 || x+w > m.panel.W || y+h > m.panel.H {
		return 0, false
	}
	n := m.panel.W + 1
	s := m.sum[(y+h)*n+x+w] - m.sum[y*n+x+w] - m.sum[(y+h)*n+x] + m.sum[y*n+x]
	return s / float64(w*h), true
}

// stands tells how far the mean of the given pixels stands off boxes of about as many around their box, in units of the spread of
// those and in grey levels; positive for more echo.
func (m *meter) stands(b detect.Box, at []image.Point) (z, diff float64) {
	seen := map[image.Point]bool{}
	var here float64
	for _, q := range at {
		if v, ok := m.mean(q.X, q.Y, 1, 1); ok && !seen[q] {
			seen[q] = true
			here += v
		}
	}
	if len(seen) == 0 {
		return 0, 0
	}
	here /= float64(len(seen))
	side := int(math.Ceil(1.2 * math.Sqrt(float64(len(seen)))))
	var v []float64
	w, h := min(b.W, 40, max(side, 3)), min(b.H, 40, max(side, 3))
	cx, cy := b.X+b.W/2, b.Y+b.H/2
	try := func(x, y int) {
		// A box at the rim is compared with what lies along it and on its other sides.
		x = min(max(x, m.panel.X), m.panel.X+m.panel.W-w)
		y = min(max(y, m.panel.Y), m.panel.Y+m.panel.H-h)
		if !m.near(b, x, y, w, h) {
			if u, ok := m.mean(x, y, w, h); ok {
				v = append(v, u)
			}
		}
	}
	// The fair comparison is what was heard at the same range in other pings; what lies nearer and farther stands in where that is full.
	for ky := -7; ky <= 7; ky++ {
		for kx := -1; kx <= 1; kx++ {
			try(cx+kx*max(b.W/4, 2)-w/2, cy+ky*(b.H/2+h/2+3)/2-h/2)
		}
	}
	for ky := -3; ky <= 3 && len(v) < 9; ky++ {
		for kx := -3; kx <= 3; kx++ {
			try(cx+kx*(b.W/2+w/2+3)/2-w/2, cy+ky*(b.H/2+h/2+3)/2-h/2)
		}
	}
	if len(v) < 3 {
		return 0, 0
	}
	// Medians, because some places of comparison hold a patch or an edge of their own.
	slices.Sort(v)
	mid := v[len(v)/2]
	diff = (here - mid) * m.sign
	for i := range v {
		v[i] = math.Abs(v[i] - mid)
	}
	slices.Sort(v)
	return diff / max(1.4826*v[len(v)/2], 2), diff
}

// near tells whether a place of comparison holds a thing or furniture. A much larger thing round the box itself, as a wall's
// shadow, is its surroundings.
func (m *meter) near(b detect.Box, x, y, w, h int) bool {
	for _, o := range m.avoid {
		if in := o.Rect().Intersect(b.Rect()); in.Dx()*in.Dy()*10 >= b.W*b.H*8 && o.W*o.H > 4*b.W*b.H {
			continue
		}
		if x < o.X+o.W && o.X < x+w && y < o.Y+o.H && o.Y < y+h {
			return true
		}
	}
	for _, f := range m.furniture {
		if o := f.Box; x < o.X+o.W && o.X < x+w && y < o.Y+o.H && o.Y < y+h {
			return true
		}
	}
	return false
}

// covered is the share of a box under furniture.
func (m *meter) covered(b detect.Box) float64 {
	n := 0
	for _, f := range m.furniture {
		r := f.Box.Rect().Intersect(b.Rect())
		n += r.Dx() * r.Dy()
	}
	return float64(n) / float64(b.W*b.H)
}
