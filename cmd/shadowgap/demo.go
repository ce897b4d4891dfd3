package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"shadowgap/eval"
	"shadowgap/eval/scene"
	"shadowgap/models/network"
)

type demoCmd struct {
	Out   string `short:"o" default:"demo" placeholder:"DIR" help:"Folder for the demo, default demo; one from an earlier demo is used again."`
	Count int    `default:"16" help:"How many captures to render."`
	Seed  int64  `default:"7001" help:"The same seed gives the same captures."`
}

// Run shows the whole job on an invented lake.
func (d demoCmd) Run(con *console) error {
	if d.Count < 1 {
		return usage("--count %d: must be 1 or more", d.Count)
	}
	captures, run := filepath.Join(d.Out, "captures"), filepath.Join(d.Out, "run")
	labels := filepath.Join(captures, "labels.json")
	if _, err := os.Stat(d.Out); err == nil {
		// Labels are written last, so a demo that was stopped while it rendered has none.
		if _, err := os.Stat(captures); err != nil {
			return usage("%s is there but is no demo of ours; give --out another folder", d.Out)
		}
	}
	if err := network.Check(); err != nil { // before a minute of rendering
		return err
	}
	fmt.Fprintf(con.out, "Rendering %s of an invented lake into %s\n\n", count(d.Count, "capture"), captures)
	if err := renderScenes(con.ctx, captures, d.Seed, d.Count, scene.Kinds()); err != nil {
		return unwritable(err)
	}
	manifest := filepath.Join(captures, sceneManifest)
	typed := *con // as who triages these captures by hand would have typed it: the run's page says how to do so again
	typed.args = []string{"triage", captures, "--out", run, "--manifest", manifest}
	t := triageCmd{
		Paths: []string{captures}, Out: run, knowledge: knowledge{Units: "m", Manifest: manifest},
		Memory: "2GiB", MaxFile: "512MiB", MaxPixels: 100_000_000, Limit: 60 * time.Second, Pictures: "all", Timings: true,
	}
	if err := t.Run(&typed); err != nil {
		return err
	}
	scored, err := readRun(con.ctx, run)
	if err != nil {
		return err
	}
	results, err := scoreAgainst(con.ctx, scored, labels, "", eval.DefaultOptions())
	if err != nil {
		return err
	}
	report := filepath.Join(run, "report.html")
	if err := eval.WriteHTML(con.ctx, report, "An invented lake", results, scored.InputRoot, nil); err != nil {
		return err
	}
	found := results.Detection
	wrong := found.Precision.N - found.Precision.K
	verb := "are"
	if wrong == 1 {
		verb = "is"
	}
	fmt.Fprintf(con.out, "\nAgainst what is really there: %d of %d things found, %s that %s none.\n",
		found.Recall.K, found.Recall.N, count(wrong, "mark"), verb)
	fmt.Fprintf(con.out, "The report is %s; \"shadowgap score %s --labels %s\" prints it.\n", report, run, labels)
	return nil
}
