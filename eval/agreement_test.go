package eval

import (
	"bytes"
	"errors"
	"image"
	_ "image/jpeg" // the demo's captures
	_ "image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/detect"
)

// drawnAndTrue is one capture with every fate of a drawn mark, and one capture on each side alone.
func drawnAndTrue() (drawn, truth Labels) {
	no := false
	shadowed := label(detect.BottomObject, box(100, 50, 20, 10))
	shadowed.Shadow = box(120, 50, 30, 10)
	missed := label(detect.SuspendedTarget, box(200, 200, 10, 10))
	faint := label(detect.SuspendedTarget, box(300, 20, 10, 10))
	faint.Contrast = ptr(0.1)
	fish := label(detect.SuspendedTarget, box(50, 150, 10, 10))
	fish.Shadow = box(90, 150, 10, 10)
	truth = Labels{Schema: 1, Captures: []CaptureLabel{
		{Capture: "captures/a.png", By: "scene", Marks: []MarkLabel{shadowed, missed, faint, fish}},
		{Capture: "captures/only-truth.png", By: "scene", Marks: []MarkLabel{label(detect.BottomObject, box(1, 1, 9, 9))}},
	}}
	rock := label(detect.BottomObject, box(100, 50, 20, 10))
	rock.Shadow = box(120, 50, 60, 10)
	unsureFish := label(detect.BottomObject, box(50, 150, 10, 10)) // right place, wrong class, unsure
	unsureFish.Sure = &no
	nothing := label(detect.BottomObject, box(10, 250, 12, 12))
	unsureNothing := label(detect.BottomObject, box(350, 250, 12, 12))
	unsureNothing.Sure = &no
	onFaint := label(detect.SuspendedTarget, box(300, 20, 10, 10))
	drawn = Labels{Schema: 1, Captures: []CaptureLabel{
		{Capture: "a.png", By: "hand", Marks: []MarkLabel{rock, unsureFish, nothing, unsureNothing, onFaint}},
		{Capture: "only-drawn.png", By: "hand", Marks: []MarkLabel{label(detect.BottomObject, box(1, 1, 9, 9))}},
	}}
	return drawn, truth
}

func TestAgreement(t *testing.T) {
	drawn, truth := drawnAndTrue()
	r, err := Agreement(t.Context(), drawn, truth, quick())
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(r.LeftOut, " "); r.Captures != 1 || got != "captures/only-truth.png only-drawn.png" {
		t.Errorf("%d captures compared, left out %q", r.Captures, got)
	}
	if r.Truth.Total != 4 || r.Truth.Counted != 3 || r.Drawn != 5 || r.Unsure != 2 {
		t.Errorf("truth %+v, %d drawn, %d unsure", r.Truth, r.Drawn, r.Unsure)
	}
	for _, tt := range []struct {
		name string
		got  Rate
		k, n int
	}{
		{"recall, all", r.All.Results.Detection.Recall, 2, 3},
		{"precision, all", r.All.Results.Detection.Precision, 2, 4}, // the mark on the faint label is neither right nor false
		{"class, all", r.All.Results.RightClass, 1, 2},
		{"recall, sure", r.Sure.Results.Detection.Recall, 1, 3},
		{"precision, sure", r.Sure.Results.Detection.Precision, 1, 2},
		{"class, sure", r.Sure.Results.RightClass, 1, 1},
		{"unsure right", r.Right, 1, 2},
		{"shadow drawn", r.All.ShadowSeen, 1, 2},
	} {
		low, high := Wilson(tt.k, tt.n, confidence)
		if tt.got.K != tt.k || tt.got.N != tt.n || tt.got.Low != low || tt.got.High != high {
			t.Errorf("%s: got %+v, want %d of %d in [%v, %v]", tt.name, tt.got, tt.k, tt.n, low, high)
		}
	}
	if r.All.HighlightIoU.Value != 1 || r.All.ShadowIoU.Value != 0.5 { // the drawn shadow is twice as long
		t.Errorf("overlap of highlights %v and shadows %v, want 1 and 0.5", r.All.HighlightIoU, r.All.ShadowIoU)
	}
	var b bytes.Buffer
	if err := WriteAgreementText(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"5 marks drawn, 2 of them unsure", "(2/3)", "only-drawn.png", strings.Join(detect.Cautions(), " ")} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("table lacks %q:\n%s", want, b.String())
		}
	}
}

func TestAgreementOfTruthWithItself(t *testing.T) {
	_, truth := drawnAndTrue()
	r, err := Agreement(t.Context(), truth, truth, quick())
	if err != nil {
		t.Fatal(err)
	}
	if d := r.All.Results.Detection; d.Recall.Value != 1 || d.Precision.Value != 1 || r.All.ShadowIoU.Value != 1 || len(r.LeftOut) != 0 {
		t.Errorf("recall %v, precision %v, shadows %v, left out %v", d.Recall, d.Precision, r.All.ShadowIoU, r.LeftOut)
	}
}

func TestAgreementRefuses(t *testing.T) {
	drawn, truth := drawnAndTrue()
	apart := Labels{Schema: 1, Captures: drawn.Captures[1:]}
	if _, err := Agreement(t.Context(), apart, truth, quick()); err == nil || !strings.Contains(err.Error(), "no capture is in both") {
		t.Errorf("labels of other captures: %v", err)
	}
	drawn.Captures[0].Marks[0].Class = "wreck"
	if _, err := Agreement(t.Context(), drawn, truth, quick()); !errors.Is(err, errLabels) || !strings.Contains(err.Error(), "wreck") {
		t.Errorf("unknown class: %v", err)
	}
}

// The stored labels drawn by eye must hold together and lie inside their pictures.
func TestStoredHandLabels(t *testing.T) {
	demo := filepath.Join("..", "testdata", "demo")
	l, err := Load(filepath.Join(demo, "hand", "labels.json"))
	if err != nil {
		t.Fatal(err)
	}
	sizes := map[string]image.Point{}
	for _, c := range l.Captures {
		f, err := os.Open(filepath.Join(demo, filepath.FromSlash(c.Capture)))
		if err != nil {
			t.Fatal(err)
		}
		cfg, _, err := image.DecodeConfig(f)
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", c.Capture, err)
		}
		sizes[c.Capture] = image.Pt(cfg.Width, cfg.Height)
	}
	if err := l.Check(sizes); err != nil {
		t.Fatal(err)
	}
}

func TestWriteSummary(t *testing.T) {
	run, labels := survey()
	r, err := Score(t.Context(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteSummary(&b, true, Summary("a | b\nc", r)); err != nil {
		t.Fatal(err)
	}
	if err := WriteSummary(&b, false, TileSummary("tiles", TileResult{})...); err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(b.String()), "\n")
	if len(rows) != 5 || !strings.HasPrefix(rows[2], `| a \| b c | 4 | 0.500 [0.150, 0.850] (2/4) |`) ||
		!strings.HasPrefix(rows[4], "| tiles, second half | 0 | – |") {
		t.Errorf("got\n%s", b.String())
	}
	for _, row := range rows {
		if n := strings.Count(strings.ReplaceAll(row, `\|`, ""), "|"); n != 9 {
			t.Errorf("%d bars in %q, want 9", n, row)
		}
	}
}
