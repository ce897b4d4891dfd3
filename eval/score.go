package eval

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"shadowgap/detect"
)

// scored is one labelled capture laid against what the run says about it.
type scored struct {
	label    *CaptureLabel
	record   *detect.CaptureRecord
	counts   []bool // per label, whether it can be missed
	reported []*detect.MarkRecord
	all      []*detect.MarkRecord // reported or not
	match    matching             // labels against reported, the most pairs possible
	byChance matching             // labels against all, best chance of being real first
}

// Score lays a run against labels. Captures of the run without labels are not scored; neither are labels of
// captures that the run lacks, unless it lacks them all. A box outside its capture or any other fault of the labels is an error that names
// it, and nothing is scored then. Captures the
// run could not read count with all their labels missed. It also returns an error when ctx ends.
func Score(ctx context.Context, run Run, labels Labels, opt Options) (*Results, error) {
	sizes := run.sizes()
	if err := labels.Check(nil); err != nil { // before paths are looked up by their ends
		return nil, fmt.Errorf("scoring: %w", err)
	}
	labels, lacking := rebased(labels, sizes).in(sizes)
	if err := labels.Check(sizes); err != nil {
		return nil, fmt.Errorf("scoring: %w", err)
	}
	if opt.Bins < 1 || opt.Resamples < 0 {
		return nil, fmt.Errorf("scoring: %d bins, %d resamples", opt.Bins, opt.Resamples)
	}
	caps, tally, err := layOut(ctx, run, labels, opt)
	if err != nil {
		return nil, fmt.Errorf("scoring: %w", err)
	}
	r := &Results{Schema: resultsSchema, Options: opt, Labels: tally, Captures: captureTally(run, caps)}
	r.Captures.Lacking = lacking
	r.PerCapture = perCapture(caps)
	r.Detection = detection(r.PerCapture, caps, opt)
	r.Confusion, r.RightClass = confusion(caps)
	r.BottomOrNot = bottomOrNot(caps, opt)
	r.Hanging = hanging(caps)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("scoring: %w", err)
	}
	if r.Classes, r.MeanAP, err = classes(caps, r.Confusion, opt); err != nil {
		return nil, fmt.Errorf("scoring: %w", err)
	}
	if r.Calibration, err = calibration(caps, opt); err != nil {
		return nil, fmt.Errorf("scoring: %w", err)
	}
	r.FROC = froc(caps)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("scoring: %w", err)
	}
	r.Reading = reading(caps, opt)
	r.Nadir, r.FirstReturn, r.Altitude, r.Relative = profileErrors(caps, opt)
	r.Height, r.OffBottom, r.Gap = valueErrors(caps, opt)
	r.Humps = humps(caps)
	r.Breakdowns = breakdowns(caps, opt)
	r.Worst, r.WorstLines = worst(caps, opt), worstLines(caps, opt)
	return r, nil
}

// layOut matches every labelled capture, in the order of their names.
func layOut(ctx context.Context, run Run, labels Labels, opt Options) ([]scored, LabelTally, error) {
	records := make(map[string]*detect.CaptureRecord, len(run.Captures))
	for i := range run.Captures {
		records[run.Captures[i].Capture] = &run.Captures[i]
	}
	marks := map[string][]*detect.MarkRecord{}
	for i := range run.Marks {
		m := &run.Marks[i]
		marks[m.Capture] = append(marks[m.Capture], m)
	}
	var tally LabelTally
	caps := make([]scored, 0, len(labels.Captures))
	for i := range labels.Captures {
		if err := ctx.Err(); err != nil {
			return nil, tally, err
		}
		l := &labels.Captures[i]
		s := scored{label: l, record: records[l.Capture], all: marks[l.Capture]}
		for j := range l.Marks {
			s.counts = append(s.counts, tally.take(&l.Marks[j], opt))
		}
		for _, m := range s.all {
			if m.Class != detect.Clutter && chanceReal(m) >= opt.MinScore {
				s.reported = append(s.reported, m)
			}
		}
		var err error
		if s.match, err = matchOptimal(opt.Gate, l.Marks, s.counts, s.reported, l.Regions); err != nil {
			return nil, tally, fmt.Errorf("%s: %w", l.Capture, err)
		}
		s.byChance = matchByScore(opt.Gate, l.Marks, s.counts, s.all, l.Regions, chanceReal)
		caps = append(caps, s)
	}
	slices.SortFunc(caps, func(a, b scored) int { return strings.Compare(a.label.Capture, b.label.Capture) })
	return caps, tally, nil
}

