package refit

import (
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/models/fit"
)

const modelsFolder = "../../models"

// What several runs have found is what trees are fitted on: each part comes back as it was, and the trees say what they come from.
func TestParts(t *testing.T) {
	dir := t.TempDir()
	first, second := filepath.Join(dir, "first"), filepath.Join(dir, "second")
	for _, s := range []Settings{
		{Scenes: 1, First: 4, Thin: 0.5, Samples: first, Models: modelsFolder},
		{Others: 1, First: 5, Thin: 0.5, Samples: second, Models: modelsFolder},
	} {
		if err := Run(t.Context(), s, io.Discard); err != nil {
			t.Fatalf("%s: %v", s.Samples, err)
		}
	}
	s := Settings{From: []string{first, second}, Models: modelsFolder}
	parts, err := s.readParts()
	if err != nil {
		t.Fatal(err)
	}
	if len(parts) != 2 || parts[0].Scenes != 1 || parts[0].First != 4 || parts[1].Others != 1 || parts[1].First != 5 {
		t.Fatalf("parts of %+v", parts)
	}
	stands := 0.0
	for _, p := range parts {
		if len(p.Samples) == 0 {
			t.Fatal("a part without samples")
		}
		for _, x := range p.Samples {
			if x.Class == string(detect.Clutter) {
				stands = max(stands, x.Stands)
			}
		}
	}
	if stands != 2 {
		t.Errorf("clutter stands for %v each, want 2: half of it is left", stands)
	}
	again := filepath.Join(dir, "again")
	if err := parts[0].write(again); err != nil {
		t.Fatal(err)
	}
	s.From = []string{again}
	if back, err := s.readParts(); err != nil || !reflect.DeepEqual(back[0], parts[0]) {
		t.Errorf("written again it differs (%v)", err)
	}
	parts[0].Held = []string{"real-3_*"}
	source := sourceOf(parts)
	for _, want := range []string{"1 rendered scenes, seeds 4 to 4", "1 captures of each of 12 worlds", "real-3_*"} {
		if !strings.Contains(source, want) {
			t.Errorf("the trees' source %q lacks %q", source, want)
		}
	}
	if strings.Contains(source, "0 rendered scenes") {
		t.Errorf("the trees' source tells of nothing: %q", source)
	}
}

// Parts that don't belong together, or not to the networks as they are, are no parts of one fit.
func TestPartsThatDoNotBelong(t *testing.T) {
	dir := t.TempDir()
	behind, err := sumsOf(modelsFolder)
	if err != nil {
		t.Fatal(err)
	}
	of := func(groups ...string) (all []fit.Sample) {
		for _, g := range groups {
			all = append(all, fit.Sample{Group: g})
		}
		return all
	}
	good := part{
		Scenes: 10, First: 100, Held: []string{"real-3_*", "tile-x"}, Behind: behind, Samples: of("wide-100", "real-3_1.jpg", "tile-x"),
	}
	for name, tt := range map[string]struct {
		change func(p *part)
		want   string
	}{
		"as it should be": {func(*part) {}, ""},
		"another finder":  {func(p *part) { p.Behind = map[string]string{"finder": "another"} }, "other networks"},
		"another half of the real": {func(p *part) {
			p.Held, p.Samples = []string{"real-4_*", "tile-y"}, of("wide-200", "real-4_1.jpg", "tile-y")
		}, ""},
		"a tile held out of both": {func(p *part) { p.Held, p.Samples = []string{"real-4_*", "tile-x"}, of("tile-x") }, "both have tile-x"},
		"a picture that was seen": {func(p *part) { p.Held, p.Samples = nil, of("real-3_1.jpg") }, "both have real-3_1.jpg"},
		"another that was seen":   {func(p *part) { p.Held, p.Samples = nil, of("real-4_1.jpg") }, "real-4_1.jpg, which is none"},
		"more than is held out":   {func(p *part) { p.Held, p.Samples = []string{"real-4_*"}, of("real-6_1.jpg") }, "real-6_1.jpg, which"},
		"some of the same seeds":  {func(p *part) { p.First = 109 }, "seeds in common"},
		"seeds that are scored":   {func(p *part) { p.First = 200_001 }, eval.ErrUnseen.Error()},
		"seeds right behind them": {func(p *part) { p.First = 110 }, ""},
	} {
		other := good
		other.First = 200
		tt.change(&other)
		files := []string{filepath.Join(dir, "good"), filepath.Join(dir, "other")}
		for i, p := range []part{good, other} {
			if err := p.write(files[i]); err != nil {
				t.Fatal(err)
			}
		}
		s := Settings{From: files, Models: modelsFolder}
		_, err := s.readParts()
		if tt.want == "" && err != nil || tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)) {
			t.Errorf("%s: %v, want %q", name, err, tt.want)
		}
	}
}

