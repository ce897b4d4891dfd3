package scene

import (
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// thing is what a number in the swaths stands for.
type thing struct {
	class      detect.Class
	kind       string
	heightM    float64
	offBottomM float64
	dimFlank   bool // its far flank, when dim, counts as its shadow
	relief     bool // part of the bottom: a mark only when it throws a long shadow
	field      bool // part of a rock field: no mark of its own
	endless    bool // hides all that lies behind it, so that its shadow tells no height
}

// trace is what one thing left in one side: pixels as [row, column].
type trace struct {
	lit    [][2]int
	energy []float32
	dark   [][2]int
	faint  [][2]int // held an echo of the thing without standing out
}

// Limits of what counts as a thing's highlight and shadow.
const (
	litShare     = 0.5  // of a sample's echo that must come from the thing
	litOfPeak    = 0.5  // of the thing's own bright level is enough,
	litOfFlat    = 1.25 // and so is this much of a flat bottom's echo
	darkShare    = 0.5  // of a sample's slant range that must be hidden by the thing
	darkEcho     = 0.45 // most echo a shadow sample may hold, relative to a flat bottom
	trimShare    = 0.1  // outermost rows and columns with less than this share of the fullest one are ragged edge
	reliefShadow = 6    // least shadow of a ridge or mound, columns
	reliefRows   = 8    // and rows
)

// trace collects what every thing left on a side, by number.
func traces(d *drawn, things []thing) []trace {
	out := make([]trace, len(things))
	for r := range d.rows {
		for c := range d.cols {
			i := r*d.cols + c
			if id := d.objID[i]; id != 0 && d.objEcho[i] <= litShare*d.echo[i] {
				out[id].faint = append(out[id].faint, [2]int{r, c})
			} else if id != 0 {
				switch flat := d.flatAt(i, c); {
				case things[id].dimFlank && d.echo[i] < darkEcho*flat && d.beyondFirst(i, c):
					// The dim far flank of a rounded thing is where its shadow begins to the eye.
					out[id].faint = append(out[id].faint, [2]int{r, c})
					out[id].dark = append(out[id].dark, [2]int{r, c})
				case !things[id].relief || d.echo[i] > 1.4*flat && d.beyondFirst(i, c):
					t := &out[id]
					t.lit = append(t.lit, [2]int{r, c})
					t.energy = append(t.energy, d.objEcho[i]/flat)
				}
			}
			if id := d.blockID[i]; id != 0 && d.dark[i] > darkShare && d.echo[i] < darkEcho*d.flatAt(i, c) {
				out[id].dark = append(out[id].dark, [2]int{r, c})
			}
		}
	}
	for i := range out {
		out[i].dropDim()
	}
	return out
}

// flatAt is the flat-bottom echo density at a sample.
func (d *drawn) flatAt(i, c int) float32 {
	if d.slant != nil {
		c = int(d.slant[i])
	}
	if d.rowScale != nil {
		return d.flat[c] * d.rowScale[i/d.cols]
	}
	return d.flat[c]
}

// beyondFirst tells whether a sample lies clear of the water column of a flat bottom and of its bright edge.
func (d *drawn) beyondFirst(i, c int) bool {
	if d.slant != nil {
		c = int(d.slant[i])
	}
	water := d.water
	if d.first != nil {
		water = int(d.first[i/d.cols] / d.ds)
	}
	return c > water+water/10
}

// dropDim keeps the highlight pixels that stand out from the bottom or, on a weak thing, reach a share of its bright level.
func (t *trace) dropDim() {
	if len(t.energy) == 0 {
		return
	}
	e := slices.Clone(t.energy)
	slices.Sort(e)
	floor := min(litOfFlat, litOfPeak*e[len(e)*9/10])
	keep := t.lit[:0]
	for i, p := range t.lit {
		if t.energy[i] >= floor {
			keep = append(keep, p)
		}
	}
	t.lit = keep
}

// facing keeps, in rows that hold shadow, the highlight pixels just inside that shadow: the lit flank of a rise, without
// whatever else of the rise happens to be bright.
func (t *trace) facing() {
	type run struct{ first, n int }
	shadow := map[int]run{}
	for _, p := range t.dark {
		s, ok := shadow[p[0]]
		if !ok || p[1] < s.first {
			s.first = p[1]
		}
		s.n++
		shadow[p[0]] = s
	}
	keep := t.lit[:0]
	for _, p := range t.lit {
		if s, ok := shadow[p[0]]; ok && p[1] < s.first && p[1] >= s.first-max(12, 2*s.n) {
			keep = append(keep, p)
		}
	}
	t.lit = keep
}

// extent is the tight box of pixels as rows [r0, r1) and columns [c0, c1), ragged edges trimmed.
func extent(px [][2]int) (r0, r1, c0, c1 int, ok bool) {
	if len(px) == 0 {
		return 0, 0, 0, 0, false
	}
	bounds := func(axis int) (int, int) {
		lo, hi := px[0][axis], px[0][axis]
		for _, p := range px {
			lo, hi = min(lo, p[axis]), max(hi, p[axis])
		}
		n := make([]int, hi-lo+1)
		for _, p := range px {
			n[p[axis]-lo]++
		}
		least := int(math.Ceil(trimShare * float64(slices.Max(n))))
		a, b := 0, len(n)
		for n[a] < least {
			a++
		}
		for n[b-1] < least {
			b--
		}
		return lo + a, lo + b
	}
	r0, r1 = bounds(0)
	c0, c1 = bounds(1)
	return r0, r1, c0, c1, true
}

// truth turns traces into labels in screen pixels.
type truth struct {
	spec   *Spec
	things []thing
	sides  [2]*drawn
	traces [2][]trace
	panel  func(row, col int) float32 // echo strength as drawn
	shade  func(v float32) float64    // how bright that is shown
	busy   []bool                     // panel pixels that belong to a thing, row-major
}

func newTruth(s *Spec, things []thing, sides [2]*drawn) *truth {
	t := &truth{spec: s, things: things, sides: sides, busy: make([]bool, s.Pings*(s.PortPx+s.StarboardPx))}
	for side, d := range sides {
		if d == nil {
			continue
		}
		t.traces[side] = traces(d, things)
		for _, tr := range t.traces[side] {
			for _, set := range [][][2]int{tr.lit, tr.dark} {
				for _, p := range set {
					t.busy[p[0]*(s.PortPx+s.StarboardPx)+t.col(side, p[1])] = true
				}
			}
		}
	}
	t.panel = func(row, col int) float32 {
		if col < s.PortPx {
			return sides[portSide].v[row*s.PortPx+s.PortPx-1-col]
		}
		return sides[starboardSide].v[row*s.StarboardPx+col-s.PortPx]
	}
	return t
}

// col is the panel column of a side's column.
func (t *truth) col(side, c int) int {
	if side == portSide {
		return t.spec.PortPx - 1 - c
	}
	return t.spec.PortPx + c
}

// box is the screen box of rows and columns of a side.
func (t *truth) box(side, r0, r1, c0, c1 int) *detect.Box {
	x := t.spec.PortPx + c0
	if side == portSide {
		x = t.spec.PortPx - c1
	}
	return &detect.Box{X: t.spec.PanelX + x, Y: t.spec.PanelY + r0, W: c1 - c0, H: r1 - r0}
}

// marks lists every thing that is a mark, by side.
func (t *truth) marks() []eval.MarkLabel {
	var out []eval.MarkLabel
	for side := range t.sides {
		if t.sides[side] == nil {
			continue
		}
		for id := range t.things {
			if th := &t.things[id]; id > 0 && !th.field {
				if m, ok := t.mark(side, th, &t.traces[side][id]); ok {
					out = append(out, m)
				}
			}
		}
	}
	return out
}

func (t *truth) mark(side int, th *thing, tr *trace) (eval.MarkLabel, bool) {
	m := eval.MarkLabel{Class: th.class, Kind: th.kind, Side: detect.Port}
	if side == starboardSide {
		m.Side = detect.Starboard
	}
	if th.relief {
		tr.facing()
	}
	if len(tr.lit) == 0 && !th.relief {
		// A thing near the nadir can be darker than the bottom beside it: its box is where it lies.
		tr.lit = tr.faint
	}
	r0, r1, c0, c1, ok := extent(tr.lit)
	if !ok {
		return m, false
	}
	ds := t.spec.PixelM()
	mid := float64(c0+c1) / 2
	if d := t.sides[side]; d.slant != nil {
		mid = float64(d.slant[(r0+r1)/2*d.cols+(c0+c1)/2]) + 0.5
	}
	slant := mid * ds
	// The beam shows a thing at least as long along the track as itself and the beam together in quadrature.
	if grow := 2.3548*t.spec.beamSigmaRows(slant) - 1; grow > 0 {
		long := math.Hypot(float64(r1-r0), grow)
		extra := int(math.Round((long - float64(r1-r0)) / 2))
		r0, r1 = max(0, r0-extra), min(t.spec.Pings, r1+extra)
	}
	m.Highlight = t.box(side, r0, r1, c0, c1)
	m.SlantM, m.OffBottomM = &slant, &th.offBottomM
	if !th.endless {
		m.HeightM = &th.heightM
	}
	s0, s1, d0, d1, dark := extent(tr.dark)
	if dark && len(tr.dark) >= 4 && d1-d0 >= 2 {
		m.Shadow = t.box(side, s0, s1, d0, d1)
		gap := 0.0
		if th.class == detect.SuspendedTarget {
			gap = gapOf(tr, d0-c1)
		}
		m.GapPx = &gap
	}
	if th.relief && (m.Shadow == nil || d1-d0 < reliefShadow || s1-s0 < reliefRows || 3*len(tr.dark) < (d1-d0)*(s1-s0)) {
		return m, false
	}
	contrast := t.contrast(side, tr, m.Highlight)
	m.Contrast = &contrast
	return m, !t.spec.Detailed || t.visible(side, tr, &m)
}

// gapOf is the median, over the middle half of the rows that hold both, of the columns between the last highlight pixel
// and the first shadow pixel; fallback, the gap of the boxes, where no row does.
func gapOf(tr *trace, fallback int) float64 {
	last, first := map[int]int{}, map[int]int{}
	for _, p := range tr.lit {
		if v, ok := last[p[0]]; !ok || p[1] > v {
			last[p[0]] = p[1]
		}
	}
	for _, p := range tr.dark {
		if v, ok := first[p[0]]; !ok || p[1] < v {
			first[p[0]] = p[1]
		}
	}
	var rows []int
	for r := range last {
		if _, ok := first[r]; ok {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		return float64(max(0, fallback))
	}
	slices.Sort(rows)
	var gaps []int
	for _, r := range rows[len(rows)/4 : len(rows)-len(rows)/4] {
		gaps = append(gaps, first[r]-last[r]-1)
	}
	slices.Sort(gaps)
	return float64(max(0, gaps[len(gaps)/2]))
}

// contrast compares the highlight's pixels with a frame around its box, as drawn; things and their shadows are left out of
// the frame.
func (t *truth) contrast(side int, tr *trace, b *detect.Box) float64 {
	var in, around float64
	for _, p := range tr.lit {
		in += float64(t.panel(p[0], t.col(side, p[1])))
	}
	in /= float64(len(tr.lit))
	width := t.spec.PortPx + t.spec.StarboardPx
	mx, my := max(6, b.W/2), max(4, b.H/2)
	x0, y0 := b.X-t.spec.PanelX, b.Y-t.spec.PanelY
	n := 0
	for r := max(0, y0-my); r < min(t.spec.Pings, y0+b.H+my); r++ {
		for c := max(0, x0-mx); c < min(width, x0+b.W+mx); c++ {
			if inside := r >= y0 && r < y0+b.H && c >= x0 && c < x0+b.W; inside || t.busy[r*width+c] {
				continue
			}
			around += float64(t.panel(r, c))
			n++
		}
	}
	if n == 0 || around == 0 {
		return 0
	}
	return in/(around/float64(n)) - 1
}

// regions gives the box of every rock field: all that its rocks returned or hid. fieldOf says which field a number belongs
// to, -1 for none.
func (t *truth) regions(fieldOf []int, fields int) []detect.Region {
	var out []detect.Region
	for f := range fields {
		for side := range t.sides {
			if t.sides[side] == nil {
				continue
			}
			var px [][2]int
			for id, of := range fieldOf {
				if of == f {
					px = append(px, t.traces[side][id].lit...)
					px = append(px, t.traces[side][id].dark...)
				}
			}
			if r0, r1, c0, c1, ok := extent(px); ok && len(px) > 60 {
				out = append(out, detect.Region{Kind: "rock-field", Box: *t.box(side, r0, r1, c0, c1)})
			}
		}
	}
	return out
}

// A hump is a dip of the true altitude of at least this prominence.
const (
	humpPx         = 5    // pixels of slant range
	humpOfAltitude = 0.03 // of the altitude
)

// dips finds the stretches of rows where alt falls by at least least and recovers by as much, both inside the capture. A
// stretch holds the rows where alt stays below the bottom of the dip plus four fifths of its prominence (the lesser of
// the rises to either side).
func dips(alt []float64, least float64) [][2]int {
	out := [][2]int{}
	for i := range alt {
		left, right := rise(alt, i, -1), rise(alt, i, 1)
		prominence := min(left, right)
		if prominence < least {
			continue
		}
		a, b := i, i+1
		level := alt[i] + 0.8*prominence
		for a > 0 && alt[a-1] < level {
			a--
		}
		for b < len(alt) && alt[b] < level {
			b++
		}
		if n := len(out); n > 0 && out[n-1][1] >= a {
			// A second bottom of the same dip.
			out[n-1] = [2]int{min(out[n-1][0], a), max(out[n-1][1], b)}
			continue
		}
		out = append(out, [2]int{a, b})
	}
	return out
}

// rise is how far alt climbs over alt[i] in one direction before it falls below alt[i]; 0 when i is no minimum that way.
func rise(alt []float64, i, step int) float64 {
	top := alt[i]
	for j := i + step; j >= 0 && j < len(alt); j += step {
		if alt[j] < alt[i] || (alt[j] == alt[i] && step < 0) {
			break
		}
		top = max(top, alt[j])
	}
	return top - alt[i]
}
