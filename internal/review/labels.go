package review

import (
	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/internal/decided"
)

// Labels turns decisions into labels by hand: accepted marks with the reviewer's class, unsure ones as not sure, and the
// missed marks that were drawn. Captures come in the order of caps. With onlyDone, captures that were not looked at to the
// end are left out: their labels are incomplete, and scoring against them would count true marks as false.
func Labels(caps []detect.CaptureRecord, marks []detect.MarkRecord, ds []Decision, onlyDone bool) eval.Labels {
	st := Fold(ds)
	byCapture := map[string][]eval.MarkLabel{}
	no := false
	found := map[string][]detect.MarkRecord{}
	for _, m := range marks {
		found[m.Capture] = append(found[m.Capture], m)
	}
	for _, c := range caps {
		for _, m := range st.Rule(c, found[c.Capture], nil) {
			if m.Verdict != decided.Accepted && m.Verdict != decided.Unsure {
				continue // what was drawn follows, as it was drawn
			}
			l := eval.MarkLabel{Class: m.Class, Side: m.Side, Highlight: m.Highlight, Shadow: m.Shadow}
			if m.Verdict == decided.Unsure {
				l.Sure = &no
			}
			byCapture[c.Capture] = append(byCapture[c.Capture], l)
		}
	}
	panels := map[string]detect.CaptureRecord{}
	for _, c := range caps {
		panels[c.Capture] = c
	}
	for _, d := range st.Missed() {
		byCapture[d.Capture] = append(byCapture[d.Capture], eval.MarkLabel{
			Class: d.Class, Kind: d.Kind, Side: sideOf(panels[d.Capture], d), Highlight: d.Highlight, Shadow: d.Shadow, Sure: d.Sure,
		})
	}
	touched := map[string]bool{}
	for _, d := range ds {
		touched[d.Capture] = true
	}
	out := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{}}
	for _, c := range caps {
		if onlyDone && !st.Done(c.Capture) || !onlyDone && !touched[c.Capture] {
			continue
		}
		l := eval.CaptureLabel{Capture: c.Capture, By: "hand", Marks: byCapture[c.Capture], Humps: [][2]int{}}
		if l.Marks == nil {
			l.Marks = []eval.MarkLabel{}
		}
		if len(c.Panels) > 0 && c.Panels[0].RangeM != nil {
			l.RangeM = *c.Panels[0].RangeM
		}
		out.Captures = append(out.Captures, l)
	}
	return out
}

// sideOf tells a drawn mark's side from the nadir of the panel it lies in; "" when no nadir is known there.
func sideOf(c detect.CaptureRecord, d Decision) detect.Side {
	b := d.Highlight
	if b == nil {
		b = d.Shadow
	}
	for _, p := range c.Panels {
		if !b.Rect().Overlaps(p.Box.Rect()) {
			continue
		}
		if x, ok := nearest(p.Nadir, float64(b.Y)+float64(b.H)/2); ok {
			if float64(b.X)+float64(b.W)/2 < x {
				return detect.Port
			}
			return detect.Starboard
		}
	}
	return ""
}
