package eval

import (
	"cmp"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/features"
)

// ProfileError sums up how far a profile (nadir, first return, altitude) lies from the truth, over the rows of all captures
// that are labelled.
type ProfileError struct {
	Rows    int      `json:"rows"`    // labelled rows with an answer
	Absent  Rate     `json:"absent"`  // labelled rows without an answer
	Median  Estimate `json:"median"`  // of the absolute error
	P95     Estimate `json:"p95"`     // of the absolute error
	Bias    Estimate `json:"bias"`    // mean signed error; positive = too far from the nadir, for the nadir too far right
	Within2 Rate     `json:"within2"` // rows at most 2 off (pixels, or 0.02 for shares); neighbouring rows are not independent
	abs     []float64
}

// ValueError sums up how far a measured value lies from the truth, over labels found.
type ValueError struct {
	N         int      `json:"n"`
	Absent    int      `json:"absent"` // labels found that state the truth, whose mark has no value
	Median    Number   `json:"median"` // of the absolute error
	P95       Number   `json:"p95"`
	Bias      Number   `json:"bias"`       // mean of measured minus true
	Relative  Estimate `json:"relative"`   // median of the absolute error over the true value, where that is not 0
	Within1SD Rate     `json:"within_1sd"` // 0.683 where errors are normal and stated right
	Within2SD Rate     `json:"within_2sd"` // 0.954
	pairs     []pairV  // measured with its true value, for the report's plots
}

type pairV struct {
	got     features.Measured
	truth   float64
	capture int
}

// maxProfileGap is the widest stretch of rows a found profile is read across: its points are at most 10 rows apart.
const maxProfileGap = 20

// atRow reads the profile at a row, between its points or at most half a gap beyond its ends. It returns false where the
// profile has nothing to say. Rows must rise.
func atRow(p []detect.RowX, row float64) (float64, bool) {
	if len(p) == 0 {
		return 0, false
	}
	i, _ := slices.BinarySearchFunc(p, row, func(q detect.RowX, r float64) int { return cmp.Compare(q[0], r) })
	switch {
	case i == 0:
		return p[0][1], p[0][0]-row <= maxProfileGap/2
	case i == len(p):
		return p[i-1][1], row-p[i-1][0] <= maxProfileGap/2
	}
	a, b := p[i-1], p[i]
	if b[0]-a[0] > maxProfileGap {
		return 0, false
	}
	return a[1] + (b[1]-a[1])*(row-a[0])/(b[0]-a[0]), true
}

// panelOf returns the found panel that the labels of a capture are about: the one that overlaps the labelled panel most, or
// the first.
func panelOf(s *scored) *detect.PanelRecord { return overlapping(s.record.Panels, s.label.Panel) }

// lineOff is the error in pixels beyond which a row's first return is badly off.
const lineOff = 6

