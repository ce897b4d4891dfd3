package main

import (
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/export"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// reviewed is a run as a person's decisions leave it.
type reviewed struct {
	store   *runstore.Store
	state   *review.State
	clutter bool                       // what is likeliest clutter is asked for
	source  iter.Seq2[captured, error] // where its captures come from; nil = the store
}

func openReviewed(ctx context.Context, store *runstore.Store, clutter bool) (*reviewed, error) {
	ds, err := decisionsOf(ctx, store)
	if err != nil {
		return nil, err
	}
	return &reviewed{store: store, state: review.Fold(ds), clutter: clutter}, nil
}

// of returns one capture's marks as decisions leave them.
func (r *reviewed) of(ctx context.Context, c *detect.CaptureRecord) ([]decided.Mark, error) {
	var found []detect.MarkRecord
	for m, err := range r.store.MarksOf(ctx, c) {
		if err != nil {
			return nil, err
		}
		found = append(found, *m)
	}
	var way *survey.Scene
	if r.state.Drew(c.Capture) {
		var err error
		if way, err = keptWay(ctx, r.store, c); err != nil {
			return nil, err
		}
	}
	return r.state.Rule(*c, found, way), nil
}

// tellUnasked says, where clutter is asked for, of how many captures the run can't show it: it was not asked for when they were looked at.
func tellUnasked(ctx context.Context, con *console, store *runstore.Store) error {
	settings, err := store.ReadWith(ctx)
	if err != nil {
		return err
	}
	unasked := 0
	for s, n := range settings {
		if _, clutter := (detect.Versions{Settings: s}).Asked(); !clutter {
			unasked += n
		}
	}
	if unasked > 0 {
		fmt.Fprintf(con.err, "shadowgap: %s looked at without --clutter: of what is likeliest clutter there the run holds hardly anything; "+
			"\"shadowgap triage --clutter\" looks again\n", count(unasked, "capture"))
	}
	return nil
}

// captured is a capture with all its marks.
type captured struct {
	record *detect.CaptureRecord
	marks  []decided.Mark
}

// captures yields the captures, the most interesting first, each with all its marks.
func (r *reviewed) captures(ctx context.Context) iter.Seq2[captured, error] {
	if r.source != nil {
		return r.source
	}
	return func(yield func(captured, error) bool) {
		for c, err := range r.store.Captures(ctx) {
			if err != nil {
				yield(captured{}, err)
				return
			}
			all, err := r.of(ctx, c)
			if err != nil {
				yield(captured{}, err)
				return
			}
			if !yield(captured{c, all}, nil) {
				return
			}
		}
	}
}

// shown are the marks that are something, or all where what is likeliest clutter was asked for.
func (r *reviewed) shown(all []decided.Mark) []decided.Mark {
	if r.clutter {
		return slices.Clone(all)
	}
	return slices.DeleteFunc(slices.Clone(all), func(m decided.Mark) bool { return m.Nothing() })
}

// ruled is a capture with counts and holds as decisions leave them, and with the marks that are shown.
func (r *reviewed) ruled(c captured) captured {
	out, marks := *c.record, r.shown(c.marks)
	out.Holds = places.Held(out.Capture, out.Holds, c.marks)
	held := map[string]bool{}
	for _, h := range out.Holds {
		for _, m := range h.Marks {
			held[m] = true
		}
	}
	out.Counts = map[detect.Class]int{}
	for i := range marks {
		out.Counts[marks[i].Class]++
		if !held[marks[i].Mark] {
			marks[i].Hold = nil
		}
	}
	return captured{&out, marks}
}

// records yields the captures alone, as decisions leave them.
func (r *reviewed) records(ctx context.Context) export.Captures {
	return func(yield func(*detect.CaptureRecord, error) bool) {
		for c, err := range r.captures(ctx) {
			if err != nil {
				yield(nil, err)
				return
			}
			if !yield(r.ruled(c).record, nil) {
				return
			}
		}
	}
}

// tally counts captures by status and marks by class, as decisions leave them, and says whether any mark has a position.
func (r *reviewed) tally(ctx context.Context) (t runstore.Tally, mapped bool, err error) {
	t = runstore.Tally{Captures: map[detect.Status]int{}, Marks: map[detect.Class]int{}}
	for c, err := range r.captures(ctx) {
		if err != nil {
			return t, false, err
		}
		t.Captures[c.record.Status]++
		for _, m := range r.shown(c.marks) {
			t.Marks[m.Class]++
			mapped = mapped || m.Position != nil
		}
	}
	return t, mapped, nil
}

// maxThings is how many marks are merged into things and places: all must be in memory at once. They are those of the most
// interesting captures.
const maxThings = 500_000

// atlas merges the run's marks into things and places, those of the most interesting captures where there are more than maxThings.
func (r *reviewed) atlas(ctx context.Context, units overlay.Units) (places.Atlas, error) {
	var caps []detect.CaptureRecord
	var marks []decided.Mark
	for c, err := range r.captures(ctx) {
		if err != nil {
			return places.Atlas{}, err
		}
		if len(marks)+len(c.marks) > maxThings {
			break
		}
		caps = append(caps, lean(c.record))
		for _, m := range c.marks {
			if m.Nothing() && !r.clutter {
				marks = append(marks, forHolds(m))
				continue
			}
			m.Evidence = toldEvidence(m.Evidence)
			marks = append(marks, m)
		}
	}
	return places.Find(caps, marks, places.Options{Units: units, Clutter: r.clutter}), nil
}

// lean leaves out of a capture what places and holds don't need, which is nearly all of it: thousands of them are in memory at once.
func lean(c *detect.CaptureRecord) detect.CaptureRecord {
	out := detect.CaptureRecord{Capture: c.Capture, SHA256: c.SHA256, Time: c.Time, Holds: c.Holds}
	for _, p := range c.Panels {
		out.Panels = append(out.Panels, detect.PanelRecord{Box: p.Box, Humps: p.Humps, Regions: p.Regions})
	}
	return out
}

// toldEvidence keeps the evidence that sentences are made of.
func toldEvidence(evidence map[string]float64) map[string]float64 {
	out := map[string]float64{}
	for _, k := range []string{"crowd", "before", "beyond", "cut", "wet", "underside-share", "height-share"} {
		if v, ok := evidence[k]; ok {
			out[k] = v
		}
	}
	return out
}

// looks are the ids of things that several marks are looks at, by capture and mark.
type looks map[string]*string

func lookKey(capture, mark string) string { return capture + "\x00" + mark }

func looksOf(a places.Atlas) looks {
	of := looks{}
	for i := range a.Sightings {
		if s := &a.Sightings[i]; len(s.Members) > 1 {
			for _, m := range s.Members {
				of[lookKey(m.Capture, m.Mark)] = &s.ID
			}
		}
	}
	return of
}

// marks yields the run's marks in the order of its captures, each with the id of the thing it is a look at when several are.
func (r *reviewed) marks(ctx context.Context, of looks) decided.Marks {
	return func(yield func(*decided.Mark, error) bool) {
		for c, err := range r.captures(ctx) {
			if err != nil {
				yield(nil, err)
				return
			}
			ms := r.ruled(c).marks
			for i := range ms {
				ms[i].Sighting = of[lookKey(c.record.Capture, ms[i].Mark)]
				if !yield(&ms[i], nil) {
					return
				}
			}
		}
	}
}

// holds ranks the run's holds as decisions leave them.
func (r *reviewed) holds(ctx context.Context) ([]survey.Hold, error) {
	var caps []detect.CaptureRecord
	var marks []decided.Mark
	for c, err := range r.captures(ctx) {
		if err != nil {
			return nil, err
		}
		if len(c.record.Holds) == 0 {
			continue
		}
		if len(caps) == maxPageCaptures {
			break
		}
		var held []string
		for _, h := range c.record.Holds {
			held = append(held, h.Marks...)
		}
		caps = append(caps, lean(c.record))
		for _, m := range c.marks {
			if slices.Contains(held, m.Mark) {
				marks = append(marks, forHolds(m))
			}
		}
	}
	return places.RankHolds(caps, marks), nil
}

// forHolds is a mark with no more than ranking holds takes.
func forHolds(m decided.Mark) decided.Mark {
	r := &m.MarkRecord
	return decided.Mark{
		MarkRecord: detect.MarkRecord{
			Capture: r.Capture, Mark: r.Mark, Panel: r.Panel, Class: r.Class, Odds: r.Odds, Rows: r.Rows, Position: r.Position,
		},
		Verdict: m.Verdict, Changed: m.Changed,
	}
}

// wayKey is where the run keeps what placing needs of a capture.
func wayKey(c *detect.CaptureRecord) string {
	return runstore.MetaWay + runstore.CaptureID(c.Capture, c.SHA256)
}

// keptWay is the way of one capture, nil when the run does not know it.
func keptWay(ctx context.Context, store *runstore.Store, c *detect.CaptureRecord) (*survey.Scene, error) {
	text, err := store.Meta(ctx, wayKey(c))
	if err != nil || text == "" {
		return nil, err
	}
	way, err := survey.ReadScene([]byte(text))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", c.Capture, err)
	}
	return way, nil
}

