package shoalworld

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Bounds between what a person is sure of and what not, in deviations of the brightness around.
const (
	seenLeast   = 0.7 // less than this and it isn't there
	sureLeast   = 1.3 // of a highlight's or shadow's mean
	sureSum     = 6.0 // of its mean times the root of its area in grains
	pairLeast   = 1.6 // of a highlight over bottom with its shadow
	brightLeast = 2.6 // of a highlight over bottom with no shadow seen
	quietLevel  = 3.5 // deviation that even flat black is given, of 255
)

// views are the brightness of a capture with its things and without, strong upward.
type views struct {
	p             *plan
	with, without *field
}

func brightness(img image.Image, dark bool) *field {
	b := img.Bounds()
	f := newField(b.Dy(), b.Dx())
	for y := range f.rows {
		row := f.row(y)
		for x := range row {
			switch m := img.(type) {
			case *image.Gray:
				row[x] = float32(m.Pix[m.PixOffset(x, y)])
			case *image.YCbCr:
				row[x] = float32(m.Y[m.YOffset(x, y)])
			case *image.RGBA:
				c := m.Pix[m.PixOffset(x, y):]
				row[x] = 0.299*float32(c[0]) + 0.587*float32(c[1]) + 0.114*float32(c[2])
			}
			if dark {
				row[x] = 255 - row[x]
			}
		}
	}
	return f
}

// found is what shows of a highlight or a shadow.
type found struct {
	box        detect.Box
	mean, base float64 // brightness in it, with the thing and without
	strength   float64 // mean difference over the deviation around
	sum        float64 // the same times the root of its area in grains of nine pixels
}

