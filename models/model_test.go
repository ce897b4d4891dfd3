package models

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
)

// stump is a tree with one question: below cut (or missing) low, else high.
func stump(feature int, cut, low, high float64) Tree {
	return Tree{Feature: []int{feature, 0, 0}, Cut: []float64{cut, 0, 0}, Left: []int{1, 0, 0}, Right: []int{2, 0, 0},
		Value: []float64{0, low, high}}
}

// small is a model of three classes over two features, one feature a class and a class that asks both.
func small() *Model {
	m := &Model{
		Schema: SchemaVersion, Classes: []string{"a", "b", "c"}, Features: []string{"x", "y"}, Scale: 2, Bias: []float64{0.1, -0.2, 0},
		Trees: [][]Tree{{stump(0, 1, -0.5, 0.7)}, {stump(1, 0, 0.3, -0.4)}, {stump(0, 2, 0.2, -0.1), stump(1, 1, 0, 0.6)}},
	}
	m.Version = m.Fingerprint()
	return m
}

func encoded(t *testing.T, m *Model) []byte {
	t.Helper()
	b, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestParse(t *testing.T) {
	packed, err := small().Encode()
	if err != nil {
		t.Fatal(err)
	}
	again, err := small().Encode()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(packed, again) {
		t.Error("one model, two files")
	}
	for name, b := range map[string][]byte{"plain": encoded(t, small()), "packed": packed} {
		m, err := Parse(b)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !reflect.DeepEqual(m, small()) {
			t.Errorf("%s: came back as %+v", name, m)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	var bomb bytes.Buffer
	z := gzip.NewWriter(&bomb)
	blank := bytes.Repeat([]byte{' '}, 1<<20)
	for range maxModelBytes>>20 + 1 {
		if _, err := z.Write(blank); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	with := func(change func(m *Model)) []byte {
		m := small()
		change(m)
		return encoded(t, m)
	}
	packed, err := small().Encode()
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		file []byte
		want string
	}{
		"empty":          {nil, "parsing model"},
		"text":           {[]byte("not a model"), "parsing model"},
		"cut short":      {packed[:len(packed)/2], "parsing model"},
		"packed rubbish": {[]byte{0x1f, 0x8b, 1, 2, 3}, "parsing model"},
		"a bomb":         {bomb.Bytes(), "larger than"},
		"another schema": {with(func(m *Model) { m.Schema = 2 }), "schema 2"},
		"no schema":      {[]byte(`{}`), "schema 0"},
		"one class": {with(func(m *Model) { m.Classes, m.Bias, m.Trees = m.Classes[:1], m.Bias[:1], m.Trees[:1] }),
			"two classes"},
		"a bias too few":        {with(func(m *Model) { m.Bias = m.Bias[:2] }), "bias"},
		"trees of a class gone": {with(func(m *Model) { m.Trees = m.Trees[:2] }), "trees"},
		"arrays of odd length":  {with(func(m *Model) { m.Trees[0][0].Cut = m.Trees[0][0].Cut[:2] }), "length"},
		"an empty tree":         {with(func(m *Model) { m.Trees[0][0] = Tree{} }), "length"},
		"a loop":                {with(func(m *Model) { m.Trees[1][0].Right[0] = 0 }), "outside"},
		"back to itself":        {with(func(m *Model) { m.Trees[1][0].Left[1], m.Trees[1][0].Right[1] = 1, 2 }), "outside"},
		"a child too far":       {with(func(m *Model) { m.Trees[2][1].Left[0] = 3 }), "outside"},
		"a negative child":      {with(func(m *Model) { m.Trees[2][1].Left[0] = -1 }), "outside"},
		"an unknown feature":    {with(func(m *Model) { m.Trees[0][0].Feature[0] = 2 }), "outside"},
		"a negative feature":    {with(func(m *Model) { m.Trees[0][0].Feature[0] = -1 }), "outside"},
		"a number too large":    {[]byte(`{"schema":1,"scale":1e999}`), "parsing model"},
	} {
		_, err := Parse(tt.file)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", name, err, tt.want)
		}
	}
}

func TestOdds(t *testing.T) {
	m := small()
	for _, e := range []map[string]float64{
		nil, {"x": 3}, {"y": -1}, {"x": 0, "y": 5}, {"x": math.NaN(), "y": 1}, {"z": 4}, {"x": math.Inf(1)},
		{"x": math.Inf(-1), "y": 1e300},
	} {
		sum := 0.0
		odds := m.Odds(e)
		for _, p := range odds {
			if !(p > 0 && p < 1) {
				t.Errorf("%v: odds %v", e, odds)
			}
			sum += p
		}
		if len(odds) != 3 || math.Abs(sum-1) > 1e-12 {
			t.Errorf("%v: odds %v sum to %v", e, odds, sum)
		}
	}
	// own arithmetic: scores 2·0.7+0.1, 2·(−0.4)−0.2, 2·(−0.1+0.6)
	want := softmax([]float64{1.5, -1, 1})
	for c, p := range m.Odds(map[string]float64{"x": 2, "y": 1}) {
		if math.Abs(p-want[c]) > 1e-12 {
			t.Errorf("class %d: odds %.6f, want %.6f", c, p, want[c])
		}
	}
	if a, b := m.Odds(nil), m.Odds(map[string]float64{"x": math.NaN(), "unheard of": 9}); !reflect.DeepEqual(a, b) {
		t.Errorf("missing gives %v, not a number %v", a, b)
	}
	if p := softmax([]float64{2000, 2000 - math.Ln2}); math.Abs(p[0]-2./3) > 1e-12 || math.Abs(p[1]-1./3) > 1e-12 {
		t.Errorf("large scores: %v, want 2/3 and 1/3", p)
	}
}

func TestFingerprint(t *testing.T) {
	base := small().Fingerprint()
	if small().Fingerprint() != base {
		t.Fatal("one model, two versions")
	}
	for name, change := range map[string]func(m *Model){
		"scale":   func(m *Model) { m.Scale = 2.00001 },
		"bias":    func(m *Model) { m.Bias[2] = 1e-5 },
		"class":   func(m *Model) { m.Classes[0] = "z" },
		"feature": func(m *Model) { m.Features[1] = "z" },
		"leaf":    func(m *Model) { m.Trees[2][1].Value[2] += 1e-6 },
		"cut":     func(m *Model) { m.Trees[0][0].Cut[0] = 1.5 },
	} {
		m := small()
		if change(m); m.Fingerprint() == base {
			t.Errorf("another %s, the same version", name)
		}
	}
	m := small()
	if m.Provenance.Source = "elsewhere"; m.Fingerprint() != base {
		t.Error("the version hangs on where the samples came from")
	}
}

// The shipped model knows every class of the detector (detect/record.go lists them) and is what its version says.
func TestEmbedded(t *testing.T) {
	m, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"bottom-object", "suspended-target", "raised-structure", "clutter"}; !reflect.DeepEqual(m.Classes, want) {
		t.Errorf("classes %v, want %v", m.Classes, want)
	}
	if got := fmt.Sprintf("boosted-%d-%s", SchemaVersion, m.Fingerprint()); m.Version != got {
		t.Errorf("version %s, its numbers make %s", m.Version, got)
	}
	if m.Scale <= 0 {
		t.Errorf("scale %v turns the verdict round", m.Scale)
	}
	seen := map[string]bool{}
	for _, f := range m.Features {
		if f == "" || seen[f] {
			t.Errorf("feature %q is named twice or not at all", f)
		}
		seen[f] = true
	}
	for _, f := range []string{"gap", "gap-errors", "wet", "shadow-length", "highlight-spreads"} {
		if !seen[f] {
			t.Errorf("feature %q is not asked for", f)
		}
	}
	for c, trees := range m.Trees {
		if len(trees) == 0 || m.Provenance.Samples[m.Classes[c]] == 0 {
			t.Errorf("class %s has %d trees and %d samples", m.Classes[c], len(trees), m.Provenance.Samples[m.Classes[c]])
		}
	}
	if p := m.Provenance; p.Source == "" || !(p.LogLoss > 0 && p.LogLoss < math.Log(4)) || !(p.Accuracy > 0.5 && p.Accuracy < 1) {
		t.Errorf("provenance %+v", p)
	}
}

func BenchmarkOdds(b *testing.B) {
	m, err := Embedded()
	if err != nil {
		b.Fatal(err)
	}
	e := map[string]float64{}
	for i, f := range m.Features {
		e[f] = float64(i)
	}
	for b.Loop() {
		m.Odds(e)
	}
}
