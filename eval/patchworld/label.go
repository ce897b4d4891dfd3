package patchworld

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// view is where a panel of native pixels lies in the final picture.
type view struct {
	panel    image.Rectangle
	sc       scales
	nadir    float64 // native column edge of slant range 0; outside the panel where one side is shown
	sides    []*side
	lum      []uint32 // summed-area table of the final luminance, one more row and column than the picture
	w        int
	sense    float64 // -1 where the palette is inverted
	occupied []image.Rectangle
}

// column is the final edge coordinate of a slant range.
func (v *view) column(on *side, s float64) float64 {
	if on.name == detect.Port {
		s = -s
	}
	return float64(v.panel.Min.X) + (v.nadir+s)*v.sc.x
}

// box is a native box of a side in the final picture, cut at the panel; empty where nothing of it is in view.
func (v *view) box(on *side, r image.Rectangle) image.Rectangle {
	return v.uncut(on, r).Intersect(v.panel)
}

// uncut is the same with what lies beyond the panel.
func (v *view) uncut(on *side, r image.Rectangle) image.Rectangle {
	if r.Empty() {
		return image.Rectangle{}
	}
	a, b := v.column(on, float64(r.Min.X)), v.column(on, float64(r.Max.X))
	if a > b {
		a, b = b, a
	}
	y := float64(v.panel.Min.Y)
	return image.Rect(int(math.Round(a)), int(math.Round(y+float64(r.Min.Y)*v.sc.y)),
		int(math.Round(b)), int(math.Round(y+float64(r.Max.Y)*v.sc.y)))
}

// firstAt is the final edge coordinate of a side's first return at a final row.
func (v *view) firstAt(on *side, y float64) float64 {
	r := min(max(int((y-float64(v.panel.Min.Y))/v.sc.y), 0), on.h-1)
	return v.column(on, float64(on.first[r]))
}

// integrate sums the luminance (ITU-R BT.601 weights, as JPEG has them) of a picture.
func (v *view) integrate(img image.Image) {
	b := img.Bounds()
	v.w = b.Dx() + 1
	v.lum = make([]uint32, v.w*(b.Dy()+1))
	row := make([]uint32, b.Dx())
	for y := range b.Dy() {
		switch m := img.(type) {
		case *image.YCbCr:
			for x := range row {
				row[x] = uint32(m.Y[y*m.YStride+x])
			}
		case *image.RGBA:
			for x := range row {
				p := m.Pix[y*m.Stride+4*x:]
				row[x] = (299*uint32(p[0]) + 587*uint32(p[1]) + 114*uint32(p[2])) / 1000
			}
		}
		sum := uint32(0)
		for x, l := range row {
			sum += l
			v.lum[(y+1)*v.w+x+1] = v.lum[y*v.w+x+1] + sum
		}
	}
}

// mean is the mean echo brightness in a box, 0 to 255, falling luminance taken the other way round.
func (v *view) mean(r image.Rectangle) float64 {
	s := v.lum[r.Max.Y*v.w+r.Max.X] - v.lum[r.Min.Y*v.w+r.Max.X] - v.lum[r.Max.Y*v.w+r.Min.X] + v.lum[r.Min.Y*v.w+r.Min.X]
	m := float64(s) / float64(r.Dx()*r.Dy())
	if v.sense < 0 {
		return 255 - m
	}
	return m
}

// strong is the mean of a box, or where it is large enough to have parts, of the quarter of its parts that lie furthest in the
// given sense: slant and broken things fill little of their boxes.
func (v *view) strong(r image.Rectangle, sense float64) float64 {
	nx, ny := min(max(r.Dx()/3, 1), 8), min(max(r.Dy()/3, 1), 8)
	if nx*ny < 3 {
		return v.mean(r)
	}
	parts := make([]float64, 0, 64)
	for j := range ny {
		for i := range nx {
			parts = append(parts, sense*v.mean(image.Rect(r.Min.X+r.Dx()*i/nx, r.Min.Y+r.Dy()*j/ny,
				r.Min.X+r.Dx()*(i+1)/nx, r.Min.Y+r.Dy()*(j+1)/ny)))
		}
	}
	slices.Sort(parts)
	top := parts[len(parts)-(len(parts)+3)/4:]
	sum := 0.0
	for _, p := range top {
		sum += p
	}
	return sense * sum / float64(len(top))
}