// pixels maps cells of a side's record to the picture, with a rim of one pixel, as y × width + x, sorted.
func (v *views) pixels(side detect.Side, cells []int32) []int32 {
	p := v.p
	seen := map[int32]bool{}
	for _, cell := range cells {
		r, c := float64(int(cell)/p.bins), float64(int(cell)%p.bins)
		a, b := p.x(side, c), p.x(side, c+1)
		x0, x1 := int(math.Round(min(a, b)))-1, int(math.Round(max(a, b)))+1
		y0, y1 := p.panel.Y+int(r*p.fy)-1, p.panel.Y+int((r+1)*p.fy)+1
		for y := max(y0, p.panel.Y); y <= min(y1, p.panel.Y+p.panel.H-1); y++ {
			for x := max(x0, p.panel.X); x <= min(x1, p.panel.X+p.panel.W-1); x++ {
				seen[int32(y*p.width+x)] = true
			}
		}
	}
	out := make([]int32, 0, len(seen))
	for k := range seen {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// diff is the difference between the two views about a pixel, averaged over three by three, times sign.
func (v *views) diff(k int32, sign float64) float64 {
	y, x := int(k)/v.p.width, int(k)%v.p.width
	sum, n := 0.0, 0.0
	for j := max(y-1, 0); j <= min(y+1, v.p.height-1); j++ {
		for i := max(x-1, 0); i <= min(x+1, v.p.width-1); i++ {
			sum += float64(v.with.row(j)[i] - v.without.row(j)[i])
			n++
		}
	}
	return sign * sum / n
}

// look finds what shows of a highlight (sign 1) or a shadow (-1) among the pixels where it can be; nil = nothing.
func (v *views) look(pix []int32, sign float64) *found {
	if len(pix) < 3 {
		return nil
	}
	d := make([]float64, len(pix))
	for i, k := range pix {
		d[i] = v.diff(k, sign)
	}
	order := slices.Clone(d)
	slices.Sort(order)
	// A few pixels set the measure of a small highlight, a twentieth that of a large one.
	peak := order[max(len(order)-1-max(len(order)/20, 2), 0)]
	if peak < 3 {
		return nil
	}
	bar := 0.4 * peak
	var f found
	n := 0.0
	rows, cols := map[int]int{}, map[int]int{}
	for i, k := range pix {
		if d[i] < bar {
			continue
		}
		y, x := int(k)/v.p.width, int(k)%v.p.width
		f.mean += float64(v.with.row(y)[x])
		f.base += float64(v.without.row(y)[x])
		rows[y]++
		cols[x]++
		n++
	}
	f.mean, f.base = f.mean/n, f.base/n
	y0, y1 := extent(rows)
	x0, x1 := extent(cols)
	f.box = detect.Box{X: x0, Y: y0, W: x1 - x0 + 1, H: y1 - y0 + 1}
	f.strength = sign * (f.mean - f.base) / v.spread(f.box)
	f.sum = f.strength * math.Sqrt(n/9) * 2
	if f.strength < seenLeast {
		return nil
	}
	return &f
}

// extent is where counts begin and end, less stray ends that hold next to nothing.
func extent(counts map[int]int) (lo, hi int) {
	keys := make([]int, 0, len(counts))
	total := 0
	for k, n := range counts {
		keys = append(keys, k)
		total += n
	}
	slices.Sort(keys)
	trim := func(i, step int) int {
		for sum := counts[keys[i]]; sum*100 < total; sum += counts[keys[i]] {
			i += step
		}
		return i
	}
	return keys[trim(0, 1)], keys[trim(len(keys)-1, -1)]
}

// spread is how far brightness scatters about a box without the things, about its deviation; lines and figures over it don't tell.
func (v *views) spread(b detect.Box) float64 {
	q := v.p.panel
	var counts [256]int
	n := 0
	for y := max(b.Y-10, q.Y); y < min(b.Y+b.H+10, q.Y+q.H); y++ {
		row := v.without.row(y)
		for x := max(b.X-10, q.X); x < min(b.X+b.W+10, q.X+q.W); x++ {
			counts[min(max(int(row[x]), 0), 255)]++
			n++
		}
	}
	at := func(share float64) float64 {
		left := int(share * float64(n))
		for level, k := range counts {
			if left -= k; left < 0 {
				return float64(level)
			}
		}
		return 255
	}
	return math.Max(1.1*(at(0.84)-at(0.16))/2, quietLevel)
}

// beyond tells whether box b lies farther from the boat than a, by their middles.
func beyond(side detect.Side, a, b detect.Box) bool {
	away := 2*b.X + b.W - 2*a.X - a.W
	if side == detect.Port {
		away = -away
	}
	return away > 0
}

// mark is the label of a thing, and false where nothing of it shows.
func (v *views) mark(side detect.Side, t *thing) (eval.MarkLabel, bool) {
	p := v.p
	hi, sh := v.look(v.pixels(side, t.highlight), 1), v.look(v.pixels(side, t.shadow), -1)
	if hi != nil && sh != nil && !beyond(side, hi.box, sh.box) {
		// What little shows among the echoes of the thing itself is not read as its shadow.
		sh = nil
	}
	if hi == nil && (sh == nil || sh.strength < 1) {
		return eval.MarkLabel{}, false
	}
	m := eval.MarkLabel{Class: t.class, Kind: t.kind, Side: side}
	slant := t.slant * p.metres
	m.SlantM = &slant
	if t.class == detect.SuspendedTarget {
		off := t.off * p.metres
		m.OffBottomM = &off
	} else {
		high := t.height * p.metres
		m.HeightM = &high
	}
	if hi != nil {
		m.Highlight = &hi.box
		contrast := math.Min(hi.mean/math.Max(hi.base, 1)-1, detect.MostContrast)
		m.Contrast = &contrast
	}
	if sh != nil {
		m.Shadow = &sh.box
		if gap, ok := t.gap(p); ok && hi != nil {
			m.GapPx = &gap
		}
	}
	sure := t.sure(p, hi, sh)
	m.Sure = &sure
	return m, true
}

// gap is the slant gap between highlight and shadow, pixels of the picture: the middle one of the rows that hold both.
func (t *thing) gap(p *plan) (float64, bool) {
	end, begin := map[int]int{}, map[int]int{}
	for _, cell := range t.highlight {
		r, c := int(cell)/p.bins, int(cell)%p.bins
		end[r] = max(end[r], c+1)
	}
	for _, cell := range t.shadow {
		r, c := int(cell)/p.bins, int(cell)%p.bins
		if b, ok := begin[r]; !ok || c < b {
			begin[r] = c
		}
	}
	var gaps []float64
	for r, e := range end {
		if b, ok := begin[r]; ok {
			gaps = append(gaps, math.Max(float64(b-e)*p.fx, 0))
		}
	}
	if len(gaps) == 0 {
		return 0, false
	}
	slices.Sort(gaps)
	if t.class != detect.SuspendedTarget {
		return 0, true
	}
	return gaps[len(gaps)/2], true
}

// sure tells whether a careful person would be sure of a thing of which this shows.
func (t *thing) sure(p *plan, hi, sh *found) bool {
	plain := func(f *found) bool { return f != nil && f.strength >= sureLeast && f.sum >= sureSum }
	if t.class != detect.SuspendedTarget {
		return plain(sh) && sh.strength*math.Sqrt(float64(sh.box.W*sh.box.H)) >= 8 || plain(hi) && sh != nil
	}
	if !plain(hi) || max(hi.box.W, hi.box.H) < 4 {
		return false
	}
	r := 0
	if len(t.highlight) > 0 {
		r = int(t.highlight[0]) / p.bins
	}
	if t.slant < p.alt[r] || hi.strength >= brightLeast {
		return true
	}
	return hi.strength >= pairLeast && sh != nil && sh.strength >= 0.9 && sh.sum >= 4
}
