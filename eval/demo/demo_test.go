package demo_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"shadowgap/eval"
	"shadowgap/eval/demo"
)

// stored is where the survey lies in the repository.
const stored = "../../testdata/demo"

var update = flag.Bool("update", false, "write the whole survey anew")

func TestStoredSurvey(t *testing.T) {
	if *update {
		if err := os.RemoveAll(filepath.Join(stored, "captures")); err != nil {
			t.Fatal(err)
		}
		if err := demo.Write(context.Background(), stored); err != nil {
			t.Fatal(err)
		}
	}
	truth, err := eval.Load(filepath.Join(stored, "truth", "labels.json"))
	if err != nil {
		t.Fatal(err)
	}
	labels := map[string]eval.CaptureLabel{}
	for _, c := range truth.Captures {
		labels[c.Capture] = c
	}
	v := demo.New()
	read := func(name string) []byte {
		t.Helper()
		data, err := os.ReadFile(filepath.Join(stored, name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	manifest, err := v.Manifest()
	if err != nil || !bytes.Equal(manifest, read("manifest.csv")) {
		t.Errorf("manifest.csv differs from a new one (%v)", err)
	}
	gpx, err := v.GPX()
	if err != nil || !bytes.Equal(gpx, read("track.gpx")) {
		t.Errorf("track.gpx differs from a new one (%v)", err)
	}
	files, err := os.ReadDir(filepath.Join(stored, "captures"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(v.Shots) {
		t.Errorf("%d files, %d captures in the survey", len(files), len(v.Shots))
	}
	size := 0
	for i, s := range v.Shots {
		data := read(filepath.Join("captures", s.Name))
		size += len(data)
		label, known := labels["captures/"+s.Name]
		if known != (s.Cut == 0) {
			t.Errorf("%s: truth stored: %v", s.Name, known)
		}
		// Some of every sort: drawing all would take half a minute.
		if i%9 != 2 && !s.Chart && s.Cut == 0 {
			continue
		}
		again, want, err := v.Render(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(again, data) {
			t.Errorf("%s differs from a new one", s.Name)
		}
		if want == nil {
			continue
		}
		a, errA := json.Marshal(label)
		b, errB := json.Marshal(want)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: its truth differs from a new one (%v, %v)", s.Name, errA, errB)
		}
	}
	if size > 12<<20 {
		t.Errorf("captures hold %d bytes, want at most 12 MiB", size)
	}
}
