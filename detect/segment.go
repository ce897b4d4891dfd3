package detect

import (
	"math"

	"shadowgap/features"
)

// scales are the windows that a thing's departure from plain bottom is measured at.
var scales = [...]struct {
	window, step         int     // side of the window, and from one to the next, in pixels
	leastPower, heaviest float64 // see normalise
}{
	{3, 1, 0, 2},
	{6, wideStep, 0.4, 1.5},
	{14, wideStep, 0.7, 1.25},
}

// wideStep is how far apart the wider windows are taken: a mean over many pixels hardly changes from one to the next.
const wideStep = 2

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

// fields are the windowed means of one side, finest first.
type fields struct {
	scale []scaleField
}

// scaleField is the windowed mean of the leveled picture with what plain bottom does at that scale.
type scaleField struct {
	mean   *features.Grid // one for every block of step × step pixels
	mask   []uint8        // what the first pixel of each belongs to
	step   int
	normal normalised
}

// average takes the means of every window that fits into the side, and learns what plain bottom does at each.
func (f *fields) average(lv *leveled, arena *features.Arena) error {
	add := func(mean *features.Grid, mask []uint8) error {
		sc := scales[len(f.scale)]
		n, err := normalise(mean, mask, sc.leastPower, sc.heaviest)
		f.scale = append(f.scale, scaleField{mean: mean, mask: mask, step: sc.step, normal: n})
		return err
	}
	if min(lv.q.Rows, lv.q.Cols) < scales[0].window {
		return nil
	}
	fine, err := boxMeans(lv.q, [][2]int{{scales[0].window, scales[0].window}}, arena)
	if err != nil {
		return err
	}
	if err := add(fine[0], lv.mask); err != nil {
		return err
	}
	cells, mask, err := halved(lv.q, lv.mask, arena)
	if err != nil {
		return err
	}
	var windows [][2]int
	for _, sc := range scales[1:] {
		if n := sc.window / wideStep; n <= min(cells.Rows, cells.Cols) {
			windows = append(windows, [2]int{n, n})
		}
	}
	wide, err := boxMeans(cells, windows, arena)
	if err != nil {
		return err
	}
	for _, m := range wide {
		if err := add(m, mask); err != nil {
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
