// Package figures holds the bounds that a score is held to, gathers what a score measured from its parts' results.json, and writes the
// tables that the README quotes. It knows the files, not what is in them: where a figure lies is said in bounds.json.
package figures

import (
	"bytes"
	_ "embed" // the bounds
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// Schema is the schema number of bounds.json and of a summary.
const Schema = 1

//go:embed bounds.json
var boundsFile []byte

// Bounds says what is measured, where it stands and what it is held to.
type Bounds struct {
	Schema  int      `json:"schema"`
	Columns []Named  `json:"columns"` // of the table of bounds
	Bounds  []Bound  `json:"bounds"`
	Sets    []Source `json:"sets"` // rows of the table of sets
	Peers   struct {
		Methods []Named  `json:"methods"` // "" is this project's own
		Sets    []Source `json:"sets"`
	} `json:"peers"`
}

// Named is a key with what a reader calls it.
type Named struct {
	Key  string `json:"key"`
	Name string `json:"name"`
}

// Bound is one figure in one or more columns, with what it is held to. Without Least and Most it is only told.
type Bound struct {
	Key    string            `json:"key"`
	What   string            `json:"what"`
	Least  *float64          `json:"least,omitempty"`
	Most   *float64          `json:"most,omitempty"`
	Digits int               `json:"digits"`
	At     map[string]string `json:"at"` // by column: the part's folder, a colon, and the path in its results.json
}

// Source is a set of captures that was scored as one part, a score against labels or, with Tiles, one of tiles.
type Source struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Under string `json:"under,omitempty"` // path of the score in the part's results.json
	Tiles string `json:"tiles,omitempty"` // part and path of a half
}

// Project returns the project's own bounds.
func Project() (*Bounds, error) {
	dec := json.NewDecoder(bytes.NewReader(boundsFile))
	dec.DisallowUnknownFields()
	var b Bounds
	if err := dec.Decode(&b); err != nil {
		return nil, fmt.Errorf("reading bounds: %w", err)
	}
	return &b, b.check()
}

func (b *Bounds) check() error {
	if b.Schema != Schema {
		return fmt.Errorf("reading bounds: schema %d, want %d", b.Schema, Schema)
	}
	columns, seen := map[string]bool{}, map[string]bool{}
	for _, c := range b.Columns {
		columns[c.Key] = true
	}
	for _, x := range b.Bounds {
		if seen[x.Key] || x.Key == "" || x.What == "" || (x.Least != nil && x.Most != nil) {
			return fmt.Errorf("reading bounds: %q: named twice or not at all, or held to two bounds", x.Key)
		}
		seen[x.Key] = true
		for column, at := range x.At {
			if part, path, ok := strings.Cut(at, ":"); !ok || part == "" || path == "" || !columns[column] {
				return fmt.Errorf("reading bounds: %q: %q in column %q", x.Key, at, column)
			}
		}
	}
	return nil
}

// Value is a figure with its 95 % interval, where it has one.
type Value struct {
	Value float64  `json:"value"`
	Low   *float64 `json:"low,omitempty"`
	High  *float64 `json:"high,omitempty"`
	// Detector is the fingerprint of the detector it was measured on.
	Detector string `json:"detector"`
}

// Summary is what is kept of a score.
type Summary struct {
	Schema   int              `json:"schema"`
	Detector string           `json:"detector"` // fingerprint of what the last score ran
	Values   map[string]Value `json:"values"`   // by key: see key
}

// key names a figure: that of a bound in a column, or a measure of a set.
func key(of, what string) string { return of + "." + what }

// The measures of a set.
const (
	measureCaptures = "captures"
	measureRecall   = "recall"
	measureFalse    = "false"
	measureRight    = "right-class"
	measureMedian   = "first-return-median"
	measureP95      = "first-return-p95"
	measureAtOne    = "recall-at-1" // at up to one false mark a capture, by whatever level
)

// Gather reads the results.json of every part below dir. A part that is not there is left out: what it measured is taken from before,
// the last summary, which may be nil, and keeps the fingerprint of the detector it was measured on. A part that is there but lacks a
// figure which the bounds name is an error.
func Gather(dir, detector string, b *Bounds, before *Summary) (*Summary, error) {
	s := &Summary{Schema: Schema, Detector: detector, Values: map[string]Value{}}
	parts := map[string]any{}
	take := func(name, part, path string) error {
		root, known := parts[part]
		if !known {
			var err error
			if root, err = readPart(filepath.Join(dir, part, "results.json")); err != nil {
				return err
			}
			parts[part] = root
		}
		if root == nil {
			if v, ok := before.value(name); ok {
				s.Values[name] = v
			}
			return nil
		}
		v, ok, err := lookUp(root, path)
		if err != nil {
			return fmt.Errorf("%s of %s: %w", path, part, err)
		}
		if ok {
			v.Detector = detector
			s.Values[name] = v
		}
		return nil
	}
	for _, x := range b.Bounds {
		for column, at := range x.At {
			part, path, _ := strings.Cut(at, ":")
			if err := take(key(x.Key, column), part, path); err != nil {
				return nil, err
			}
		}
	}
	for _, set := range b.Sets {
		if err := takeSet(take, set, set.Key, ""); err != nil {
			return nil, err
		}
	}
	for _, m := range b.Peers.Methods {
		for _, set := range b.Peers.Sets {
			name, prefix := peerKey(m, set), ""
			if m.Key != "" {
				prefix = "peer-" + m.Key + "-"
			}
			if err := takeSet(take, set, name, prefix); err != nil {
				return nil, err
			}
			if set.Tiles != "" { // other marks in tiles are not known to be false
				continue
			}
			if err := take(key(name, measureAtOne), prefix+set.Key, "froc.at[false_per_capture=1].recall"); err != nil {
				return nil, err
			}
		}
	}
	return s, nil
}

