package export

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/units"
)

func listed[T any](records ...*T) func(func(*T, error) bool) {
	return func(yield func(*T, error) bool) {
		for _, r := range records {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// readTable reads CSV back by column name.
func readTable(t *testing.T, data []byte) []map[string]string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			if _, twice := m[name]; twice {
				t.Fatalf("column %s stands there twice", name)
			}
			m[name] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func TestMarksCSV(t *testing.T) {
	hold := "h1"
	full := &detect.MarkRecord{
		Capture: `=HYPERLINK("x").png`, Mark: "m1", Class: detect.SuspendedTarget, Side: detect.Port,
		Odds: detect.Odds{detect.SuspendedTarget: 0.75, detect.BottomObject: 0.25}, Box: detect.Box{X: 1, Y: 2, W: 3, H: 4},
		SlantPx: features.Measured{Value: 100, SD: 1}, HeightM: &features.Measured{Value: 3.048, SD: 0.3048},
		Position: &detect.Position{Lat: 47.1234567, Lon: -8.5, ErrorM: 3.048}, Hold: &hold, OnHump: true,
		Contrast: 5, Highlight: &detect.Box{X: 1, Y: 2, W: 3, H: 4},
	}
	bare := &detect.MarkRecord{Capture: "b.png", Mark: "m2", Class: detect.Clutter}
	var b bytes.Buffer
	if err := MarksCSV(&b, listed(&decided.Mark{MarkRecord: *full, Name: "@weir", Note: "says \"so\"; two, with a comma; three\nlines"},
		&decided.Mark{MarkRecord: *bare}), units.Feet); err != nil {
		t.Fatal(err)
	}
	// RFC 4180: lines end in CR LF.
	if !strings.HasSuffix(b.String(), "\r\n") {
		t.Error("the last line has no CR LF")
	}
	rows := readTable(t, b.Bytes())
	if len(rows) != 2 {
		t.Fatalf("%d rows", len(rows))
	}
	for name, want := range map[string]string{
		"capture": `./=HYPERLINK("x").png`, "class": "suspended-target", "odds_suspended_target": "0.75", "odds_clutter": "0",
		"box_x": "1", "box_h": "4", "highlight_x": "1", "shadow_x": "", "slant_px": "100", "slant_px_sd": "1", "gap_px": "",
		"height_ft": "10", "height_ft_sd": "1", "slant_ft": "", "lat": "47.1234567", "lon": "-8.5000000", "position_error_ft": "10",
		"on_hump": "true", "hold": "h1", "note": `says "so"; two, with a comma; three` + "\nlines",
		"name": "'@weir", "decision": "",
		"reasons": "a strong echo (5 times the speckle around it), with no shadow of its own: weak evidence; the bottom comes up there",
		"summary": "Hanging off the bottom, to port",
	} {
		if got, ok := rows[0][name]; !ok || got != want {
			t.Errorf("%s: got %q (there: %v), want %q", name, got, ok, want)
		}
	}
	if rows[1]["lat"] != "" || rows[1]["height_ft"] != "" || rows[1]["hold"] != "" {
		t.Errorf("unknown values are not empty: %v", rows[1])
	}
}

func TestCapturesCSV(t *testing.T) {
	why := "@no panel"
	c := &detect.CaptureRecord{Capture: "a.png", Status: detect.StatusNoPanel, Why: &why, Counts: map[detect.Class]int{detect.Clutter: 2}}
	var b bytes.Buffer
	if err := CapturesCSV(&b, listed(c), func(*detect.CaptureRecord) string { return "overlays/x.jpg" }); err != nil {
		t.Fatal(err)
	}
	row := readTable(t, b.Bytes())[0]
	for name, want := range map[string]string{"capture": "a.png", "status": "no-panel", "why": "'@no panel", "clutter": "2",
		"picture": "overlays/x.jpg"} {
		if row[name] != want {
			t.Errorf("%s: got %q, want %q", name, row[name], want)
		}
	}
}

func TestJSONLReadsBack(t *testing.T) {
	want := &decided.Mark{MarkRecord: detect.MarkRecord{Schema: 1, Capture: "a<b>&.png", Mark: "m1", ShadowPx: &features.Measured{}}}
	var b bytes.Buffer
	if err := MarksJSONL(&b, listed(want, want)); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(lines) != 2 {
		t.Fatalf("%d lines", len(lines))
	}
	got, err := detect.DecodeMark([]byte(lines[0]))
	if err != nil || got.Capture != want.Capture || got.ShadowPx == nil {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestFileIsAtomic(t *testing.T) {
	path := filepath.Join(t.TempDir(), "out.csv")
	if err := File(path, func(w io.Writer) error { _, err := io.WriteString(w, "old"); return err }); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	err := File(path, func(w io.Writer) error {
		if _, err := io.WriteString(w, strings.Repeat("new", 100_000)); err != nil {
			return err
		}
		return broken
	})
	if !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	got, err := os.ReadFile(path)
	if err != nil || string(got) != "old" {
		t.Errorf("after a failed write the file holds %.10q, %v", got, err)
	}
	names, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(names) != 1 {
		t.Errorf("left behind: %v, %v", names, err)
	}
}
