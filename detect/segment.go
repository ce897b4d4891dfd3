package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

// scale is one size of things.
type scale struct {
	window, step              int // side of the window, and from one to the next, in pixels
	highlight, shadow         float64
	growHighlight, growShadow float64
	leastPower, heaviest      float64 // see normalise
}

// scales are the windows that highlights and shadows are sought at. highlight and shadow are the chances per pixel that plain
// bottom passes the seed threshold: a wider window has fewer independent places in a picture, so it may pass more often.
// growHighlight and growShadow say how far a seed is followed, in spreads over and under plain bottom.
var scales = [...]scale{
	{3, 1, 2e-7, 1e-7, 2.1, 1.5, 0, 2},
	{6, wideStep, 5e-6, 2e-5, 2.5, 2.2, 0.4, 1.5},
	{14, wideStep, 1e-4, 1e-4, 2.8, 2.8, 0.7, 1.25},
}

// wideStep is how far apart the wider windows are taken: a mean over many pixels hardly changes from one to the next.
const wideStep = 2

// trimTo is how far over (or under) plain bottom the finest scale must be for a pixel of a wider scale's patch to belong to
// it: a wide window smears a patch by half its width.
const trimTo = 0.8

const leastArea = 6 // pixels of a patch

// patch is a set of pixels of a swath that stand out together.
type patch struct {
	span
	runs []features.PixelRun
	area int
	peak float64 // greatest departure from plain bottom in spreads, any scale
	fine float64 // the same at the finest scale
	wide float64 // and at the widest
	mean float64 // mean of the leveled strength
	wet  bool    // inside the water column
}

// segments are the patches of one side.
type segments struct {
	highlights, shadows []patch
	fields              []scaleField
	owner               []uint16 // scratch, a label per pixel
}

// tail is how much wider plain bottom spreads above than below once normalised, at the finest scale: specks make it large.
func (seg *segments) tail() float64 {
	n := seg.fields[0].normal
	return n.upper / n.lower
}

// scaleField is the windowed mean of the leveled picture with what plain bottom does at that scale.
type scaleField struct {
	mean   *features.Grid // one for every block of step × step pixels
	mask   []uint8        // what the first pixel of each belongs to
	step   int
	normal normalised

	// Blocks beyond the growing thresholds are 1 until they are grown; seeds are those beyond the seed thresholds, wherever they lie.
	over, under           []uint8
	overSeed              float32 // strength of a bright seed
	overSeeds, underSeeds []int32
}

// marked are the blocks of one polarity that a set may grow over, and the seeds, as indices into them.
func (f *scaleField) marked(bright bool) (mask []uint8, seeds []int32) {
	if bright {
		return f.over, f.overSeeds
	}
	return f.under, f.underSeeds
}

// segment finds highlights and shadows by a constant false-alarm rule at several scales. Seeds pass a threshold at some
// scale; each is grown at the finest scale, which keeps its edges.
func segment(s *swath, lv *leveled) (*segments, error) {
	seg := &segments{}
	if err := seg.average(lv, s.arena); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: %w", s.side, err)
	}
	if len(seg.fields) == 0 {
		return seg, nil
	}
	seg.owner = s.arena.Labels(len(lv.mask))
	if err := seg.threshold(s.arena); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: %w", s.side, err)
	}
	var err error
	if seg.highlights, err = seg.patches(lv, true); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: highlights: %w", s.side, err)
	}
	if seg.shadows, err = seg.patches(lv, false); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: shadows: %w", s.side, err)
	}
	return seg, nil
}

// average takes the means of every window that fits into the side.
func (seg *segments) average(lv *leveled, arena *features.Arena) error {
	add := func(mean *features.Grid, mask []uint8) error {
		sc := scales[len(seg.fields)]
		n, err := normalise(mean, mask, sc.leastPower, sc.heaviest)
		seg.fields = append(seg.fields, scaleField{mean: mean, mask: mask, step: sc.step, normal: n})
		return err
	}
	if min(lv.q.Rows, lv.q.Cols) < scales[0].window {
		return nil
	}
	fine, err := boxMean(lv.q, scales[0].window, scales[0].window, arena)
	if err != nil {
		return err
	}
	if err := add(fine, lv.mask); err != nil {
		return err
	}
	cells, mask, err := halved(lv.q, lv.mask, arena)
	if err != nil {
		return err
	}
	for _, sc := range scales[1:] {
		n := sc.window / wideStep
		if n > min(cells.Rows, cells.Cols) {
			break
		}
		mean, err := boxMean(cells, n, n, arena)
		if err != nil {
			return err
		}
		if err := add(mean, mask); err != nil {
			return err
		}
	}
	return nil
}

