package eval

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"slices"
	"strings"

	"shadowgap/detect"
)

// AgreementResult tells how labels drawn by eye agree with the truth: how much of what is there can be read off the pictures,
// and with what error. A detector that agrees with the truth better than the labels do is not to be told from them.
type AgreementResult struct {
	Schema   int        `json:"schema"`
	Captures int        `json:"captures"`
	LeftOut  []string   `json:"left_out"` // captures that only one of the two has
	Truth    LabelTally `json:"truth"`
	Drawn    int        `json:"drawn"`
	Unsure   int        `json:"unsure"`       // of the drawn
	Right    Rate       `json:"unsure_right"` // unsure marks that lie on something, of those not in a region or on what doesn't count
	All      *Reading   `json:"all"`          // with unsure marks counted like sure ones
	Sure     *Reading   `json:"sure"`         // sure marks only
}

// Reading is one way to read drawn labels: as the marks of a run.
type Reading struct {
	Results      *Results `json:"results"`
	HighlightIoU Estimate `json:"highlight_iou"` // median over labels found that have a highlight on both sides
	ShadowIoU    Estimate `json:"shadow_iou"`    // median over labels found that have a shadow on both sides
	ShadowSeen   Rate     `json:"shadow_seen"`   // labels found with a true shadow to which a shadow was drawn
}

// Agreement lays drawn labels against the truth as Score lays a run against it, over the captures that both have; truth labels
// too small or too faint neither count as missed nor make a drawn one false. It returns an error when either is faulty, when
// no capture is in both, or when ctx ends.
func Agreement(ctx context.Context, drawn, truth Labels, opt Options) (*AgreementResult, error) {
	if err := errors.Join(drawn.Check(nil), truth.Check(nil)); err != nil {
		return nil, fmt.Errorf("comparing labels: %w", err)
	}
	sizes := map[string]image.Point{}
	for _, c := range truth.Captures {
		sizes[c.Capture] = image.Point{}
	}
	drawn = rebased(drawn, sizes)
	if err := drawn.Check(nil); err != nil { // two captures may have become one
		return nil, fmt.Errorf("comparing labels: %w", err)
	}
	r := &AgreementResult{Schema: resultsSchema, LeftOut: []string{}}
	both, seen := truth, map[string]bool{}
	both.Captures = nil
	var common []CaptureLabel
	for _, c := range drawn.Captures {
		if _, ok := sizes[c.Capture]; !ok {
			r.LeftOut = append(r.LeftOut, c.Capture)
			continue
		}
		seen[c.Capture] = true
		common = append(common, c)
	}
	for _, c := range truth.Captures {
		if seen[c.Capture] {
			both.Captures = append(both.Captures, c)
		} else {
			r.LeftOut = append(r.LeftOut, c.Capture)
		}
	}
	if r.Captures = len(common); r.Captures == 0 {
		return nil, fmt.Errorf("comparing labels: no capture is in both")
	}
	slices.Sort(r.LeftOut)
	var err error
	if r.All, err = read(ctx, common, both, opt, true); err != nil {
		return nil, fmt.Errorf("comparing labels: %w", err)
	}
	if r.Sure, err = read(ctx, common, both, opt, false); err != nil {
		return nil, fmt.Errorf("comparing labels: %w", err)
	}
	r.Truth = r.All.Results.Labels
	return r, r.countUnsure(ctx, common, both, opt)
}

// countUnsure looks what became of the unsure marks when all are read.
func (r *AgreementResult) countUnsure(ctx context.Context, drawn []CaptureLabel, truth Labels, opt Options) error {
	unsure := map[*detect.Box]bool{}
	for i := range drawn {
		for j := range drawn[i].Marks {
			r.Drawn++
			if m := &drawn[i].Marks[j]; !m.isSure() {
				r.Unsure++
				unsure[m.boxAt()] = true
			}
		}
	}
	caps, _, err := layOut(ctx, asRun(drawn, true), truth, opt)
	if err != nil {
		return fmt.Errorf("comparing labels: %w", err)
	}
	right, judged := 0, 0
	for _, c := range caps {
		for j, m := range c.reported {
			at := m.Highlight
			if at == nil {
				at = m.Shadow
			}
			if !unsure[at] {
				continue
			}
			switch c.match.fate[j] {
			case fateFound:
				right++
				judged++
			case fateFalse:
				judged++
			}
		}
	}
	r.Right = NewRate(right, judged)
	return nil
}

// read scores drawn labels as a run.
func read(ctx context.Context, drawn []CaptureLabel, truth Labels, opt Options, withUnsure bool) (*Reading, error) {
	run := asRun(drawn, withUnsure)
	results, err := Score(ctx, run, truth, opt)
	if err != nil {
		return nil, err
	}
	caps, _, err := layOut(ctx, run, truth, opt)
	if err != nil {
		return nil, err
	}
	reading := &Reading{Results: results}
	lights, shadows := make([][]float64, len(caps)), make([][]float64, len(caps))
	withShadow := 0
	for i, c := range caps {
		for j, counted := range c.counts {
			at := c.match.markOf[j]
			if !counted || at < 0 {
				continue
			}
			l, m := &c.label.Marks[j], c.reported[at]
			if l.Highlight != nil && m.Highlight != nil {
				lights[i] = append(lights[i], IoU(*l.Highlight, *m.Highlight))
			}
			if l.Shadow == nil {
				continue
			}
			withShadow++
			if m.Shadow != nil {
				shadows[i] = append(shadows[i], IoU(*l.Shadow, *m.Shadow))
			}
		}
	}
	reading.HighlightIoU, reading.ShadowIoU = medianOver(lights, opt), medianOver(shadows, opt)
	drawnShadows := 0
	for _, s := range shadows {
		drawnShadows += len(s)
	}
	reading.ShadowSeen = NewRate(drawnShadows, withShadow)
	return reading, nil
}

