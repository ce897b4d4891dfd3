package review

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"shadowgap/detect"
)

// DecisionsSchema is the schema number of decisions.json.
const DecisionsSchema = 1

// Action is what a reviewer did.
type Action string

// The actions. Undo takes back any other, an earlier Undo included; nothing is ever deleted from the history.
const (
	Accept Action = "accept"
	Reject Action = "reject"
	Unsure Action = "unsure"
	Change Action = "class"  // set the class
	Note   Action = "note"   // write a note; an empty one removes it
	Name   Action = "name"   // give a name of one's own; an empty one removes it
	Missed Action = "missed" // draw a mark the detector missed
	Done   Action = "done"   // the whole capture was looked at, so what is not marked is not there
	Undo   Action = "undo"
)

// Limits on what a reviewer can write, so that a broken client can't fill the run.
const (
	maxNote      = 2000
	maxKind      = 60
	maxName      = 60
	maxDecisions = 1 << 20
	maxFile      = 256 << 20
)

// Decision is one step of a review. Capture and Mark name what it is about, as in marks.jsonl.
type Decision struct {
	ID        string       `json:"id"` // 32 hex digits made by whoever decided; the same id is stored once
	At        time.Time    `json:"at"`
	Action    Action       `json:"action"`
	Capture   string       `json:"capture,omitempty"`
	Mark      string       `json:"mark,omitempty"`      // empty for Missed, Done and Undo
	Class     detect.Class `json:"class,omitempty"`     // of Change and Missed
	Kind      string       `json:"kind,omitempty"`      // of Missed: "rock", "timber", "fish", …
	Note      string       `json:"note,omitempty"`      // of Note and Missed
	Name      string       `json:"name,omitempty"`      // of Name and Missed
	Highlight *detect.Box  `json:"highlight,omitempty"` // of Missed, pixels of the capture
	Shadow    *detect.Box  `json:"shadow,omitempty"`    // of Missed, pixels of the capture
	Sure      *bool        `json:"sure,omitempty"`      // of Missed; nil means sure
	Undoes    string       `json:"undoes,omitempty"`    // of Undo: the id of the decision taken back
	Group     string       `json:"group,omitempty"`     // 32 hex digits that decisions taken in one step share; undo takes them back together

	// Seen is the mark as it was when it was decided on, without its evidence, so that the decision still holds when a later
	// triage finds the mark a little elsewhere or not at all. Whoever stores a decision fills it in; pages do without.
	Seen *detect.MarkRecord `json:"seen,omitempty"`
}

// DecisionStore keeps the decisions of one run, in the order they came. Implementations must be safe for concurrent use.
type DecisionStore interface {
	// Append stores decisions durably before it returns and says how many were new: one whose ID is there already is left as
	// it is.
	Append(ctx context.Context, ds ...Decision) (int, error)
	// All returns every decision, oldest first.
	All(ctx context.Context) ([]Decision, error)
}

// ErrBadDecision marks a decision that can't be right whatever the run holds.
var ErrBadDecision = errors.New("bad decision")

// errNotInRun marks a decision about a capture or mark that the run does not hold.
var errNotInRun = errors.New("not in this run")

// Index knows the captures and marks of a run, to check decisions against.
type Index struct {
	captures map[string]detect.CaptureRecord
	marks    map[markKey]detect.MarkRecord
}

type markKey struct{ capture, mark string }

// NewIndex indexes a run's records.
func NewIndex(caps []detect.CaptureRecord, marks []detect.MarkRecord) *Index {
	ix := &Index{make(map[string]detect.CaptureRecord, len(caps)), make(map[markKey]detect.MarkRecord, len(marks))}
	for _, c := range caps {
		ix.captures[c.Capture] = c
	}
	for _, m := range marks {
		ix.marks[markKey{m.Capture, m.Mark}] = m
	}
	return ix
}

