package main

import (
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/models"
)

// A fit on developing or sealed seeds is refused before anything is rendered or read.
func TestRefitRefusesSeedsThatAreForScoring(t *testing.T) {
	for name, s := range map[string]settings{
		"developing":          {scenes: 1, first: 100_000},
		"reaching developing": {scenes: 2, first: 99_999},
		"sealed":              {scenes: 300, first: 900_000},
		"set into pictures":   {setIn: 2, first: 99_999, open: "none", data: "none"},
	} {
		if err := run(t.Context(), s); !errors.Is(err, eval.ErrUnseen) {
			t.Errorf("%s: %v, want %v", name, err, eval.ErrUnseen)
		}
	}
}

func file(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func picture(t *testing.T, path string) {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 120, 120))
	img.SetGray(60, 60, color.Gray{255})
	var b strings.Builder
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	file(t, path, []byte(b.String()))
}

// Pictures of half B, and the second half of the tiles, are no pictures here: a fit that opens one of them fails.
func TestRefitReadsNothingOfTheOtherHalf(t *testing.T) {
	open, data := t.TempDir(), t.TempDir()
	labels := eval.Labels{Schema: eval.SchemaVersion}
	for _, name := range []string{"swaths/a-1.png", "swaths/b-1.png"} {
		labels.Captures = append(labels.Captures, eval.CaptureLabel{Capture: name, By: "hand", Marks: []eval.MarkLabel{}, Humps: [][2]int{}})
	}
	if err := eval.WriteJSON(filepath.Join(data, "labels.json"), labels); err != nil {
		t.Fatal(err)
	}
	file(t, filepath.Join(data, "halves.json"), []byte(`{"a":["swaths/a-*"],"b":["swaths/b-*"]}`))
	picture(t, filepath.Join(open, "swaths", "a-1.png"))
	file(t, filepath.Join(open, "swaths", "b-1.png"), []byte("no picture"))
	for _, part := range []string{"images", "masks"} {
		picture(t, filepath.Join(open, "river-effigy", part, "left_20240101000000H_1.png"))
		file(t, filepath.Join(open, "river-effigy", part, "left_20240101000000H_2.png"), []byte("no picture"))
	}
	s := settings{open: open, data: data, first: 1, views: filepath.Join(t.TempDir(), "views.bin")}
	sources, err := openSources(s)
	if err != nil {
		t.Fatal(err)
	}
	if want := 2 * len(variants); len(sources) != want {
		t.Errorf("%d sources, want %d: a swath and a tile in each variant", len(sources), want)
	}
	if err := run(t.Context(), s); err != nil {
		t.Errorf("a fit opened what it may not see: %v", err)
	}
	file(t, filepath.Join(open, "swaths", "a-1.png"), []byte("no picture"))
	if err := run(t.Context(), s); err == nil || !strings.Contains(err.Error(), "a-1.png") {
		t.Errorf("a broken picture of half A: %v, want an error that names it", err)
	}
}

// The trees weigh what the networks and the measured evidence say. Where one of them has changed, the trees are older than what they
// judge: fit them again, in the order that models/README.md gives.
func TestTreesAreFittedBehindTheseStages(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	const folder = "../../models"
	want, err := stagesOf(folder, m)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(folder, stagesFile))
	if err != nil {
		t.Fatal(err)
	}
	var got stages
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the trees were fitted behind %+v, and these are %+v", got, want)
	}
	dir := t.TempDir()
	if err := want.write(dir); err != nil {
		t.Fatal(err)
	}
	if again, err := os.ReadFile(filepath.Join(dir, stagesFile)); err != nil || string(again) != string(data) {
		t.Errorf("written again it differs (%v):\n%s", err, again)
	}
}

// Evidence that the trees were never shown, or that is no longer measured, is told by its name.
func TestTreesKnowTheEvidence(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	var d detect.Detector
	defer d.Close()
	measured := map[string]bool{}
	for _, name := range []string{"capture-001.jpg", "capture-002.jpg"} {
		pic, err := detect.Read(t.Context(), filepath.Join("../../testdata/demo/captures", name), detect.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		res, err := d.Run(context.Background(), pic.Image, detect.Options{KeepClutter: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, mark := range res.Marks {
			for e := range mark.Evidence {
				measured[e] = true
			}
		}
	}
	for e := range measured {
		if !slices.Contains(m.Features, e) {
			t.Errorf("%q is measured, and the trees don't know it", e)
		}
	}
	for _, f := range m.Features {
		if !measured[f] {
			t.Errorf("the trees weigh %q, which is not measured", f)
		}
	}
}
