package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"shadowgap/eval/scene"
)

type sceneCmd struct {
	Out   string   `required:"" short:"o" placeholder:"DIR" help:"Folder for the captures and labels.json; new or empty."`
	Seed  int64    `default:"1" help:"The same seed gives the same captures."`
	Count int      `default:"16" help:"How many captures."`
	Kind  []string `placeholder:"KIND" help:"Kinds of scene to take in turn; default all but wide, the kind with rough bottoms, worse records and displays of every sort."`
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
	if entries, err := os.ReadDir(s.Out); err == nil && len(entries) > 0 {
		return usage("%s holds other files; give --out a new or empty folder", s.Out)
	}
	if err := renderScenes(con.ctx, s.Out, s.Seed, s.Count, kinds); err != nil {
		return err
	}
	fmt.Fprintf(con.out, "%s of an invented lake in %s, their truth in %s\n", count(s.Count, "capture"), s.Out, filepath.Join(s.Out, "labels.json"))
	return nil
}

// renderScenes renders n captures, the kinds in turn, with seeds from seed on.
func renderScenes(ctx context.Context, dir string, seed int64, n int, kinds []scene.Kind) error {
	set := make([]scene.Named, n)
	for i := range set {
		kind := kinds[i%len(kinds)]
		set[i] = scene.Named{Name: fmt.Sprintf("%s-%03d", kind, i+1), Spec: scene.Random(seed+int64(i), kind)}
	}
	return scene.WriteSet(ctx, dir, set)
}