// worstLines lists the sides with most rows badly off, at most opt.WorstMisses of them.
func worstLines(caps []scored, opt Options) []LineMiss {
	var out []LineMiss
	for i := range caps {
		s := &caps[i]
		panel := panelOf(s)
		if panel == nil {
			panel = &detect.PanelRecord{}
		}
		for _, side := range []struct {
			name       detect.Side
			truth, got []detect.RowX
		}{
			{detect.Port, s.label.FirstReturn.Port, panel.FirstReturn.Port},
			{detect.Starboard, s.label.FirstReturn.Starboard, panel.FirstReturn.Starboard},
		} {
			m := LineMiss{Capture: s.label.Capture, Side: side.name, Rows: len(side.truth)}
			var abs []float64
			off := 0
			for _, q := range side.truth {
				x, ok := atRow(side.got, q[0])
				if !ok {
					m.Absent++
					off++
					continue
				}
				abs = append(abs, math.Abs(x-q[1]))
				if math.Abs(x-q[1]) > lineOff {
					off++
				}
			}
			if off == 0 {
				continue
			}
			slices.Sort(abs)
			m.Off, m.Median = NewRate(off, m.Rows), Number(sortedQuantile(abs, 0.5))
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(a, b LineMiss) int { return cmp.Compare(b.Off.K, a.Off.K) })
	return out[:min(len(out), opt.WorstMisses)]
}

type rowError struct {
	err     float64
	capture int
}

// gatherer collects the errors of one kind of profile.
type gatherer struct {
	list   []rowError
	absent int
}

func (g *gatherer) add(got float64, ok bool, truth, sign float64, capture int) {
	if !ok {
		g.absent++
		return
	}
	g.list = append(g.list, rowError{sign * (got - truth), capture})
}

func profileErrors(caps []scored, opt Options) (nadir, first, altitude, relative ProfileError) {
	var gn, gf, ga, gr gatherer
	for i := range caps {
		s := &caps[i]
		panel := panelOf(s)
		if panel == nil {
			panel = &detect.PanelRecord{}
		}
		for _, q := range s.label.Nadir {
			x, ok := atRow(panel.Nadir, q[0])
			gn.add(x, ok, q[1], 1, i)
		}
		for _, side := range []struct {
			truth, got []detect.RowX
			sign       float64
		}{{s.label.FirstReturn.Port, panel.FirstReturn.Port, -1}, {s.label.FirstReturn.Starboard, panel.FirstReturn.Starboard, 1}} {
			for _, q := range side.truth {
				x, ok := atRow(side.got, q[0])
				gf.add(x, ok, q[1], side.sign, i)
				n, known := atRow(s.label.Nadir, q[0])
				if !known {
					continue
				}
				h := side.sign * (q[1] - n)
				m, seen := atRow(panel.Nadir, q[0])
				got := side.sign * (x - m)
				ga.add(got, ok && seen, h, 1, i)
				if h > 0 {
					gr.add(got/h, ok && seen, 1, 1, i)
				}
			}
		}
	}
	n := len(caps)
	return gn.sum(n, 2, opt), gf.sum(n, 2, opt), ga.sum(n, 2, opt), gr.sum(n, 0.02, opt)
}

// sort orders the errors by size.
func (g *gatherer) sort() {
	slices.SortFunc(g.list, func(a, b rowError) int { return cmp.Compare(math.Abs(a.err), math.Abs(b.err)) })
}

// quantile is the size that part p of the errors do not exceed, with its interval; the errors must be sorted.
func (g *gatherer) quantile(p float64, captures int, opt Options) Estimate {
	return bootstrap(captures, opt.Resamples, opt.Seed, func(times []int) float64 {
		total := 0
		for _, r := range g.list {
			total += times[r.capture]
		}
		seen := 0
		for _, r := range g.list {
			if seen += times[r.capture]; total > 0 && float64(seen) >= p*float64(total) {
				return math.Abs(r.err)
			}
		}
		return math.NaN()
	})
}

// sum sums the errors up; within is what counts as close.
func (g *gatherer) sum(captures int, within float64, opt Options) ProfileError {
	e := ProfileError{Rows: len(g.list), Absent: NewRate(g.absent, g.absent+len(g.list))}
	g.sort()
	near := 0
	for _, r := range g.list {
		e.abs = append(e.abs, math.Abs(r.err))
		if math.Abs(r.err) <= within {
			near++
		}
	}
	e.Within2 = NewRate(near, len(g.list))
	e.Median, e.P95 = g.quantile(0.5, captures, opt), g.quantile(0.95, captures, opt)
	sums, counts := make([]float64, captures), make([]int, captures)
	for _, r := range g.list {
		sums[r.capture] += r.err
		counts[r.capture]++
	}
	e.Bias = bootstrap(captures, opt.Resamples, opt.Seed, func(times []int) float64 {
		sum, n := 0.0, 0
		for i, t := range times {
			sum += float64(t) * sums[i]
			n += t * counts[i]
		}
		return sum / float64(n)
	})
	return e
}

func valueErrors(caps []scored, opt Options) (height, off, gap ValueError) {
	for i, s := range caps {
		for j := range s.label.Marks {
			at := s.match.markOf[j]
			if at < 0 || !s.counts[j] {
				continue
			}
			l, m := &s.label.Marks[j], s.reported[at]
			height.add(topOf(l), m.HeightM, i)
			off.add(l.OffBottomM, m.OffBottomM, i)
			gap.add(l.GapPx, m.GapPx, i)
		}
	}
	for _, e := range []*ValueError{&height, &off, &gap} {
		e.sum(len(caps), opt)
	}
	return height, off, gap
}

// topOf is how far a thing's top stands over the bottom, as a mark's height tells: labels give its own height, and apart from that how far
// off the bottom it hangs.
func topOf(l *MarkLabel) *float64 {
	if l.HeightM == nil || l.OffBottomM == nil {
		return l.HeightM
	}
	top := *l.HeightM + *l.OffBottomM
	return &top
}

func (e *ValueError) add(truth *float64, got *features.Measured, capture int) {
	switch {
	case truth == nil:
	case got == nil:
		e.Absent++
	default:
		e.pairs = append(e.pairs, pairV{*got, *truth, capture})
	}
}

func (e *ValueError) sum(captures int, opt Options) {
	e.N = len(e.pairs)
	abs := make([]float64, 0, e.N)
	var relative gatherer
	sum, within1, within2 := 0.0, 0, 0
	for _, p := range e.pairs {
		d := p.got.Value - p.truth
		abs = append(abs, math.Abs(d))
		sum += d
		if p.truth != 0 {
			relative.add(p.got.Value/p.truth, true, 1, 1, p.capture)
		}
		if math.Abs(d) <= p.got.SD {
			within1++
		}
		if math.Abs(d) <= 2*p.got.SD {
			within2++
		}
	}
	slices.Sort(abs)
	e.Median, e.P95 = Number(sortedQuantile(abs, 0.5)), Number(sortedQuantile(abs, 0.95))
	e.Bias = Number(sum / float64(e.N))
	relative.sort()
	e.Relative = relative.quantile(0.5, captures, opt)
	e.Within1SD, e.Within2SD = NewRate(within1, e.N), NewRate(within2, e.N)
}
