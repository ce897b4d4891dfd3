package screenworld

import (
	"image"
	"math"
	"sort"

	"shadowgap/detect"
	"shadowgap/eval"
)

// profileStep is how many rows lie between points of a profile.
const profileStep = 8

// part is what is drawn of a thing: its highlight or its shadow on one side.
type part struct {
	box    image.Rectangle // pixels of the record's rectangle
	pixels []int           // places in the rectangle
	mean   float64
	hidden int // pixels that something is drawn over
}

// lostRows are the stretches without echo, in rows of the picture.
func (rec *record) lostRows() [][2]int {
	var out [][2]int
	for _, l := range rec.lost {
		out = append(out, [2]int{l[0] + rec.rect.Min.Y, l[1] + rec.rect.Min.Y})
	}
	return out
}

func (rec *record) isLost(row int) bool {
	for _, l := range rec.lost {
		if row >= l[0] && row < l[1] {
			return true
		}
	}
	return false
}

// profiles are the record's nadir and first return in pixels of the picture, but for lost rows and where a plate lies over a first return.
func (rec *record) profiles(covered func(x, y int) bool) (nadir []detect.RowX, first detect.FirstReturn) {
	left := float64(rec.rect.Min.X)
	width := float64(rec.rect.Dx())
	for y := 0; y < rec.rect.Dy(); y += max(1, min(profileStep, rec.rect.Dy()-1-y)) {
		if rec.isLost(y) {
			continue
		}
		row := float64(y + rec.rect.Min.Y)
		seen := func(x float64) bool {
			return x >= 0 && x <= width && !covered(rec.rect.Min.X+min(int(x), rec.rect.Dx()-1), y+rec.rect.Min.Y)
		}
		// the nadir is told under plates too: it says which rows echo fills
		nadir = append(nadir, detect.RowX{row, left + rec.nadirX() - 0.5})
		if rec.plan.corrected {
			continue
		}
		ping := min(int((float64(y)+0.5)/rec.down), rec.w.pings-1)
		for s, e := range rec.sides {
			if e == nil {
				continue
			}
			out := e.firstBins[ping] * rec.across
			x := float64(rec.column(s, 0)) + out
			if s == 0 {
				x = float64(rec.width[0]) - out
			}
			if out > float64(rec.width[s]) || !seen(x) {
				continue
			}
			if s == 0 {
				first.Port = append(first.Port, detect.RowX{row, left + x - 0.5})
			} else {
				first.Starboard = append(first.Starboard, detect.RowX{row, left + x - 0.5})
			}
		}
	}
	return nadir, first
}

// parts gathers what is drawn of every thing on a side, by number.
func (rec *record) parts(side int, ids []uint8, covered func(x, y int) bool) []part {
	out := make([]part, len(rec.w.things)+1)
	wide := rec.rect.Dx()
	for y := range rec.rect.Dy() {
		for o := range rec.width[side] {
			x := rec.column(side, o)
			i := y*wide + x
			id := ids[i]
			if id == 0 {
				continue
			}
			p := &out[id]
			p.box = p.box.Union(image.Rect(x, y, x+1, y+1))
			p.pixels = append(p.pixels, i)
			p.mean += float64(rec.v.v[i])
			if covered(x+rec.rect.Min.X, y+rec.rect.Min.Y) {
				p.hidden++
			}
		}
	}
	for i := range out {
		if n := len(out[i].pixels); n > 0 {
			out[i].mean /= float64(n)
		}
	}
	return out
}

// ground is mean and spread of what is shown beside a part, at its ranges: in rows above and below and among it.
func (rec *record) ground(side int, b image.Rectangle) (mean, sd float64) {
	more := max(8, b.Dy()/2)
	lo, hi := 0, rec.width[0]
	if side == 1 {
		lo, hi = rec.width[0]+rec.gap, rec.rect.Dx()
	}
	var sum, sq, n float64
	for y := max(b.Min.Y-more, 0); y < min(b.Max.Y+more, rec.rect.Dy()); y++ {
		for x := max(b.Min.X-2, lo); x < min(b.Max.X+2, hi); x++ {
			if i := y*rec.rect.Dx() + x; rec.of[i] == 0 && rec.shadow[i] == 0 {
				v := float64(rec.v.v[i])
				sum, sq, n = sum+v, sq+v*v, n+1
			}
		}
	}
	if n < 2 {
		return 0, 1
	}
	mean = sum / n
	return mean, math.Sqrt(math.Max(sq/n-mean*mean, 0)) + 0.025
}

// sight is how plainly a part stands out: by how many spreads of the ground its mean differs, and by how many errors of that mean.
func (rec *record) sight(side int, p part) (spreads, errors, ground float64) {
	if len(p.pixels) == 0 {
		return 0, 0, 0
	}
	mean, sd := rec.ground(side, p.box)
	grain := math.Max(rec.across, 1) * math.Max(rec.down, 1)
	spreads = math.Abs(p.mean-mean) / sd
	return spreads, spreads * math.Sqrt(math.Max(float64(len(p.pixels))/grain, 1)), mean
}

// marks tells every thing that something is drawn of.
func (rec *record) marks(covered func(x, y int) bool) []eval.MarkLabel {
	out := []eval.MarkLabel{}
	for s, e := range rec.sides {
		if e == nil {
			continue
		}
		lights, shadows := rec.parts(s, rec.of, covered), rec.parts(s, rec.shadow, covered)
		for i, t := range rec.w.things {
			if m := rec.mark(s, t, lights[i+1], shadows[i+1]); m != nil {
				out = append(out, *m)
			}
		}
	}
	return out
}