// cores are parts of a box that have room for neighbours of their size: the box itself where it is small, else its middle and
// four parts around that, since a large thing may be plain in places only.
func cores(r image.Rectangle) []image.Rectangle {
	w, h := min(r.Dx(), 36), min(r.Dy(), 28)
	if w == r.Dx() && h == r.Dy() {
		return []image.Rectangle{r}
	}
	dx, dy := r.Dx()-w, r.Dy()-h
	var out []image.Rectangle
	for _, f := range [][2]int{{2, 2}, {0, 2}, {4, 2}, {2, 1}, {2, 3}} {
		x, y := r.Min.X+dx*f[0]/4, r.Min.Y+dy*f[1]/4
		out = append(out, image.Rect(x, y, x+w, y+h))
	}
	return out
}

// stands is how far a box stands out from its surroundings in the given sense, by the plainest of its cores: in units of the
// spread among boxes of that size around, and in levels. Where nothing can be compared nothing is known.
func (v *view) stands(on *side, box image.Rectangle, sense float64) (spreads, levels float64, known bool) {
	for _, c := range cores(box) {
		if s, l, ok := v.compare(on, c, sense); ok && (!known || s > spreads) {
			spreads, levels, known = s, l, true
		}
	}
	return spreads, levels, known
}

// compare sets one box against boxes of its size. Those on the other side of the first return, or over anything else that was
// set, are left out; it fails where too few are left.
func (v *view) compare(on *side, r image.Rectangle, sense float64) (spreads, levels float64, known bool) {
	if r.Dx() < 1 || r.Dy() < 1 {
		return 0, 0, false
	}
	wet := v.wet(on, r)
	var around []float64
	dx, dy := r.Dx()+2, r.Dy()+2
	// The same slant ranges come first, since gain and the sounder's own lines go with range; then the columns beside.
	for _, side := range []int{0, 1, -1, 2, -2} {
		if len(around) >= 8 {
			break
		}
		for _, k := range []int{1, -1, 2, -2, 3, -3, 4, -4, 6, -6, 8, -8, 11, -11, 14, -14} {
			at := r.Add(image.Pt(side*dx, k*dy))
			if at.In(v.panel) && v.wet(on, at) == wet && !v.taken(at) {
				around = append(around, v.strong(at, sense))
			}
		}
	}
	if len(around) < 5 {
		return 0, 0, false
	}
	sum, square := 0.0, 0.0
	for _, a := range around {
		sum += a
	}
	mean := sum / float64(len(around))
	for _, a := range around {
		square += (a - mean) * (a - mean)
	}
	levels = sense * (v.strong(r, sense) - mean)
	return levels / (math.Sqrt(square/float64(len(around)-1)) + 1.5), levels, true
}

// wet tells whether a box's middle lies on the nadir's side of the first return.
func (v *view) wet(on *side, r image.Rectangle) bool {
	x, f := float64(r.Min.X+r.Max.X)/2, v.firstAt(on, float64(r.Min.Y+r.Max.Y)/2)
	if on.name == detect.Port {
		return x > f
	}
	return x < f
}

func (v *view) taken(r image.Rectangle) bool {
	for _, o := range v.occupied {
		if r.Overlaps(o) {
			return true
		}
	}
	return false
}

// Limits on what stands out, in spreads of its surroundings and in levels of 255. They were set by looking at pictures of
// this world with the boxes drawn.
const (
	leastSpreads, leastLevels = 1.8, 8  // a sure mark's highlight
	pairSpreads, pairLevels   = 4.6, 22 // highlight and shadow together
	aloneSpreads, aloneLevels = 3.7, 20 // a highlight without a shadow
	darkSpreads, darkLevels   = 4.5, 28 // a shadow behind a highlight that is hardly seen
	faintSpreads, faintLevels = 0.8, 4  // less than that of both is nothing at all
)