// medianOver is the median of all values with its bootstrap interval over captures.
func medianOver(perCapture [][]float64, opt Options) Estimate {
	return bootstrap(len(perCapture), opt.Resamples, opt.Seed, func(times []int) float64 {
		var v []float64
		for i, t := range times {
			for range t {
				v = append(v, perCapture[i]...)
			}
		}
		slices.Sort(v)
		return sortedQuantile(v, 0.5)
	})
}

// asRun turns labels into the run of a detector that is certain of each.
func asRun(labels []CaptureLabel, withUnsure bool) Run {
	var run Run
	for i := range labels {
		c := &labels[i]
		run.Captures = append(run.Captures, detect.CaptureRecord{
			Schema: detect.SchemaVersion, Capture: c.Capture, Status: detect.StatusRead, Panels: []detect.PanelRecord{drawnPanel(c)},
		})
		for j := range c.Marks {
			m := &c.Marks[j]
			if !withUnsure && !m.isSure() {
				continue
			}
			run.Marks = append(run.Marks, detect.MarkRecord{
				Schema: detect.SchemaVersion, Capture: c.Capture, Class: m.Class, Side: m.Side, Odds: detect.Odds{m.Class: 1},
				Box: m.box(), Highlight: m.Highlight, Shadow: m.Shadow,
			})
		}
	}
	return run
}

func drawnPanel(c *CaptureLabel) detect.PanelRecord {
	p := detect.PanelRecord{Nadir: c.Nadir, FirstReturn: c.FirstReturn}
	if c.Panel != nil {
		p.Box = *c.Panel
	}
	for _, h := range c.Humps {
		p.Humps = append(p.Humps, detect.Hump{Rows: h})
	}
	return p
}

func (l *MarkLabel) isSure() bool { return l.Sure == nil || *l.Sure }

func (l *MarkLabel) boxAt() *detect.Box {
	if l.Highlight != nil {
		return l.Highlight
	}
	return l.Shadow
}

// WriteAgreementText writes an agreement as a plain table.
func WriteAgreementText(w io.Writer, r *AgreementResult) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%d captures in both; left out because only one has them: %d\n", r.Captures, len(r.LeftOut))
	for _, name := range r.LeftOut {
		fmt.Fprintf(&b, "  %s\n", name)
	}
	fmt.Fprintf(&b, "%d marks drawn, %d of them unsure; %d true things, %d count (left out: %d too small, %d too faint)\n",
		r.Drawn, r.Unsure, r.Truth.Total, r.Truth.Counted, r.Truth.TooSmall, r.Truth.TooFaint)
	t := section(&b, "Drawn labels against the truth")
	row(t, "", "all marks", "sure marks only")
	line := func(name string, of func(*Reading) string) { row(t, name, of(r.All), of(r.Sure)) }
	line("recall", func(g *Reading) string { return rateText(g.Results.Detection.Recall) })
	line("precision", func(g *Reading) string { return rateText(g.Results.Detection.Precision) })
	line("false marks a capture", func(g *Reading) string { return estimateText(g.Results.Detection.FalsePerCapture, 2) })
	line("marks a capture inside labelled regions, counted apart",
		func(g *Reading) string { return estimateText(g.Results.Detection.InRegionPerCapture, 2) })
	line("right class, of those found", func(g *Reading) string { return rateText(g.Results.RightClass) })
	line(fmt.Sprintf("suspended told from bottom, true gap ≥ %g px", r.All.Results.Options.MinGapPx),
		func(g *Reading) string { return rateText(g.Results.BottomOrNot.Suspended) })
	line("bottom told from suspended", func(g *Reading) string { return rateText(g.Results.BottomOrNot.Bottom) })
	for i, c := range r.All.Results.Classes {
		line("recall of "+string(c.Class), func(g *Reading) string { return rateText(g.Results.Classes[i].Recall) })
		line("precision of "+string(c.Class), func(g *Reading) string { return rateText(g.Results.Classes[i].Precision) })
	}
	line("overlap of highlight boxes, median", func(g *Reading) string { return estimateText(g.HighlightIoU, 2) })
	line("overlap of shadow boxes, median", func(g *Reading) string { return estimateText(g.ShadowIoU, 2) })
	line("shadow drawn where there is one, of those found", func(g *Reading) string { return rateText(g.ShadowSeen) })
	line("humps found", func(g *Reading) string { return rateText(g.Results.Humps.Recall) })
	t.Flush()
	t = tabbed(&b)
	row(t, "unsure marks that lie on something", rateText(r.Right))
	t.Flush()
	fmt.Fprintf(&b, "\nIntervals are 95 %%: Wilson for rates, bootstrap over captures for the rest.\n%s\n",
		strings.Join(detect.Cautions(), " "))
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing agreement: %w", err)
	}
	return nil
}
