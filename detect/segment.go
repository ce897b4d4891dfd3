package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

// scales are the windows that highlights and shadows are sought at. highlight and shadow are the chances per pixel that plain
// bottom passes the seed threshold: a wider window has fewer independent places in a picture, so it may pass more often.
// growHighlight and growShadow say how far a seed is followed, in spreads over and under plain bottom.
var scales = [...]struct {
	rows, cols                int
	highlight, shadow         float64
	growHighlight, growShadow float64
	leastPower, heaviest      float64 // see normalise
}{
	{3, 3, 2e-7, 1e-7, 2.1, 1.5, 0, 2},
	{7, 7, 5e-6, 2e-5, 2.5, 2.2, 0.4, 1.5},
	{15, 15, 1e-4, 1e-4, 2.8, 2.8, 0.7, 1.25},
}

// trimTo is how far over (or under) plain bottom the finest scale must be for a pixel of a wider scale's patch to belong to
// it: a wide window smears a patch by half its width.
const trimTo = 0.8

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
	fields              []scaleField // their means are gone once segment has returned
	set                 []uint8      // scratch, a mask of the side
	owner               []int32      // scratch, a label per pixel
}

// scaleField is the windowed mean of the leveled picture with what plain bottom does at that scale.
type scaleField struct {
	mean   *features.Grid
	normal normalised
}

// segment finds highlights and shadows by a constant false-alarm rule at several scales. Seeds pass a threshold at some
// scale; each is grown at the finest scale, which keeps its edges.
func segment(s *swath, lv *leveled) (*segments, error) {
	mask := lv.mask
	seg := &segments{set: make([]uint8, len(mask)), owner: make([]int32, len(mask))}
	var windows [][2]int
	for _, sc := range scales {
		if sc.rows <= lv.q.Rows && sc.cols <= lv.q.Cols {
			windows = append(windows, [2]int{sc.rows, sc.cols})
		}
	}
	means, release, err := boxMeans(lv.q, windows)
	if err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: %w", s.side, err)
	}
	defer release()
	for i, m := range means {
		n, err := normalise(m, mask, scales[i].leastPower, scales[i].heaviest)
		if err != nil {
			return nil, fmt.Errorf("segmenting the %s swath: %w", s.side, err)
		}
		seg.fields = append(seg.fields, scaleField{m, n})
	}
	if len(seg.fields) == 0 {
		return seg, nil
	}
	if seg.highlights, err = seg.patches(lv, mask, true); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: highlights: %w", s.side, err)
	}
	if seg.shadows, err = seg.patches(lv, mask, false); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: shadows: %w", s.side, err)
	}
	for i := range seg.fields {
		seg.fields[i].mean = nil // it ends with release
	}
	seg.set, seg.owner = nil, nil
	return seg, nil
}

// patches grows the seeds of one polarity at every scale, finest first. A wider scale adds what the finer ones miss: where
// they found less than half of a patch's pixels, and no more than three pieces of it, it takes their place, else they stand
// (many pieces are many stones).
func (seg *segments) patches(lv *leveled, mask []uint8, bright bool) ([]patch, error) {
	var out []patch
	owner := seg.owner // 1 + index into out of the patch that holds a pixel
	clear(owner)
	seeds, trim := make([]float32, len(seg.fields)), seg.fields[0].normal.at(trimTo)
	if !bright {
		trim = seg.fields[0].normal.at(-trimTo)
	}
	for i, f := range seg.fields {
		seeds[i] = f.normal.at(f.normal.quantile(1 - scales[i].highlight))
		if !bright {
			seeds[i] = f.normal.at(f.normal.quantile(scales[i].shadow))
		}
	}
	for j := range seg.fields {
		comps, err := seg.grow(j, mask, bright)
		if err != nil {
			return nil, err
		}
		for _, c := range comps {
			p, ok := seg.describe(c, lv, mask, bright, j, seeds, trim)
			if !ok {
				continue
			}
			covered, within, inside := 0, 0.0, map[int32]bool{}
			for _, run := range p.runs {
				for k := run.Col0; k < run.Col1; k++ {
					i := run.Row*lv.q.Cols + k
					if o := owner[i]; o > 0 && out[o-1].area > 0 {
						covered++
						within += float64(lv.q.V[i]) - 1
						inside[o] = true
					}
				}
			}
			if covered*2 >= p.area || len(inside) > 3 {
				continue
			}
			// a strong thing in a faint patch is a thing of its own
			around := (p.mean-1)*float64(p.area) - within
			if covered > 0 && around/float64(p.area-covered) < 0.4*within/float64(covered) == bright {
				continue
			}
			for o := range inside {
				out[o-1].area = 0
			}
			out = append(out, p)
			for _, run := range p.runs {
				for k := run.Col0; k < run.Col1; k++ {
					owner[run.Row*lv.q.Cols+k] = int32(len(out))
				}
			}
		}
	}
	return slices.DeleteFunc(out, func(p patch) bool { return p.area == 0 }), nil
}

