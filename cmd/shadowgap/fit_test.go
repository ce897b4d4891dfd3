package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/scene"
	"shadowgap/internal/review"
	"shadowgap/models"
	"shadowgap/models/fit"
)

// learnable renders captures, triages them and returns the run and the file of their truth.
func learnable(t *testing.T) (captures, run, labels string) {
	t.Helper()
	captures = filepath.Join(t.TempDir(), "captures")
	kinds := []scene.Kind{scene.KindFish, scene.KindMixed, scene.KindTimber, scene.KindStructure}
	if err := renderScenes(context.Background(), captures, 601, 12, kinds); err != nil {
		t.Fatal(err)
	}
	run = filepath.Join(t.TempDir(), "run")
	if code, _, stderr := shadowgap(t, "triage", captures, "--out", run, "--pictures", "none"); code != exitRead {
		t.Fatalf("triage: exit status %d\n%s", code, stderr)
	}
	return captures, run, filepath.Join(captures, "labels.json")
}

// spoilt writes the model the program ships with, its odds bent towards the unlikely.
func spoilt(t *testing.T) string {
	t.Helper()
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	bad := *m
	bad.Scale, bad.Bias = m.Scale/8, []float64{2, -1, 1, -2}
	bad.Version = "spoilt"
	data, err := bad.Encode()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "spoilt.json.gz")
	write(t, file, data)
	return file
}

// TestFit shares one run, which takes the longest to make; decisions are added to it last.
func TestFit(t *testing.T) {
	captures, run, labels := learnable(t)
	t.Run("mends a spoilt model, and triage names it", func(t *testing.T) { mends(t, captures, run, labels) })
	t.Run("refuses what scores worse", func(t *testing.T) { refuses(t, run, labels) })
	t.Run("learns from decisions", func(t *testing.T) { learnsFromDecisions(t, run) })
}