// Check returns an error wrapping ErrBadDecision for a decision that is malformed and one wrapping errNotInRun for one about
// something the run does not hold.
func (ix *Index) Check(d Decision) error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrBadDecision, fmt.Sprintf(format, args...))
	}
	if !isID(d.ID) {
		return bad("id %.40q: want 32 hex digits", d.ID)
	}
	if d.At.IsZero() {
		return bad("no time")
	}
	if d.Group != "" && !isID(d.Group) {
		return bad("group %.40q: want 32 hex digits", d.Group)
	}
	if !utf8.ValidString(d.Note) || len(d.Note) > maxNote {
		return bad("note longer than %d bytes or not UTF-8", maxNote)
	}
	if !utf8.ValidString(d.Kind) || len(d.Kind) > maxKind {
		return bad("kind longer than %d bytes or not UTF-8", maxKind)
	}
	if !utf8.ValidString(d.Name) || len(d.Name) > maxName {
		return bad("name longer than %d bytes or not UTF-8", maxName)
	}
	switch d.Action {
	case Undo:
		if !isID(d.Undoes) {
			return bad("undo of id %.40q: want 32 hex digits", d.Undoes)
		}
		return nil
	case Change, Missed:
		if !slices.Contains(detect.Classes[:], d.Class) {
			return bad("unknown class %.40q", d.Class)
		}
	case Accept, Reject, Unsure, Note, Name, Done:
	default:
		return bad("unknown action %.40q", d.Action)
	}
	capt, ok := ix.captures[d.Capture]
	if !ok {
		return fmt.Errorf("capture %.200q: %w", d.Capture, errNotInRun)
	}
	switch d.Action {
	case Missed:
		return checkBoxes(d, capt)
	case Done:
		return nil
	}
	if _, ok := ix.marks[markKey{d.Capture, d.Mark}]; !ok {
		return fmt.Errorf("mark %.80q of capture %.200q: %w", d.Mark, d.Capture, errNotInRun)
	}
	return nil
}

func checkBoxes(d Decision, capt detect.CaptureRecord) error {
	if d.Highlight == nil && d.Shadow == nil {
		return fmt.Errorf("%w: a missed mark needs a box for its highlight or its shadow", ErrBadDecision)
	}
	for _, b := range []*detect.Box{d.Highlight, d.Shadow} {
		if b == nil {
			continue
		}
		if !fits(*b, capt.Width, capt.Height) {
			return fmt.Errorf("%w: box %d,%d %d × %d is empty or outside the picture of %d × %d",
				ErrBadDecision, b.X, b.Y, b.W, b.H, capt.Width, capt.Height)
		}
	}
	return nil
}

// fits tells whether a box holds something and lies in a picture of this size. Its numbers may be anything.
func fits(b detect.Box, width, height int) bool {
	return b.W > 0 && b.H > 0 && b.X >= 0 && b.Y >= 0 && b.X <= width-b.W && b.Y <= height-b.H
}

func isID(s string) bool {
	return len(s) == 32 && strings.Trim(s, "0123456789abcdef") == ""
}

// MarkState is where a mark stands after all decisions.
type MarkState struct {
	Verdict Action       // Accept, Reject, Unsure, or "" while open
	Class   detect.Class // as changed, or "" when it is the detector's
	Note    string
	Name    string
}

// State is where a run stands after all decisions.
type State struct {
	marks  map[markKey]MarkState
	seen   map[markKey]*detect.MarkRecord // as they were when they were decided on
	of     map[string][]string            // marks decided on, by capture, oldest decision first
	missed []Decision
	done   map[string]bool
}

// Mark returns where a mark stands; the zero MarkState when nothing was decided.
func (s *State) Mark(capture, mark string) MarkState { return s.marks[markKey{capture, mark}] }

// Missed returns the marks drawn by the reviewer that were not taken back, oldest first.
func (s *State) Missed() []Decision { return s.missed }

// Drew tells whether the reviewer drew a mark on a capture.
func (s *State) Drew(capture string) bool {
	return slices.ContainsFunc(s.missed, func(d Decision) bool { return d.Capture == capture })
}