// halved is the mean of every 2 × 2 pixels and what the first of them belongs to. Of blocks that a far edge cuts what is there
// counts twice.
func halved(g *features.Grid, mask []uint8, arena *features.Arena) (*features.Grid, []uint8, error) {
	out, err := arena.Grid((g.Rows+1)/2, (g.Cols+1)/2)
	if err != nil {
		return nil, nil, err
	}
	belongs := arena.Mask(len(out.V))
	whole := g.Cols / 2
	for r := range out.Rows {
		a, b := g.Row(2*r), g.Row(min(2*r+1, g.Rows-1))
		in, dst, to := mask[2*r*g.Cols:], out.Row(r), belongs[r*out.Cols:(r+1)*out.Cols]
		for c := range whole {
			p, q := a[2*c:2*c+2:2*c+2], b[2*c:2*c+2:2*c+2]
			dst[c], to[c] = (p[0]+p[1]+q[0]+q[1])/4, in[2*c]
		}
		if whole < out.Cols {
			dst[whole], to[whole] = (a[2*whole]+b[2*whole])/2, in[2*whole]
		}
	}
	return out, belongs, nil
}

// patches grows the seeds of one polarity at every scale, finest first. A wider scale adds what the finer ones miss: where
// they found less than half of a patch's pixels, and no more than three pieces of it, it takes their place, else they stand
// (many pieces are many stones).
func (seg *segments) patches(lv *leveled, bright bool) ([]patch, error) {
	var out []patch
	owner := seg.owner // 1 + index into out of the patch that holds a pixel
	clear(owner)
	trim := seg.fields[0].normal.at(trimTo)
	if !bright {
		trim = seg.fields[0].normal.at(-trimTo)
	}
	var inside []uint16 // owners of some of a patch's pixels
	for j := range seg.fields {
		comps, err := seg.grow(j, bright)
		if err != nil {
			return nil, err
		}
		for _, c := range comps {
			if len(out) == math.MaxUint16 {
				break // no side of a capture holds as many things
			}
			p, ok := seg.describe(c, lv, bright, j, trim)
			if !ok {
				continue
			}
			var stands bool
			if stands, inside = seg.foundBefore(p, out, lv, bright, inside[:0]); stands {
				continue
			}
			for _, o := range inside {
				out[o-1].area = 0
			}
			out = append(out, p)
			for _, run := range p.runs {
				for k := run.Col0; k < run.Col1; k++ {
					owner[run.Row*lv.q.Cols+k] = uint16(len(out))
				}
			}
		}
	}
	return slices.DeleteFunc(out, func(p patch) bool { return p.area == 0 }), nil
}

// How patches are cut and told apart.
const (
	sharpAt    = 3   // a strong echo is cut at one part in so many of the way from plain bottom to its peak
	loosePart  = 4   // glints that fill less than one part in so many of what they grew into are things of their own
	mostPieces = 3   // patches of finer scales that one of a wider scale may take the place of
	faint      = 0.4 // part of the strength of what lies in a patch under which the rest of the patch is another thing
)

// foundBefore tells whether the patches found at finer scales stand where a wider one lies, and appends to inside those that lie in
// it: theirs are the pixels that seg.owner gives them.
func (seg *segments) foundBefore(p patch, found []patch, lv *leveled, bright bool, inside []uint16) (bool, []uint16) {
	covered, within := 0, 0.0
	for _, run := range p.runs {
		at := run.Row * lv.q.Cols
		owner, strength := seg.owner[at+run.Col0:at+run.Col1], lv.q.V[at+run.Col0:at+run.Col1]
		for i, o := range owner {
			if o > 0 && found[o-1].area > 0 {
				covered++
				within += float64(strength[i]) - 1
				if !slices.Contains(inside, o) {
					inside = append(inside, o)
				}
			}
		}
	}
	if covered*2 >= p.area || len(inside) > mostPieces {
		return true, inside
	}
	// a strong thing in a faint patch is a thing of its own
	around := (p.mean-1)*float64(p.area) - within
	return covered > 0 && around/float64(p.area-covered) < faint*within/float64(covered) == bright, inside
}