// take counts a label and says whether it can be missed.
func (t *LabelTally) take(l *MarkLabel, opt Options) bool {
	t.Total++
	b := l.box()
	switch {
	case l.Class == detect.Clutter:
		t.Clutter++
	case l.Sure != nil && !*l.Sure:
		t.Unsure++
	case b.W < opt.MinLabelPx || b.H < opt.MinLabelPx:
		t.TooSmall++
	case l.Contrast != nil && *l.Contrast < opt.MinContrast:
		t.TooFaint++
	default:
		t.Counted++
		return true
	}
	return false
}

// chanceReal is the chance a mark is given of being anything but clutter.
func chanceReal(m *detect.MarkRecord) float64 { return max(0, min(1, 1-m.Odds[detect.Clutter])) }

func captureTally(run Run, caps []scored) CaptureTally {
	t := CaptureTally{Labelled: len(caps), Unlabelled: len(run.Captures) - len(caps)}
	for _, c := range caps {
		switch c.record.Status {
		case detect.StatusNoPanel:
			t.NoPanel++
		case detect.StatusUnreadable:
			t.Unreadable++
		}
	}
	return t
}

func perCapture(caps []scored) []CaptureResult {
	out := make([]CaptureResult, len(caps))
	for i, c := range caps {
		r := CaptureResult{Capture: c.label.Capture, Status: c.record.Status}
		for j, counted := range c.counts {
			if !counted {
				continue
			}
			r.Labels++
			if at := c.match.markOf[j]; at >= 0 {
				r.Found++
				if c.reported[at].Class == c.label.Marks[j].Class {
					r.RightClass++
				}
			}
		}
		for _, f := range c.match.fate {
			switch f {
			case fateFalse:
				r.False++
			case fateInRegion:
				r.InRegion++
			case fateDontCare:
				r.DontCare++
			}
		}
		out[i] = r
	}
	return out
}

func detection(per []CaptureResult, caps []scored, opt Options) Detection {
	var found, labels, wrong int
	var d Detection
	var empty []int // indexes of captures where there is nothing
	for i, r := range per {
		found += r.Found
		labels += r.Labels
		wrong += r.False
		d.DontCare += r.DontCare
		if len(caps[i].label.Marks) == 0 && len(caps[i].label.Regions) == 0 {
			empty = append(empty, i)
		}
	}
	d.Precision, d.Recall = NewRate(found, found+wrong), NewRate(found, labels)
	d.EmptyCaptures = len(empty)
	mean := func(of func(CaptureResult) int) func([]int) float64 {
		return func(times []int) float64 {
			sum, n := 0, 0
			for i, t := range times {
				sum += t * of(per[i])
				n += t
			}
			return float64(sum) / float64(n)
		}
	}
	falseMarks := func(r CaptureResult) int { return r.False }
	d.FalsePerCapture = bootstrap(len(per), opt.Resamples, opt.Seed, mean(falseMarks))
	d.InRegionPerCapture = bootstrap(len(per), opt.Resamples, opt.Seed, mean(func(r CaptureResult) int { return r.InRegion }))
	d.F1 = bootstrap(len(per), opt.Resamples, opt.Seed, func(times []int) float64 {
		var f, w, m int
		for i, t := range times {
			f += t * per[i].Found
			w += t * per[i].False
			m += t * (per[i].Labels - per[i].Found)
		}
		return f1(float64(f), float64(w), float64(m))
	})
	d.MarksPerEmpty = bootstrap(len(empty), opt.Resamples, opt.Seed, func(times []int) float64 {
		sum, n := 0, 0
		for i, t := range times {
			sum += t * per[empty[i]].False
			n += t
		}
		return float64(sum) / float64(n)
	})
	return d
}