// Done tells whether a capture was looked at to the end.
func (s *State) Done(capture string) bool { return s.done[capture] }

// Fold replays decisions, oldest first. A decision counts unless a later undo that itself counts takes it back.
func Fold(ds []Decision) *State {
	cancelled := make(map[string]bool)
	for _, d := range slices.Backward(ds) {
		if d.Action == Undo && !cancelled[d.ID] {
			cancelled[d.Undoes] = true
		}
	}
	s := &State{marks: map[markKey]MarkState{}, seen: map[markKey]*detect.MarkRecord{}, of: map[string][]string{}, done: map[string]bool{}}
	for _, d := range ds {
		if cancelled[d.ID] {
			continue
		}
		k := markKey{d.Capture, d.Mark}
		m, known := s.marks[k]
		switch d.Action {
		case Accept, Reject, Unsure:
			m.Verdict = d.Action
		case Change:
			m.Class = d.Class
		case Note:
			m.Note = d.Note
		case Name:
			m.Name = d.Name
		case Missed:
			s.missed = append(s.missed, d)
			continue
		case Done:
			s.done[d.Capture] = true
			continue
		default:
			continue
		}
		if !known {
			s.of[d.Capture] = append(s.of[d.Capture], d.Mark)
		}
		s.marks[k] = m
		if d.Seen != nil {
			s.seen[k] = d.Seen
		}
	}
	return s
}

// DecisionsFile is the content of decisions.json.
type DecisionsFile struct {
	Schema    int        `json:"schema"`
	Run       string     `json:"run"` // the page's run id, for people; not checked
	Decisions []Decision `json:"decisions"`
}

// ReadDecisions reads decisions.json. It returns an error for broken JSON, another schema number or an absurd size.
func ReadDecisions(r io.Reader) (*DecisionsFile, error) {
	var f DecisionsFile
	lr := &io.LimitedReader{R: r, N: maxFile + 1}
	if err := json.NewDecoder(lr).Decode(&f); err != nil {
		if lr.N <= 0 {
			return nil, fmt.Errorf("reading decisions: file is over %d MiB", maxFile>>20)
		}
		return nil, fmt.Errorf("reading decisions: %w", err)
	}
	if f.Schema != DecisionsSchema {
		return nil, fmt.Errorf("reading decisions: schema %d, want %d", f.Schema, DecisionsSchema)
	}
	if f.Decisions == nil {
		return nil, errors.New("reading decisions: it holds no list of decisions")
	}
	if len(f.Decisions) > maxDecisions {
		return nil, fmt.Errorf("reading decisions: %d decisions, at most %d are taken", len(f.Decisions), maxDecisions)
	}
	return &f, nil
}

// Taken reports what became of a decisions file.
type Taken struct {
	Added   int     `json:"added"`
	Known   int     `json:"known"` // were in the store already
	Skipped []error `json:"-"`     // about captures or marks the run does not hold
}

// Take stores the decisions of a file, in its order. A malformed one is an error that names its place, and then nothing is
// stored; decisions about what this run does not hold are skipped and reported.
func Take(ctx context.Context, store DecisionStore, ix *Index, f *DecisionsFile) (Taken, error) {
	var t Taken
	ok := make([]Decision, 0, len(f.Decisions))
	for i, d := range f.Decisions {
		switch err := ix.Check(d); {
		case errors.Is(err, errNotInRun):
			t.Skipped = append(t.Skipped, fmt.Errorf("decision %d: %w", i+1, err))
		case err != nil:
			return Taken{}, fmt.Errorf("taking decisions: decision %d: %w", i+1, err)
		default:
			ok = append(ok, d)
		}
	}
	added, err := store.Append(ctx, ok...)
	if err != nil {
		return Taken{}, fmt.Errorf("taking decisions: %w", err)
	}
	t.Added, t.Known = added, len(ok)-added
	return t, nil
}