// grow returns the connected sets of pixels beyond the growing threshold of one scale.
func (seg *segments) grow(scale int, mask []uint8, bright bool) ([]features.Component, error) {
	f := seg.fields[scale]
	rows, cols := f.mean.Rows, f.mean.Cols
	set := seg.set
	clear(set)
	if bright {
		cut := f.normal.at(scales[scale].growHighlight)
		for i, v := range f.mean.V {
			if v > cut {
				set[i] = mask[i] // none is 0; water and bottom are not
			}
		}
	} else {
		cut := f.normal.at(-scales[scale].growShadow)
		for i, v := range f.mean.V {
			if v < cut && mask[i] == regionBottom {
				set[i] = 1
			}
		}
	}
	if scale == 0 && !bright {
		var err error
		if set, err = closeMask(set, rows, cols, 3, 3); err != nil {
			return nil, err
		}
	}
	comps, err := features.Components(set, rows, cols, features.Connect8)
	if err != nil || !bright {
		return comps, err
	}
	var out []features.Component
	for _, c := range comps {
		parts, err := sharpen(c, f)
		if err != nil {
			return nil, err
		}
		out = append(out, parts...)
	}
	return out, nil
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
	cut := f.normal.centre + (peak-f.normal.centre)/3
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
	if kept*4 < c.Area || len(parts) == 1 {
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

// describe measures a grown set, given the seed strength of every scale and the strength to trim wider scales to. ok is false
// when no scale up to this one has a seed in it or too few pixels are left after trimming.
func (seg *segments) describe(c features.Component, lv *leveled, mask []uint8, bright bool, scale int, seeds []float32, trim float32) (p patch, ok bool) {
	if c.Area < 6 {
		return patch{}, false
	}
	cols := lv.q.Cols
	fine := seg.fields[0]
	seeded := false
	sum, wet := 0.0, 0
	for _, run := range c.Runs {
		from := -1
		for k := run.Col0; k <= run.Col1; k++ {
			i := run.Row*cols + k
			in := k < run.Col1
			if in {
				for j := range seg.fields {
					v := seg.fields[j].mean.V[i]
					if j <= scale && (bright && v > seeds[j] || !bright && v < seeds[j]) {
						seeded = true
					}
				}
				if v := fine.mean.V[i]; scale > 0 && (bright && v < trim || !bright && v > trim) {
					in = false
				}
			}
			if in {
				sum += float64(lv.q.V[i])
				p.area++
				if mask[i] == regionWater {
					wet++
				}
				if from < 0 {
					from = k
				}
			} else if from >= 0 {
				p.runs = append(p.runs, features.PixelRun{Row: run.Row, Col0: from, Col1: k})
				from = -1
			}
		}
	}
	if !seeded || p.area < 6 {
		return patch{}, false
	}
	p.fine = seg.peakOf(seg.fields[0], p.runs, bright)
	p.wide = seg.peakOf(seg.fields[len(seg.fields)-1], p.runs, bright)
	for _, f := range seg.fields {
		p.peak = math.Max(p.peak, seg.peakOf(f, p.runs, bright))
	}
	p.span = span{math.MaxInt, 0, math.MaxInt, 0}
	for _, run := range p.runs {
		p.span = p.union(span{run.Row, run.Row + 1, run.Col0, run.Col1})
	}
	p.mean = sum / float64(p.area)
	p.wet = wet*2 > p.area
	return p, true
}

// peakOf is the greatest departure from plain bottom, in spreads, of one scale inside a set of runs.
func (seg *segments) peakOf(f scaleField, runs []features.PixelRun, bright bool) float64 {
	best, cols := f.normal.centre, f.mean.Cols
	for _, run := range runs {
		for _, v := range f.mean.V[run.Row*cols+run.Col0 : run.Row*cols+run.Col1] {
			if bright && v > best || !bright && v < best {
				best = v
			}
		}
	}
	return math.Abs(f.normal.z(best))
}