// peerKey names a set as a method sees it.
func peerKey(m Named, set Source) string {
	if m.Key == "" {
		return set.Key
	}
	return "peer-" + m.Key + "-" + set.Key
}

// takeSet takes the measures of a set under the name given, from the part's folder, whose name prefix comes before.
func takeSet(take func(name, part, path string) error, set Source, name, prefix string) error {
	paths := map[string]string{
		measureCaptures: "captures.labelled", measureRecall: "detection.recall", measureFalse: "detection.false_per_capture",
		measureRight: "right_class", measureMedian: "first_return_px.median", measureP95: "first_return_px.p95",
	}
	part, under := set.Key, set.Under
	if set.Tiles != "" {
		part, under, _ = strings.Cut(set.Tiles, ":")
		paths = map[string]string{measureCaptures: "tiles", measureRecall: "found", measureFalse: "other_marks", measureRight: "right_class"}
	}
	for what, path := range paths {
		if under != "" {
			path = under + "." + path
		}
		if err := take(key(name, what), prefix+part, path); err != nil {
			return err
		}
	}
	return nil
}

func (s *Summary) value(name string) (Value, bool) {
	if s == nil {
		return Value{}, false
	}
	v, ok := s.Values[name]
	return v, ok
}

// readPart returns nil for a part that was not scored.
func readPart(file string) (any, error) {
	var root any
	_, err := read(file, "a part of the score", &root)
	return root, err
}

// read decodes a JSON file; there is false, and v as it was, when there is no such file. what says in errors what the file is.
func read(file, what string, v any) (there bool, err error) {
	data, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("reading %s: %w", what, err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		return false, fmt.Errorf("reading %s: %s: %w", what, file, err)
	}
	return true, nil
}

// lookUp finds a figure by names parted by dots; name[field=number] is the entry of a list whose field is that. ok is false where there
// was nothing to measure.
func lookUp(root any, path string) (v Value, ok bool, err error) {
	at := root
	for _, step := range strings.Split(path, ".") {
		name, filter, listed := strings.Cut(strings.TrimSuffix(step, "]"), "[")
		object, isObject := at.(map[string]any)
		next, there := object[name]
		if !isObject || !there {
			return v, false, fmt.Errorf("no %q there", name)
		}
		if next == nil { // a list or figure of nothing
			return v, false, nil
		}
		if listed {
			field, want, _ := strings.Cut(filter, "=")
			if next, err = entry(next, field, want); err != nil {
				return v, false, err
			}
		}
		at = next
	}
	switch x := at.(type) {
	case float64:
		return Value{Value: x}, true, nil
	case map[string]any:
		value, there := x["value"]
		if !there {
			return v, false, errors.New("no figure")
		}
		if value == nil {
			return v, false, nil
		}
		v.Value, ok = value.(float64)
		if !ok {
			return v, false, errors.New("no figure")
		}
		for name, into := range map[string]**float64{"low": &v.Low, "high": &v.High} {
			if n, isNumber := x[name].(float64); isNumber {
				*into = &n
			}
		}
		return v, true, nil
	}
	return v, false, errors.New("no figure")
}

func entry(list any, field, want string) (any, error) {
	number, err := strconv.ParseFloat(want, 64)
	if err != nil {
		return nil, fmt.Errorf("entry with %s %q: %w", field, want, err)
	}
	entries, _ := list.([]any)
	for _, e := range entries {
		if object, ok := e.(map[string]any); ok && object[field] == number {
			return e, nil
		}
	}
	return nil, fmt.Errorf("no entry with %s %s", field, want)
}

// Load reads a summary; one that is not there is nil.
func Load(file string) (*Summary, error) {
	var s Summary
	if there, err := read(file, "a summary", &s); err != nil || !there {
		return nil, err
	}
	if s.Schema != Schema {
		return nil, fmt.Errorf("reading a summary: %s: schema %d, want %d", file, s.Schema, Schema)
	}
	return &s, nil
}

// Save writes a summary; equal ones give equal bytes.
func (s *Summary) Save(file string) error {
	data, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return fmt.Errorf("writing a summary: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return fmt.Errorf("writing a summary: %w", err)
	}
	if err := os.WriteFile(file, append(data, '\n'), 0o644); err != nil {
		return fmt.Errorf("writing a summary: %w", err)
	}
	return nil
}