// reading is what the final picture shows of a thing.
type reading struct {
	high, dark   image.Rectangle
	hs, hl       float64 // how far the highlight stands out, in spreads and levels
	ds, dl       float64 // the same of the shadow
	known, sees  bool    // all that there is could be compared; a shadow shows
	buried, half bool    // nearly all of the highlight, or a good part, is covered or cut off
}

func (v *view) read(t thing, covered []image.Rectangle) reading {
	r := reading{high: v.box(t.on, t.highlight), dark: v.box(t.on, t.shadow)}
	if r.high.Empty() {
		return r
	}
	whole := v.uncut(t.on, t.highlight)
	r.half = 3*r.high.Dx()*r.high.Dy() < whole.Dx()*whole.Dy()
	r.hs, r.hl, r.known = v.stands(t.on, r.high, 1)
	hidden := false
	if !r.dark.Empty() {
		r.dark = v.trim(t, r.dark)
		var told bool
		r.ds, r.dl, told = v.stands(t.on, r.dark, -1)
		r.known, hidden = r.known && told, !told
	}
	r.sees = (hidden || r.ds > 1.6 && r.dl > 6) && r.dark.Dx() >= 2 && r.dark.Dy() >= 2
	for _, c := range covered {
		in, size := c.Intersect(r.high), r.high.Dx()*r.high.Dy()
		r.half = r.half || 3*in.Dx()*in.Dy() > size
		r.buried = r.buried || 10*in.Dx()*in.Dy() > 9*size
	}
	return r
}

// nothing tells that neither highlight nor shadow can be made out.
func (r reading) nothing() bool {
	faint := (r.hs < faintSpreads || r.hl < faintLevels) && (r.ds < faintSpreads || r.dl < faintLevels)
	return r.high.Empty() || r.buried || r.known && faint
}

// sure tells that a careful person would say there is something.
func (r reading) sure() bool {
	if r.half || max(r.high.Dx(), r.high.Dy()) < 4 {
		return false
	}
	// A shadow that is half seen makes no teacher for one that isn't there.
	if !r.sees && r.ds > faintSpreads && r.dl > faintLevels {
		return false
	}
	alone := r.hs > aloneSpreads && r.hl > aloneLevels
	pair := r.sees && r.hs+r.ds > pairSpreads && r.hl+r.dl > pairLevels
	dark := r.known && r.sees && r.hs > faintSpreads && r.hl > faintLevels && r.ds > darkSpreads && r.dl > darkLevels
	return dark || r.hs > leastSpreads && r.hl > leastLevels && (alone || pair)
}

// label writes a thing down as it shows in the final picture; false where it doesn't.
func (v *view) label(t thing, covered []image.Rectangle, metres float64) (eval.MarkLabel, bool) {
	r := v.read(t, covered)
	if r.nothing() {
		return eval.MarkLabel{}, false
	}
	m := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: t.on.name}
	hb, sure := detect.BoxOf(r.high), r.sure()
	m.Highlight = &hb
	if r.sees {
		db := detect.BoxOf(r.dark)
		m.Shadow = &db
	}
	height, slant := t.heightPx*metres, t.slantPx*metres
	m.HeightM, m.SlantM = &height, &slant
	if t.class == detect.SuspendedTarget {
		off := t.offPx * metres
		m.OffBottomM = &off
		if r.sees {
			gap := math.Round(t.gapPx*v.sc.x*10) / 10
			m.GapPx = &gap
			sure = sure && gap >= 1.5
		} else if !t.inWater {
			sure = false // nothing in the picture tells it from a thing on the bottom
		}
	}
	m.Sure = &sure
	return m, true
}

// trim cuts a shadow's far part off, a sixth at a time, while that part is no darker than its surroundings.
func (v *view) trim(t thing, dark image.Rectangle) image.Rectangle {
	for range 5 {
		part := max(dark.Dx()/6, 2)
		if dark.Dx() <= 2*part {
			break
		}
		end, rest := dark, dark
		if t.on.name == detect.Port {
			end.Max.X, rest.Min.X = dark.Min.X+part, dark.Min.X+part
		} else {
			end.Min.X, rest.Max.X = dark.Max.X-part, dark.Max.X-part
		}
		if s, l, known := v.stands(t.on, end, -1); !known || s > 0.8 && l > 4 {
			break
		}
		dark = rest
	}
	return dark
}