// grow returns the connected sets beyond the growing threshold of one scale that hold a seed of that scale or of a finer one.
// The sets are in steps of the scale, not in pixels.
func (seg *segments) grow(scale int, bright bool) ([]features.Component, error) {
	f := &seg.fields[scale]
	mask, _ := f.marked(bright)
	comps, err := features.ComponentsAt(mask, f.mean.Rows, f.mean.Cols, features.Connect8, seg.seedsAt(scale, bright))
	if err != nil {
		return nil, err
	}
	var out []features.Component
	for _, c := range comps {
		if c.Area*f.step*f.step < leastArea {
			continue
		}
		if !bright {
			out = append(out, c)
			continue
		}
		parts, err := sharpen(c, *f)
		if err != nil {
			return nil, err
		}
		for _, p := range parts {
			if len(parts) == 1 || seg.seeded(p, scale) {
				out = append(out, p)
			}
		}
	}
	return out, nil
}

// seedsAt are the seeds of a scale and of all finer ones, in blocks of that scale.
func (seg *segments) seedsAt(scale int, bright bool) []int32 {
	f := &seg.fields[scale]
	var out []int32
	for i := range seg.fields[:scale+1] {
		g := &seg.fields[i]
		_, seeds := g.marked(bright)
		if g.step == f.step {
			out = append(out, seeds...)
			continue
		}
		n, cols := f.step/g.step, g.mean.Cols
		for _, s := range seeds {
			out = append(out, int32(int(s)/cols/n*f.mean.Cols+int(s)%cols/n))
		}
	}
	return out
}

// threshold finds what lies beyond the growing thresholds of every scale: above in water and on bottom, below on bottom only.
func (seg *segments) threshold(arena *features.Arena) error {
	for i := range seg.fields {
		f := &seg.fields[i]
		f.threshold(scales[i], arena)
		if i == 0 {
			if err := features.CloseMask(f.under, f.mean.Rows, f.mean.Cols); err != nil {
				return err
			}
		}
	}
	return nil
}

// threshold marks what stands out of plain bottom at one scale.
func (f *scaleField) threshold(sc scale, arena *features.Arena) {
	hi, lo := f.normal.at(sc.growHighlight), f.normal.at(-sc.growShadow)
	f.overSeed = f.normal.tails.over(sc.highlight)
	underSeed := f.normal.tails.under(sc.shadow)
	f.over, f.under = arena.Mask(len(f.mask)), arena.Mask(len(f.mask))
	clear(f.over)
	clear(f.under)
	// hi and lo are no less than 0, where whole numbers of the same bits are in the same order; below it they are larger than all
	from := math.Float32bits(lo)
	span := math.Float32bits(hi) - from
	for i, v := range f.mean.V {
		switch {
		case math.Float32bits(v)-from <= span: // plain
		case v < lo:
			if f.mask[i] == regionBottom {
				f.under[i] = 1
			}
			if v < underSeed {
				f.underSeeds = append(f.underSeeds, int32(i))
			}
		case v > hi:
			if f.mask[i] != regionNone {
				f.over[i] = 1
			}
			if v > f.overSeed {
				f.overSeeds = append(f.overSeeds, int32(i))
			}
		}
	}
}

// seeded tells whether a bright set of a scale, in its steps, holds a seed of that scale or of a finer one.
func (seg *segments) seeded(c features.Component, scale int) bool {
	step := seg.fields[scale].step
	for j := scale; j >= 0; j-- {
		f := &seg.fields[j]
		n := step / f.step
		for _, run := range c.Runs {
			for r := run.Row * n; r < min((run.Row+1)*n, f.mean.Rows); r++ {
				for _, v := range f.mean.Row(r)[run.Col0*n : min(run.Col1*n, f.mean.Cols)] {
					if v > f.overSeed {
						return true
					}
				}
			}
		}
	}
	return false
}