func mends(t *testing.T, captures, run, labels string) {
	out := filepath.Join(t.TempDir(), "model.json.gz")
	code, stdout, stderr := shadowgap(t, "fit", "--runs", run, "--labels", labels, "--model", spoilt(t), "--out", out)
	if code != exitRead || stderr != "" {
		t.Fatalf("exit status %d\n%s%s", code, stdout, stderr)
	}
	for _, want := range []string{"12 captures to learn from", "log loss", "held out"} {
		if !strings.Contains(stdout, want) {
			t.Errorf("the report lacks %q:\n%s", want, stdout)
		}
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	m, err := models.Parse(data)
	if err != nil {
		t.Fatal(err)
	}
	if p := m.Provenance; !strings.Contains(p.Source, "labels.json") || !strings.Contains(p.Source, "held out: log loss") ||
		p.Samples["clutter"] == 0 {
		t.Errorf("provenance %+v", p)
	}
	again := filepath.Join(t.TempDir(), "again")
	if code, _, stderr := shadowgap(t, "triage", captures, "--out", again, "--pictures", "none", "--model", out); code != exitRead {
		t.Fatalf("triage with the model: exit status %d\n%s", code, stderr)
	}
	lines, err := os.ReadFile(filepath.Join(again, "captures.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(lines, []byte(`"model":"`+m.Version+`"`)); n != 12 {
		t.Errorf("%d of 12 captures name model %s", n, m.Version)
	}
}

func refuses(t *testing.T, run, labels string) {
	l, err := eval.Load(labels)
	if err != nil {
		t.Fatal(err)
	}
	got, err := readRun(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	sums := map[string]string{}
	for _, c := range got.Captures {
		sums[c.Capture] = c.SHA256
	}
	// What is fitted on is labelled wrong, what is held out is labelled right.
	swap := map[detect.Class]detect.Class{detect.BottomObject: detect.SuspendedTarget, detect.SuspendedTarget: detect.BottomObject,
		detect.RaisedStructure: detect.Clutter}
	for i := range l.Captures {
		if _, held := heldOut([]fit.Sample{{Group: sums[l.Captures[i].Capture]}}); len(held) > 0 {
			continue
		}
		for j := range l.Captures[i].Marks {
			l.Captures[i].Marks[j].Class = swap[l.Captures[i].Marks[j].Class]
		}
	}
	data, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	wrong := filepath.Join(t.TempDir(), "wrong.json")
	write(t, wrong, data)
	out := filepath.Join(t.TempDir(), "model.json.gz")
	code, stdout, stderr := shadowgap(t, "fit", "--runs", run, "--labels", wrong, "--out", out)
	if code != exitFailed || !strings.Contains(stderr, "does no better on the captures held out") || !strings.Contains(stdout, "before") {
		t.Errorf("exit status %d\n%s%s", code, stdout, stderr)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a model that scores worse was written")
	}
}

func TestFitUsage(t *testing.T) {
	captures := scenes(t, 3)
	run := filepath.Join(t.TempDir(), "run")
	if code, _, stderr := shadowgap(t, "triage", captures, "--out", run, "--pictures", "none"); code != exitRead {
		t.Fatal(stderr)
	}
	labels := filepath.Join(captures, "labels.json")
	stranger := filepath.Join(t.TempDir(), "labels.json")
	write(t, stranger, []byte(`{"schema":1,"captures":[{"capture":"elsewhere.png","by":"hand",`+
		`"first_return":{"port":null,"starboard":null},"marks":[],"humps":[]}]}`))
	for _, tt := range []struct {
		name string
		args []string
		says string
	}{
		{"nothing decided", []string{"--runs", run}, "nothing to learn from"},
		{"too few captures", []string{"--runs", run, "--labels", labels}, "too few"},
		{"labels of no run", []string{"--runs", run, "--labels", stranger}, "none of the runs has it"},
		{"no run", []string{"--runs", captures, "--labels", labels}, "not a run folder"},
		{"no model", []string{"--runs", run, "--labels", labels, "--model", labels}, "no model that this program reads"},
		{"out is a folder", []string{"--runs", run, "--labels", labels, "--out", captures}, "is a folder"},
		{"out is a run's database", []string{"--runs", run, "--labels", labels, "--out", filepath.Join(run, "run.db")}, "no model"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			code, stdout, stderr := shadowgap(t, append([]string{"fit"}, tt.args...)...)
			if code != exitUsage || !strings.Contains(stderr, tt.says) || stdout != "" {
				t.Errorf("exit status %d, stdout %q, stderr %q; want %d and %q", code, stdout, stderr, exitUsage, tt.says)
			}
		})
	}
}

func TestDecisionLabels(t *testing.T) {
	at := func(x int) *detect.Box { return &detect.Box{X: x, Y: 10, W: 10, H: 10} }
	run := &eval.Run{InputRoot: "in"}
	for _, c := range []string{"a.png", "b.png", "c.png"} {
		run.Captures = append(run.Captures, detect.CaptureRecord{Capture: c})
	}
	for i, id := range []string{"kept", "thrown", "other", "unsure", "passed over"} {
		run.Marks = append(run.Marks, detect.MarkRecord{Capture: "a.png", Mark: id, Class: detect.BottomObject, Highlight: at(50 * i)})
	}
	run.Marks = append(run.Marks, detect.MarkRecord{Capture: "b.png", Mark: "b", Class: detect.SuspendedTarget, Highlight: at(0)})
	now := time.Unix(1, 0)
	n := 0
	say := func(a review.Action, capture, mark string, class detect.Class) review.Decision {
		n++
		return review.Decision{ID: string(rune('a' + n)), At: now, Action: a, Capture: capture, Mark: mark, Class: class}
	}
	missed := say(review.Missed, "a.png", "", detect.RaisedStructure)
	missed.Shadow = at(300)
	got := decisionLabels(run, []review.Decision{
		say(review.Accept, "a.png", "kept", ""), say(review.Reject, "a.png", "thrown", ""),
		say(review.Change, "a.png", "other", detect.SuspendedTarget),
		say(review.Unsure, "a.png", "unsure", ""), missed, say(review.Done, "c.png", "", ""),
	})
	if len(got) != 2 || got["a.png"].whole || !got["c.png"].whole {
		t.Fatalf("got %+v, want a.png in part and c.png as a whole", got)
	}
	want := []struct {
		class detect.Class
		sure  bool
	}{
		{detect.BottomObject, true}, {detect.Clutter, true}, {detect.SuspendedTarget, true},
		{detect.BottomObject, false}, {detect.BottomObject, false}, {detect.RaisedStructure, true},
	}
	marks := got["a.png"].label.Marks
	if len(marks) != len(want) {
		t.Fatalf("%d labels, want %d", len(marks), len(want))
	}
	for i, w := range want {
		if sure := marks[i].Sure == nil || *marks[i].Sure; marks[i].Class != w.class || sure != w.sure {
			t.Errorf("label %d: %+v, want %+v", i, marks[i], w)
		}
	}
}

func learnsFromDecisions(t *testing.T, run string) {
	got, err := readRun(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	file := review.DecisionsFile{Schema: review.DecisionsSchema}
	for i, m := range got.Marks {
		d := review.Decision{ID: newID(), At: time.Unix(int64(i+1), 0), Action: review.Accept, Capture: m.Capture, Mark: m.Mark}
		if m.Class == detect.Clutter {
			d.Action = review.Reject
		}
		file.Decisions = append(file.Decisions, d)
	}
	for _, c := range got.Captures {
		file.Decisions = append(file.Decisions,
			review.Decision{ID: newID(), At: time.Unix(9999, 0), Action: review.Done, Capture: c.Capture})
	}
	data, err := json.Marshal(file)
	if err != nil {
		t.Fatal(err)
	}
	decisions := filepath.Join(t.TempDir(), "decisions.json")
	write(t, decisions, data)
	if code, _, stderr := shadowgap(t, "review", run, "--take", decisions); code != exitRead {
		t.Fatalf("taking decisions: exit status %d\n%s", code, stderr)
	}
	labelled := filepath.Join(t.TempDir(), "labels.json")
	if code, _, stderr := shadowgap(t, "export", run, "--as", "labels", "--out", labelled); code != exitRead ||
		!strings.Contains(stderr, "12 captures") {
		t.Errorf("exporting labels: exit status %d\n%s", code, stderr)
	}
	labels, err := eval.Load(labelled)
	if err != nil {
		t.Fatal(err)
	}
	drawn := 0
	for _, c := range labels.Captures {
		drawn += len(c.Marks)
	}
	if drawn != len(got.Marks) {
		t.Errorf("%d labels of %d accepted marks", drawn, len(got.Marks))
	}
	out := filepath.Join(t.TempDir(), "model.json.gz")
	code, stdout, stderr := shadowgap(t, "fit", "--runs", run, "--model", spoilt(t), "--out", out)
	if code != exitRead || !strings.Contains(stdout, "0 with labels, 12 with decisions") {
		t.Errorf("exit status %d\n%s%s", code, stdout, stderr)
	}
}

func TestScoreDrawnLabelsAndSummary(t *testing.T) {
	demo, out := filepath.Join("..", "..", "testdata", "demo"), t.TempDir()
	truth, hand, summary := filepath.Join(demo, "truth", "labels.json"), filepath.Join(demo, "hand", "labels.json"),
		filepath.Join(out, "summary.md")
	for range 2 {
		code, stdout, stderr := shadowgap(t, "score", "--drawn", hand, "--labels", truth, "--out", out, "--summary", summary, "--name",
			"by eye")
		if code != exitRead || !strings.Contains(stdout, "Drawn labels against the truth") {
			t.Fatalf("exit status %d\n%s%s", code, stdout, stderr)
		}
	}
	for _, name := range []string{"results.json", "report.html"} {
		if info, err := os.Stat(filepath.Join(out, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	table, err := os.ReadFile(summary)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Count(string(table), "\n|---") != 1 || strings.Count(string(table), "\n| by eye") != 4 {
		t.Errorf("want one head and four lines:\n%s", table)
	}
	for _, args := range [][]string{{"--drawn", hand}, {"run", "--drawn", hand, "--labels", truth}, {"--labels", truth}} {
		if code, _, stderr := shadowgap(t, append([]string{"score"}, args...)...); code != exitUsage {
			t.Errorf("%v: exit status %d\n%s", args, code, stderr)
		}
	}
}
