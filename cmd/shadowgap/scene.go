package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"shadowgap/eval"
	"shadowgap/eval/scene"
)

type sceneCmd struct {
	Out   string   `required:"" short:"o" placeholder:"DIR" help:"Folder for the captures and labels.json; new or empty."`
	Seed  int64    `default:"1" help:"The same seed gives the same captures."`
	Count int      `default:"16" help:"How many captures."`
	Kind  []string `placeholder:"KIND" help:"${scene_kind}"`
}

// Run renders.
func (s sceneCmd) Run(con *console) error {
	if s.Count < 1 {
		return usage("--count %d: must be 1 or more", s.Count)
	}
	kinds := scene.Kinds()
	if len(s.Kind) > 0 {
		kinds = nil
		for _, name := range s.Kind {
			k, err := scene.ParseKind(name)
			if err != nil {
				return usage("--kind: %v", err)
			}
			kinds = append(kinds, k)
		}
	}
	if err := needsFolder(s.Out); err != nil {
		return err
	}
	if entries, err := os.ReadDir(s.Out); err == nil && len(entries) > 0 {
		return usage("%s holds other files; give --out a new or empty folder", s.Out)
	}
	if err := renderScenes(con.ctx, s.Out, s.Seed, s.Count, kinds); err != nil {
		return unwritable(err)
	}
	fmt.Fprintf(con.out, "%s of an invented lake in %s, their truth in %s, their ranges in %s\n", count(s.Count, "capture"), s.Out,
		filepath.Join(s.Out, "labels.json"), filepath.Join(s.Out, sceneManifest))
	return nil
}

// sceneManifest is the file beside rendered captures that triage --manifest reads.
const sceneManifest = "manifest.csv"

// writeRanges writes what the crew would know of rendered captures: the range setting of those that are whole and in slant range. A
// cut picture no longer ends at its range, and on columns of ground range heights have no measure.
func writeRanges(dir string, set []scene.Named) error {
	labels, err := eval.Load(filepath.Join(dir, "labels.json"))
	if err != nil {
		return err
	}
	if len(labels.Captures) != len(set) {
		return fmt.Errorf("%s labels %d of %d captures", dir, len(labels.Captures), len(set))
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	rows := [][]string{{"capture", "range"}}
	for i, l := range labels.Captures {
		known := ""
		if s := &set[i].Spec; s.Output.CropW == 0 && !s.Display.SlantCorrected {
			known = strconv.FormatFloat(l.RangeM, 'g', -1, 64) + " m"
		}
		rows = append(rows, []string{l.Capture, known})
	}
	if err := w.WriteAll(rows); err != nil {
		return fmt.Errorf("writing the ranges of rendered captures: %w", err)
	}
	if err := os.WriteFile(filepath.Join(dir, sceneManifest), b.Bytes(), 0o644); err != nil {
		return fmt.Errorf("writing the ranges of rendered captures: %w", err)
	}
	return nil
}

// renderScenes renders n captures, the kinds in turn, with seeds from seed on, and writes their labels.json and manifest.csv.
func renderScenes(ctx context.Context, dir string, seed int64, n int, kinds []scene.Kind) error {
	set := make([]scene.Named, n)
	for i := range set {
		kind := kinds[i%len(kinds)]
		set[i] = scene.Named{Name: fmt.Sprintf("%s-%03d", kind, i+1), Spec: scene.Random(seed+int64(i), kind)}
	}
	if err := scene.WriteSet(ctx, dir, set); err != nil {
		return err
	}
	return writeRanges(dir, set)
}