// Limits of what a careful eye is sure of: spreads of what is around, errors of the mean, and pixels.
const (
	sureSpreads = 0.8
	sureErrors  = 7
	surePixels  = 3
	lineErrors  = 14 // of what is as thin as two pixels
)

// sure is whether a careful eye would be sure of a thing that is drawn over a box: that it stands out and is large enough.
func sure(spreads, errors float64, whole image.Rectangle) bool {
	thin := min(whole.Dx(), whole.Dy())
	if thin < surePixels && (thin < surePixels-1 || errors < lineErrors) {
		return false
	}
	return spreads >= sureSpreads && errors >= sureErrors
}

func (rec *record) mark(side int, t thing, light, shadow part) *eval.MarkLabel {
	if len(light.pixels) < 2 {
		return nil
	}
	lightSpreads, lightErrors, ground := rec.sight(side, light)
	shadowSpreads, shadowErrors, _ := rec.sight(side, shadow)
	if shadowSpreads < 0.25 || len(shadow.pixels) < 2 || !rec.behind(side, light.box, shadow.box) {
		shadow, shadowSpreads, shadowErrors = part{}, 0, 0
	}
	m := &eval.MarkLabel{Class: t.class, Kind: t.kind, Side: sideName(side), Highlight: rec.boxed(light.box)}
	tall := t.highM - t.offM
	m.HeightM = &tall
	if t.class == detect.SuspendedTarget {
		off := t.offM
		m.OffBottomM = &off
	}
	if !shadow.box.Empty() {
		m.Shadow = rec.boxed(shadow.box)
		if t.class == detect.SuspendedTarget {
			m.GapPx = rec.gapPx(side, light, shadow)
		}
	}
	if !rec.plan.corrected {
		near := light.box.Min.X - rec.column(1, 0)
		if side == 0 {
			near = rec.width[0] - light.box.Max.X
		}
		slant := float64(near) / rec.across * rec.w.cellM
		m.SlantM = &slant
	}
	contrast := light.mean/math.Max(ground, 0.02) - 1
	m.Contrast = &contrast
	seen := 2*(light.hidden+shadow.hidden) < len(light.pixels)+len(shadow.pixels) &&
		sure(math.Max(lightSpreads, shadowSpreads), math.Hypot(lightErrors, shadowErrors), light.box.Union(shadow.box))
	m.Sure = &seen
	return m
}

// behind is whether a shadow lies farther out than its highlight: its middle and its far edge.
func (rec *record) behind(side int, light, shadow image.Rectangle) bool {
	if side == 0 {
		return shadow.Min.X+shadow.Max.X < light.Min.X+light.Max.X && shadow.Min.X <= light.Min.X
	}
	return shadow.Min.X+shadow.Max.X > light.Min.X+light.Max.X && shadow.Max.X >= light.Max.X
}

func (rec *record) boxed(b image.Rectangle) *detect.Box {
	out := detect.BoxOf(b.Add(rec.rect.Min))
	return &out
}

// gapPx is the middle, over the rows that show both, of what lies between highlight and shadow in pixels; nil where no row does.
func (rec *record) gapPx(side int, light, shadow part) *float64 {
	wide := rec.rect.Dx()
	outward := func(i int) int {
		if side == 0 {
			return rec.width[0] - 1 - i%wide
		}
		return i%wide - rec.column(1, 0)
	}
	end, begin := map[int]int{}, map[int]int{}
	for _, i := range light.pixels {
		end[i/wide] = max(end[i/wide], outward(i)+1)
	}
	for _, i := range shadow.pixels {
		if o, ok := begin[i/wide]; !ok || outward(i) < o {
			begin[i/wide] = outward(i)
		}
	}
	var gaps []float64
	for y, b := range begin {
		if e, ok := end[y]; ok && b >= e {
			gaps = append(gaps, float64(b-e))
		}
	}
	if len(gaps) == 0 {
		return nil
	}
	sort.Float64s(gaps)
	return &gaps[len(gaps)/2]
}

// regions are the areas that are told as a whole, as far as they are in view.
func (rec *record) regions() []detect.Region {
	var out []detect.Region
	w := rec.w
	for _, a := range w.areas {
		boxes := [2]image.Rectangle{}
		w.inside(a, func(p, col int, depth, _, _ float64) {
			s, cell := 1, col-w.cells
			if cell < 0 {
				s, cell = 0, -1-cell
			}
			bin := math.Hypot(float64(cell)+0.5, (w.altM[p]-float64(w.z.row(p)[col]))/w.cellM)
			if rec.plan.corrected {
				bin = (float64(cell) + 0.5) / rec.shrink
			}
			o := int(bin * rec.across)
			if depth < 0.08 || rec.sides[s] == nil || o >= rec.width[s] {
				return
			}
			x, y := rec.column(s, o), min(int(float64(p)*rec.down), rec.rect.Dy()-1)
			boxes[s] = boxes[s].Union(image.Rect(x, y, x+1, y+1))
		})
		for _, b := range boxes {
			if b.Dx() >= 8 && b.Dy() >= 8 {
				out = append(out, detect.Region{Kind: a.kind, Box: *rec.boxed(b)})
			}
		}
	}
	return out
}