// confusion fills the table and the share of found labels given their true class.
func confusion(caps []scored) (Confusion, Rate) {
	var c Confusion
	rowOf, colOf := map[detect.Class]int{}, map[detect.Class]int{}
	for _, class := range detect.Classes {
		colOf[class] = len(c.Given)
		c.Given = append(c.Given, string(class))
		if class != detect.Clutter {
			rowOf[class] = len(c.Truth)
			c.Truth = append(c.Truth, string(class))
		}
	}
	c.Truth = append(c.Truth, NothingThere)
	c.Given = append(c.Given, Missed)
	for range c.Truth {
		c.Count = append(c.Count, make([]int, len(c.Given)))
	}
	right, found := 0, 0
	for _, s := range caps {
		taken := map[*detect.MarkRecord]bool{}
		for j, counted := range s.counts {
			if !counted {
				continue
			}
			row := rowOf[s.label.Marks[j].Class]
			if at := s.match.markOf[j]; at >= 0 {
				m := s.reported[at]
				c.Count[row][colOf[m.Class]]++
				found++
				if m.Class == s.label.Marks[j].Class {
					right++
				}
				continue
			}
			// Seen but thrown away as clutter is another fault than not seen.
			if at := s.byChance.markOf[j]; at >= 0 && s.all[at].Class == detect.Clutter {
				c.Count[row][colOf[detect.Clutter]]++
				taken[s.all[at]] = true
				continue
			}
			c.Count[row][len(c.Given)-1]++
		}
		for j, f := range s.match.fate {
			if f == fateFalse {
				c.Count[len(c.Truth)-1][colOf[s.reported[j].Class]]++
			}
		}
		for j, f := range s.byChance.fate {
			if m := s.all[j]; f == fateFalse && m.Class == detect.Clutter && !taken[m] {
				c.Count[len(c.Truth)-1][colOf[detect.Clutter]]++
			}
		}
	}
	return c, NewRate(right, found)
}

func bottomOrNot(caps []scored, opt Options) BottomOrNot {
	var sk, sn, bk, bn int
	for _, s := range caps {
		for j, counted := range s.counts {
			at := s.match.markOf[j]
			if !counted || at < 0 {
				continue
			}
			l, odds := &s.label.Marks[j], s.reported[at].Odds
			hangs := odds[detect.SuspendedTarget] > odds[detect.BottomObject]
			switch {
			case l.Class == detect.SuspendedTarget && l.GapPx != nil && *l.GapPx >= opt.MinGapPx:
				sn++
				if hangs {
					sk++
				}
			case l.Class == detect.BottomObject:
				bn++
				if !hangs {
					bk++
				}
			}
		}
	}
	return BottomOrNot{NewRate(sk, sn), NewRate(bk, bn), NewRate(sk+bk, sn+bn)}
}

// Gaps, pixels of the capture, from which a thing hangs visibly and up to which it does so closely.
const (
	smallGapPx = 3
	largeGapPx = 10
)

func hanging(caps []scored) Hanging {
	var near, hangs, lies struct{ k, n int }
	for _, s := range caps {
		for j, counted := range s.counts {
			if !counted {
				continue
			}
			l, at := &s.label.Marks[j], s.match.markOf[j]
			suspended := l.Class == detect.SuspendedTarget && l.GapPx != nil && *l.GapPx >= smallGapPx
			if suspended && *l.GapPx <= largeGapPx {
				near.n++
				if at >= 0 {
					near.k++
				}
			}
			if at < 0 {
				continue
			}
			of := &lies
			switch {
			case suspended:
				of = &hangs
			case l.Class != detect.BottomObject:
				continue
			}
			of.n++
			if s.reported[at].Class == l.Class {
				of.k++
			}
		}
	}
	return Hanging{NewRate(near.k, near.n), NewRate(hangs.k, hangs.n), NewRate(lies.k, lies.n)}
}

// calibration judges the chance of being real over every mark, reported or not, whose truth is known.
func calibration(caps []scored, opt Options) (Calibration, error) {
	s := realSample(caps)
	bins, err := reliability(s, opt.Bins)
	if err != nil {
		return Calibration{}, err
	}
	return Calibration{
		Marks: len(s), Brier: Number(brierScore(s)), ECE: eceEstimate(s, len(caps), opt), ROCAUC: Number(rocAUC(s)), Bins: bins,
	}, nil
}