// sharpen cuts a bright component at a third of its peak's excess over plain bottom where that is above the growing
// threshold it was made with: a strong echo must not run together with the haze or the rubble around it. A component that
// is not so strong comes back as it is.
func sharpen(c features.Component, f scaleField) ([]features.Component, error) {
	cols := f.mean.Cols
	peak, low := f.normal.centre, float32(math.Inf(1))
	for _, run := range c.Runs {
		for _, v := range f.mean.V[run.Row*cols+run.Col0 : run.Row*cols+run.Col1] {
			peak, low = max(peak, v), min(low, v)
		}
	}
	cut := f.normal.centre + (peak-f.normal.centre)/sharpAt
	if cut <= low {
		return []features.Component{c}, nil
	}
	h, w := c.Row1-c.Row0, c.Col1-c.Col0
	set := make([]uint8, h*w)
	for _, run := range c.Runs {
		for k := run.Col0; k < run.Col1; k++ {
			if f.mean.V[run.Row*cols+k] > cut {
				set[(run.Row-c.Row0)*w+k-c.Col0] = 1
			}
		}
	}
	parts, err := features.Components(set, h, w, features.Connect8)
	if err != nil {
		return nil, err
	}
	kept := 0
	for i := range parts {
		p := &parts[i]
		kept += p.Area
		p.Row0, p.Row1, p.Col0, p.Col1 = p.Row0+c.Row0, p.Row1+c.Row0, p.Col0+c.Col0, p.Col1+c.Col0
		for j := range p.Runs {
			p.Runs[j].Row += c.Row0
			p.Runs[j].Col0 += c.Col0
			p.Runs[j].Col1 += c.Col0
		}
	}
	if kept*loosePart < c.Area || len(parts) == 1 {
		return parts, nil
	}
	// glints that fill much of what they grew into are one thing
	whole := features.Component{Row0: c.Row1, Col0: c.Col1, Area: kept}
	for _, p := range parts {
		whole.Row0, whole.Row1 = min(whole.Row0, p.Row0), max(whole.Row1, p.Row1)
		whole.Col0, whole.Col1 = min(whole.Col0, p.Col0), max(whole.Col1, p.Col1)
		whole.Runs = append(whole.Runs, p.Runs...)
	}
	slices.SortFunc(whole.Runs, byRaster)
	return []features.Component{whole}, nil
}

// byRaster orders runs by row, then column.
func byRaster(a, b features.PixelRun) int {
	if a.Row != b.Row {
		return a.Row - b.Row
	}
	return a.Col0 - b.Col0
}

// describe measures a grown set of one scale, given the strength to trim wider scales to. ok is false when too few pixels are
// left after trimming.
func (seg *segments) describe(c features.Component, lv *leveled, bright bool, scale int, trim float32) (p patch, ok bool) {
	cols := lv.q.Cols
	fine, step := seg.fields[0].mean, seg.fields[scale].step
	sum, wet := 0.0, 0
	for _, run := range c.Runs {
		for r := run.Row * step; r < min((run.Row+1)*step, lv.q.Rows); r++ {
			first, end := run.Col0*step, min(run.Col1*step, cols)
			at := r * cols
			q, mask, strength := lv.q.V[at+first:at+end], lv.mask[at+first:at+end], fine.V[at+first:at+end]
			from := -1
			for k, v := range q {
				m := mask[k]
				// a block of pixels goes by its first: others of it may be water, which is no shadow
				if scale > 0 && (bright && strength[k] < trim || !bright && (strength[k] > trim || m != regionBottom)) {
					if from >= 0 {
						p.runs = append(p.runs, features.PixelRun{Row: r, Col0: first + from, Col1: first + k})
						from = -1
					}
					continue
				}
				sum += float64(v)
				p.area++
				if m == regionWater {
					wet++
				}
				if from < 0 {
					from = k
				}
			}
			if from >= 0 {
				p.runs = append(p.runs, features.PixelRun{Row: r, Col0: first + from, Col1: end})
			}
		}
	}
	if p.area < leastArea {
		return patch{}, false
	}
	if step > 1 {
		slices.SortFunc(p.runs, byRaster)
	}
	p.peak, p.fine, p.wide = seg.peaksOf(p.runs, bright)
	p.span = span{math.MaxInt, 0, math.MaxInt, 0}
	for _, run := range p.runs {
		p.span = p.union(span{run.Row, run.Row + 1, run.Col0, run.Col1})
	}
	p.mean = sum / float64(p.area)
	p.wet = wet*2 > p.area
	return p, true
}

// peaksOf is the greatest departure from plain bottom inside a set of runs: at any scale, at the finest and at the widest.
func (seg *segments) peaksOf(runs []features.PixelRun, bright bool) (peak, fine, wide float64) {
	for i, f := range seg.fields {
		wide = f.peakOf(runs, bright)
		peak = math.Max(peak, wide)
		if i == 0 {
			fine = wide
		}
	}
	return peak, fine, wide
}

// peakOf is the greatest departure from plain bottom, in spreads, of one scale inside a set of runs, which are in pixels.
func (f scaleField) peakOf(runs []features.PixelRun, bright bool) float64 {
	best := f.normal.centre
	for _, run := range runs {
		for _, v := range f.mean.Row(run.Row / f.step)[run.Col0/f.step : (run.Col1-1)/f.step+1] {
			if bright && v > best || !bright && v < best {
				best = v
			}
		}
	}
	return math.Abs(f.normal.z(best))
}
