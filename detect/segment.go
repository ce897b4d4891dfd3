package detect

import (
	"fmt"
	"math"

	"shadowgap/features"
)

// falseAlarm are the chances per pixel that plain bottom passes a threshold, by scale of the window. A wider window has
// fewer independent places in a picture, so it may pass more often.
var scales = [...]struct {
	rows, cols        int
	highlight, shadow float64 // one-sided chances
}{
	{3, 3, 2e-7, 1e-7},
	{7, 7, 1e-6, 2e-5},
	{15, 15, 1e-5, 1e-4},
}

const (
	growHighlight = 2.1 // how far the fine scale follows a highlight down, in spreads over plain bottom
	growShadow    = 1.5 // and a shadow, below it
)

// patch is a set of pixels of a swath that stand out together.
type patch struct {
	span
	runs []features.PixelRun
	area int
	peak float64 // greatest excess over its threshold field in spreads, any scale
	mean float64 // mean of the leveled strength
	wet  bool    // inside the water column
}

// segments are the patches of one side.
type segments struct {
	highlights, shadows []patch
	fields              []scaleField
}

// scaleField is the windowed mean of the leveled picture with what plain bottom does at that scale.
type scaleField struct {
	mean   *features.Grid
	normal normalised
}

// segment finds highlights and shadows by a constant false-alarm rule at several scales. Seeds pass a threshold at some
// scale; each is grown at the finest scale, which keeps its edges.
func segment(s *swath, lv *leveled) (*segments, error) {
	mask := s.regions(lv)
	seg := &segments{}
	for _, sc := range scales {
		if sc.rows > lv.q.Rows || sc.cols > lv.q.Cols {
			continue
		}
		m, err := boxMean(lv.q, sc.rows, sc.cols)
		if err != nil {
			return nil, fmt.Errorf("segmenting the %s swath: %w", s.side, err)
		}
		n, err := normalise(m, mask)
		if err != nil {
			return nil, fmt.Errorf("segmenting the %s swath: %w", s.side, err)
		}
		seg.fields = append(seg.fields, scaleField{m, n})
	}
	if len(seg.fields) == 0 {
		return seg, nil
	}
	var err error
	if seg.highlights, err = seg.patches(lv, mask, true); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: highlights: %w", s.side, err)
	}
	if seg.shadows, err = seg.patches(lv, mask, false); err != nil {
		return nil, fmt.Errorf("segmenting the %s swath: shadows: %w", s.side, err)
	}
	return seg, nil
}

// patches grows the seeds of one polarity.
func (seg *segments) patches(lv *leveled, mask []uint8, bright bool) ([]patch, error) {
	rows, cols := lv.q.Rows, lv.q.Cols
	fine := seg.fields[0]
	grow := make([]uint8, rows*cols)
	cut := fine.normal.at(growHighlight)
	if !bright {
		cut = fine.normal.at(-growShadow)
	}
	for i, v := range fine.mean.V {
		if mask[i] == regionNone {
			continue
		}
		if bright && v > cut || !bright && v < cut && mask[i] == regionBottom {
			grow[i] = 1
		}
	}
	closed, err := closeMask(grow, rows, cols, 3, 3)
	if err != nil {
		return nil, err
	}
	comps, err := features.Components(closed, rows, cols, features.Connect8)
	if err != nil {
		return nil, err
	}
	type limit struct{ seed float32 }
	limits := make([]limit, len(seg.fields))
	for i, f := range seg.fields {
		if bright {
			limits[i].seed = f.normal.at(f.normal.quantile(1 - scales[i].highlight))
		} else {
			limits[i].seed = f.normal.at(f.normal.quantile(scales[i].shadow))
		}
	}
	var out []patch
	for _, c := range comps {
		if c.Area < 6 {
			continue
		}
		p := patch{span: span{c.Row0, c.Row1, c.Col0, c.Col1}, runs: c.Runs, area: c.Area}
		seeded := false
		sum, wet := 0.0, 0
		for _, run := range c.Runs {
			for k := run.Col0; k < run.Col1; k++ {
				i := run.Row*cols + k
				sum += float64(lv.q.V[i])
				if mask[i] == regionWater {
					wet++
				}
				for j, f := range seg.fields {
					v := f.mean.V[i]
					if bright && v > limits[j].seed || !bright && v < limits[j].seed {
						seeded = true
					}
					if z := math.Abs(f.normal.z(v)); z > p.peak && (v > f.normal.centre) == bright {
						p.peak = z
					}
				}
			}
		}
		if !seeded {
			continue
		}
		p.mean = sum / float64(c.Area)
		p.wet = wet*2 > c.Area
		out = append(out, p)
	}
	return out, nil
}
