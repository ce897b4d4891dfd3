package review

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/overlay"
	"shadowgap/internal/overlay/overlaytest"
)

const hostile = `<img src=x onerror=alert(1)>"'&</script><script>alert(2)</script>.png`

func TestWriteExplain(t *testing.T) {
	img, capt, marks := overlaytest.Scene(hostile, 3)
	marks[0].Reasons = append(marks[0].Reasons, "<b>bold</b>")
	dir := filepath.Join(lookDir(t), "explain")
	if err := WriteExplain(context.Background(), dir, img, capt, marks, ExplainOptions{Units: overlay.Feet}); err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{"overlay.png", "altitude.png"} {
		b, err := os.ReadFile(filepath.Join(dir, f))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := png.DecodeConfig(bytes.NewReader(b)); err != nil {
			t.Errorf("%s: %v", f, err)
		}
	}
	raw, err := os.ReadFile(filepath.Join(dir, "explain.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(raw)
	words := regexp.MustCompile(`data:image/png;base64,[^"]+`).ReplaceAllString(page, "")
	for _, bad := range []string{"<script", "<img src=x", "<b>bold", "http://", "https://", "ZgotmplZ", "NaN"} {
		if strings.Contains(words, bad) {
			t.Errorf("page holds %q", bad)
		}
	}
	for _, want := range append(detect.Cautions(), "likely a suspended target",
		"undecided between an object on the bottom and a suspended target", "What could make this wrong",
		"within twice its own error of zero", "hump", " ft") {
		if !strings.Contains(page, want) && !strings.Contains(page, strings.ReplaceAll(want, "'", "&#39;")) {
			t.Errorf("page lacks %q", want)
		}
	}
	// Every picture is embedded and can be decoded: the whole capture, the altitude, a close-up and an echo strip a mark.
	uris := regexp.MustCompile(`src="data:image/png;base64,([^"]+)"`).FindAllStringSubmatch(page, -1)
	if want := 2 + 2*len(marks); len(uris) != want {
		t.Errorf("%d embedded pictures, want %d", len(uris), want)
	}
	for _, u := range uris {
		b, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(u[1], "&#43;", "+"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := png.DecodeConfig(bytes.NewReader(b)); err != nil {
			t.Error(err)
		}
	}
}

func TestWriteExplainWithoutPanel(t *testing.T) {
	why := "no dark water column beside a bright centre band"
	capt := detect.CaptureRecord{Capture: "sky.png", Status: detect.StatusNoPanel, Why: &why, Width: 40, Height: 30}
	dir := t.TempDir()
	if err := WriteExplain(context.Background(), dir, image.NewGray(image.Rect(0, 0, 40, 30)), capt, nil, ExplainOptions{}); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "explain.html"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), why) {
		t.Error("page does not say why no panel was found")
	}
	if _, err := os.Stat(filepath.Join(dir, "altitude.png")); !os.IsNotExist(err) {
		t.Error("an altitude was plotted without a panel")
	}
}

func TestWriteExplainStopsWithItsContext(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 3)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := WriteExplain(ctx, t.TempDir(), img, capt, marks, ExplainOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}

func TestVerdictAdmitsDoubt(t *testing.T) {
	for _, tc := range []struct {
		odds detect.Odds
		want string
	}{
		{detect.Odds{detect.SuspendedTarget: .95, detect.Clutter: .05}, "almost surely a suspended target"},
		{detect.Odds{detect.BottomObject: .8, detect.Clutter: .2}, "likely an object on the bottom"},
		{detect.Odds{detect.Clutter: .6, detect.BottomObject: .4}, "more likely than not clutter"},
		{detect.Odds{detect.SuspendedTarget: .48, detect.BottomObject: .47, detect.Clutter: .05},
			"undecided between a suspended target and an object on the bottom"},
		{detect.Odds{detect.SuspendedTarget: .25, detect.BottomObject: .25, detect.RaisedStructure: .25, detect.Clutter: .25},
			"undecided: no class stands out"},
	} {
		if got := Verdict(detect.MarkRecord{Odds: tc.odds}); got != tc.want {
			t.Errorf("%v: %q, want %q", tc.odds, got, tc.want)
		}
	}
	for odds, want := range map[float64]string{.45: "perhaps an object on the bottom, or nothing", .3: "more likely than not clutter"} {
		m := detect.MarkRecord{Class: detect.BottomObject, Odds: detect.Odds{detect.BottomObject: odds, detect.Clutter: 1 - odds}}
		if got := Verdict(m); got != want {
			t.Errorf("told as an object on the bottom at %v: %q, want %q", odds, got, want)
		}
	}
}

func TestNumbersShowTheirError(t *testing.T) {
	for _, tc := range []struct {
		v, sd float64
		want  string
	}{{12.3456, 0.05, "12.346 ± 0.050"}, {3.21, 0.4, "3.21 ± 0.40"}, {43.2, 1.4, "43.2 ± 1.4"}, {512.7, 23, "513 ± 23"}, {5, 0,
		"5.0 ± 0.0"}} {
		if got := plusMinus(tc.v, tc.sd); got != tc.want {
			t.Errorf("%v, %v: %q, want %q", tc.v, tc.sd, got, tc.want)
		}
	}
	m := features.Measured{Value: 3.048, SD: 0.3048}
	if got := number(&m, nil, overlay.Feet); got != "10.0 ± 1.0 ft" {
		t.Errorf("%q, want 10.0 ± 1.0 ft", got)
	}
	for p, want := range map[float64]string{0: "under 1 %", 0.999: "over 99 %", 0.425: "43 %"} {
		if got := percent(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
}

// lookDir is a fresh folder, or SHADOWGAP_LOOK's for a person to look at what was made.
func lookDir(t *testing.T) string {
	t.Helper()
	if d := os.Getenv("SHADOWGAP_LOOK"); d != "" {
		return d
	}
	return t.TempDir()
}