// keepWays keeps with the run what placing needs of every capture, so that marks drawn in a review are placed like found ones.
func keepWays(ctx context.Context, store *runstore.Store, src survey.Sources) error {
	if src.Track == nil && src.Manifest == nil {
		return nil
	}
	ways := map[string]string{}
	for c, err := range store.Captures(ctx) {
		if err != nil {
			return err
		}
		if c.Status != detect.StatusRead {
			continue
		}
		known, err := src.Know(c.Capture, nil)
		if err != nil {
			continue // a water temperature that no sea has: its record says so, and it has no scale to place anything by
		}
		scene := known.Scene
		if c.Time != nil {
			scene.Time = survey.AsRecorded(*c.Time)
		}
		way, err := scene.Keep(c.Panels)
		if err != nil {
			return fmt.Errorf("keeping the way of %s: %w", c.Capture, err)
		}
		ways[wayKey(c)] = string(way)
	}
	return store.SetMetas(ctx, maps.All(ways))
}

// decisionRecord is how the run keeps a decision: with the mark as it was, but for its evidence.
func decisionRecord(ctx context.Context, run *runstore.Store, d review.Decision) (json.RawMessage, error) {
	if d.Mark != "" && d.Seen == nil {
		m, err := run.Mark(ctx, d.Capture, d.Mark)
		if err != nil {
			return nil, err
		}
		if m != nil {
			m.Evidence = nil
			d.Seen = m
		}
	}
	return json.Marshal(d)
}