// eceEstimate is the expected calibration error of chances with its interval. Captures drawn often weigh as much more in their bins.
func eceEstimate(s []scoredMark, captures int, opt Options) Estimate {
	n, promised, came := make([]float64, opt.Bins), make([]float64, opt.Bins), make([]float64, opt.Bins)
	return bootstrap(captures, opt.Resamples, opt.Seed, func(times []int) float64 {
		clear(n)
		clear(promised)
		clear(came)
		total, sum := 0.0, 0.0
		for _, m := range s {
			t, b := float64(times[m.Capture]), reliabilityBin(m.Score, opt.Bins)
			n[b] += t
			promised[b] += t * m.Score
			if m.True {
				came[b] += t
			}
			total += t
		}
		for b := range n {
			sum += math.Abs(promised[b] - came[b])
		}
		return sum / total
	})
}

func realSample(caps []scored) []scoredMark {
	var out []scoredMark
	for i, s := range caps {
		for j, f := range s.byChance.fate {
			if f == fateFound || f == fateFalse {
				out = append(out, scoredMark{chanceReal(s.all[j]), f == fateFound, i})
			}
		}
	}
	return out
}

// classes scores each class by the odds given to it.
func classes(caps []scored, c Confusion, opt Options) ([]ClassResult, Estimate, error) {
	var out []ClassResult
	type sample struct {
		s         []scoredMark
		positives []int // per capture
	}
	var samples []sample
	for row, class := range detect.Classes {
		if class == detect.Clutter {
			continue
		}
		odds := func(m *detect.MarkRecord) float64 { return max(0, min(1, m.Odds[class])) }
		sm := sample{positives: make([]int, len(caps))}
		var calibrated []scoredMark
		total := 0
		for i, s := range caps {
			for j, counted := range s.counts {
				if counted && s.label.Marks[j].Class == class {
					sm.positives[i]++
					total++
				}
			}
			m := matchByScore(opt.Gate, s.label.Marks, s.counts, s.all, s.label.Regions, odds)
			for j, f := range m.fate {
				if f == fateFound || f == fateFalse {
					right := f == fateFound && s.label.Marks[m.labelOf[j]].Class == class
					sm.s = append(sm.s, scoredMark{odds(s.all[j]), right, i})
				}
			}
			for j, f := range s.byChance.fate {
				if f == fateFound || f == fateFalse {
					right := f == fateFound && s.label.Marks[s.byChance.labelOf[j]].Class == class
					calibrated = append(calibrated, scoredMark{odds(s.all[j]), right, i})
				}
			}
		}
		byScore(sm.s)
		samples = append(samples, sm)
		bins, err := reliability(calibrated, opt.Bins)
		if err != nil {
			return nil, Estimate{}, fmt.Errorf("class %s: %w", class, err)
		}
		hit, given, labels := c.Count[row][row], 0, 0
		for t := range c.Truth {
			given += c.Count[t][row]
		}
		for g := range c.Given {
			labels += c.Count[row][g]
		}
		out = append(out, ClassResult{
			Class: class, Labels: total,
			Precision: NewRate(hit, given), Recall: NewRate(hit, labels),
			F1: Number(f1(float64(hit), float64(given-hit), float64(labels-hit))),
			AP: bootstrap(len(caps), opt.Resamples, opt.Seed, func(times []int) float64 {
				return averagePrecision(sm.s, times, drawn(sm.positives, times))
			}),
			ROCAUC: Number(rocAUC(calibrated)), Brier: Number(brierScore(calibrated)),
			ECE: Number(expectedCalibrationError(bins)), Curve: precisionRecall(sm.s, total),
		})
	}
	mean := bootstrap(len(caps), opt.Resamples, opt.Seed, func(times []int) float64 {
		sum, n := 0.0, 0
		for _, sm := range samples {
			if ap := averagePrecision(sm.s, times, drawn(sm.positives, times)); !math.IsNaN(ap) {
				sum += ap
				n++
			}
		}
		return sum / float64(n)
	})
	return out, mean, nil
}

func drawn(positives, times []int) float64 {
	sum := 0
	for i, t := range times {
		sum += t * positives[i]
	}
	return float64(sum)
}