func TestWhatAreNoPartsIsRefused(t *testing.T) {
	dir := t.TempDir()
	junk := filepath.Join(dir, "junk")
	if err := os.WriteFile(junk, []byte("not samples"), 0o644); err != nil {
		t.Fatal(err)
	}
	trees, gone := filepath.Join(dir, "trees"), filepath.Join(dir, "gone", "file")
	for name, tt := range map[string]struct {
		s    Settings
		want string
	}{
		"no such file":      {Settings{From: []string{filepath.Join(dir, "none")}, Trees: trees, Models: modelsFolder}, "none"},
		"another file":      {Settings{From: []string{junk}, Trees: trees, Models: modelsFolder}, "junk"},
		"nothing to make":   {Settings{From: []string{junk}}, "say where"},
		"read and written":  {Settings{From: []string{junk}, Trees: trees, Samples: junk, Thin: 1}, "one thing"},
		"views and paths":   {Settings{Scenes: 1, Views: junk, Paths: junk, Thin: 1}, "one thing"},
		"no clutter at all": {Settings{Scenes: 1, Samples: trees}, "part of the clutter"},
		// told before anything is looked at: the network apart, which can't be read, would be told of then
		"no folder for samples": {Settings{Scenes: 1, Samples: gone, Thin: 1, Apart: junk, Held: []string{"x"}}, gone + " can't be written"},
		"no folder for trees":   {Settings{Scenes: 1, Trees: gone, Thin: 1, Apart: junk, Held: []string{"x"}}, gone + " can't be written"},
	} {
		if err := Run(t.Context(), tt.s, io.Discard); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want one that says %q", name, err, tt.want)
		}
	}
}

// The path of a nadir is written with how far the true one runs beside it.
func TestPathsAreWritten(t *testing.T) {
	file := filepath.Join(t.TempDir(), "paths")
	if err := Run(t.Context(), Settings{Scenes: 3, First: 4, Thin: 1, Paths: file}, io.Discard); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	for _, line := range lines {
		checkPath(t, line)
	}
}

func checkPath(t *testing.T, line string) {
	t.Helper()
	var p pathTold
	if err := json.Unmarshal([]byte(line), &p); err != nil {
		t.Fatal(err)
	}
	if p.Group == "" || math.Abs(p.Off) >= detect.BesideReach || p.Cell <= 0 {
		t.Errorf("path of %q, off by %v, cells of %v columns", p.Group, p.Off, p.Cell)
	}
	for _, plane := range [][]float32{p.Beside.Strength, p.Beside.Spread, p.Beside.Drawn, p.Beside.Inside} {
		if len(plane) != 2*besideReach+1 {
			t.Fatalf("%q: %d columns, want %d", p.Group, len(plane), 2*besideReach+1)
		}
	}
	if p.Beside.Inside[besideReach] < 0.99 {
		t.Errorf("%q: the path's own column lies in %v of the rows", p.Group, p.Beside.Inside[besideReach])
	}
}
