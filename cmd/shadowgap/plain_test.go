package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"image/color"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// What triage prints tells where to go first, in plain words and in the unit asked for, and the run's files hold the same.
func TestTriageSpeaksPlainly(t *testing.T) {
	triage, run := surveyed(t, 6)
	text := mustRun(t, slices.Concat(triage, []string{"--units", "ft"})...)
	first, _, found := strings.Cut(text, "INTEREST")
	if !found || !strings.HasPrefix(first, "Go here first\n  1  ") {
		t.Errorf("the places to go to do not come first:\n%s", text)
	}
	for _, bad := range []string{`spread`, `least size`, `strength`, `-\d+(\.\d+)? (m|ft)\b`, `\d m\b`, ` m of water`} {
		if at := regexp.MustCompile(bad).FindString(text); at != "" {
			t.Errorf("%q stands in what is printed:\n%s", at, text)
		}
	}
	for line := range strings.Lines(text) {
		if odds := regexp.MustCompile(`^  (\d+) %`).FindStringSubmatch(line); odds != nil {
			if p, _ := strconv.Atoi(odds[1]); p < 50 {
				t.Errorf("a likely hold at under even odds: %s", line)
			}
		}
	}
	marks := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "-o", "-"))
	count := map[detect.Class]int{}
	for _, m := range marks {
		count[m.Class]++
		if m.Nothing() {
			t.Errorf("%s is likeliest clutter: %v", m.Mark, m.Odds)
		}
	}
	for class, word := range map[detect.Class]string{detect.SuspendedTarget: "suspended", detect.RaisedStructure: "raised",
		detect.BottomObject: "on the bottom"} {
		if want := strconv.Itoa(count[class]) + " " + word; !strings.Contains(text[strings.LastIndex(text, "Marks:"):], want) {
			t.Errorf("the summary does not say %q", want)
		}
	}
	for _, name := range []string{"marks", "sightings", "places"} {
		data, err := os.ReadFile(filepath.Join(run, name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
		if err != nil || len(rows) < 2 {
			t.Fatalf("%s.csv: %d rows, %v", name, len(rows), err)
		}
		for i, column := range rows[0] {
			if strings.HasSuffix(column, "_m") || column == "summary" && strings.Contains(rows[1][i], " m ") {
				t.Errorf("%s.csv of a run in feet has %s: %s", name, column, rows[1][i])
			}
		}
	}
	gpx, err := os.ReadFile(filepath.Join(run, "first.gpx"))
	if err != nil {
		t.Fatal(err)
	}
	names := regexp.MustCompile(`<name>(\d\d [^<]*)</name>`).FindAllSubmatch(gpx, -1)
	if len(names) == 0 || len(names) > 20 || len(names) > firstPlaces || !regexp.MustCompile(`^01 \w.*\d+ft$`).Match(names[0][1]) {
		t.Errorf("first.gpx: %q", names)
	}
	for _, of := range []string{"sightings", "holds", "places"} {
		for _, as := range []string{"csv", "jsonl", "geojson", "gpx", "kml"} {
			mustRun(t, "export", run, "--of", of, "--as", as, "-o", "-")
		}
	}
	short := mustRun(t, "export", run, "--of", "places", "--as", "gpx", "--top", "3", "--name-length", "8", "--units", "m", "-o", "-")
	names = regexp.MustCompile(`<wpt.*?<name>([^<]*)</name>`).FindAllSubmatch([]byte(short), -1)
	if len(names) == 0 || len(names) > 3 {
		t.Errorf("--top 3 writes %d waypoints", len(names))
	}
	for _, n := range names {
		if len(n[1]) > 8 || !strings.HasSuffix(string(n[1]), "m") {
			t.Errorf("name %q: want 8 characters at most, and the depth in metres", n[1])
		}
	}
	for want, args := range map[string][]string{
		"can't be told apart": {"--of", "places", "--name-length", "3"},
		"can't be negative":   {"--of", "places", "--top=-2"},
		"--top goes with":     {"--top", "5"},
		"--class goes with":   {"--of", "holds", "--class", "clutter"},
		"--accepted goes":     {"--of", "places", "--accepted"},
	} {
		if code, _, stderr := shadowgap(t, slices.Concat([]string{"export", run, "--as", "gpx"}, args)...); code != exitUsage ||
			!strings.Contains(stderr, want) {
			t.Errorf("%q: exit status %d, %s; want %q", args, code, stderr, want)
		}
	}
	explained := mustRun(t, "explain", filepath.Join(triage[1], marks[0].Capture), "--range", "30m", "--units", "ft", "--out", t.TempDir())
	if at := regexp.MustCompile(`spreads|least size|strength|\d m\b|: -\d`).FindString(explained); at != "" {
		t.Errorf("%q stands in what explain prints:\n%s", at, explained)
	}
	mustRun(t, append(slices.Clone(triage), "--clutter")...)
	with := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "--clutter", "-o", "-"))
	if !slices.ContainsFunc(with, func(m decided.Mark) bool { return m.Nothing() }) {
		t.Error("--clutter keeps no clutter")
	}
}

// A mark has the number that the run's page gives it, its place in the run, also where explain prints the capture.
func TestExplainNumbersMarksAsTheRunDoes(t *testing.T) {
	dir := t.TempDir()
	capture := filepath.Join("..", "..", "testdata", "demo", "captures", "capture-029.jpg")
	out := filepath.Join(dir, "run")
	if code, _, errs := shadowgap(t, "triage", capture, "--out", out, "--pictures", "none"); code != exitRead {
		t.Fatal(errs)
	}
	store, err := runstore.Open(t.Context(), out)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for _, clutter := range []bool{false, true} {
		args := []string{"explain", capture, "--out", filepath.Join(dir, "explained")}
		if clutter {
			args = append(args, "--clutter")
		}
		code, said, errs := shadowgap(t, args...)
		if code != exitRead {
			t.Fatal(errs)
		}
		n, shown := 0, 0
		for m, err := range store.Marks(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			n++
			if !clutter && (&decided.Mark{MarkRecord: *m}).Nothing() {
				continue
			}
			shown++
			if want := fmt.Sprintf("\n%d. %s: %s.\n", n, review.Verdict(*m), words.Mark(m, units.Metres)); !strings.Contains(said, want) {
				t.Errorf("clutter %t: no %q in\n%s", clutter, want, said)
			}
		}
		if shown == 0 {
			t.Error("the capture shows nothing")
		}
	}
}

// What was given for other captures is told in the end, by triage and by explain, and stops neither.
func TestGivenForOtherCapturesIsTold(t *testing.T) {
	dir := t.TempDir()
	capture := filepath.Join("..", "..", "testdata", "demo", "captures", "capture-029.jpg")
	table, layout := filepath.Join(dir, "table.csv"), filepath.Join(dir, "layout.json")
	write(t, table, []byte("capture,range,time\nelsewhere.png,30m,2025-06-14 06:40:00\n"))
	write(t, layout, []byte(`{"schema":1,"layouts":[{"width":10,"height":10}]}`))
	known := []string{"--manifest", table, "--layout", layout, "--track", filepath.Join("..", "..", "testdata", "demo", "track.gpx")}
	for _, args := range [][]string{
		{"triage", capture, "--out", filepath.Join(dir, "run"), "--pictures", "none"},
		{"explain", capture, "--out", filepath.Join(dir, "explained")},
	} {
		code, _, errs := shadowgap(t, append(args, known...)...)
		if code != exitRead {
			t.Fatalf("%s: exit status %d: %s", args[0], code, errs)
		}
		for _, want := range []string{`"elsewhere.png"`, `"capture-029.jpg"`, "10 × 10", "576 × 495", "2025-06-14 07:14:16Z",
			"no capture's time"} {
			if !strings.Contains(errs, want) {
				t.Errorf("%s: no %q in\n%s", args[0], want, errs)
			}
		}
		if triage := args[0] == "triage"; triage != strings.Contains(errs, "times without an offset from UTC, 1 of them") {
			t.Errorf("%s: on times without a zone:\n%s", args[0], errs)
		}
	}
}

// What can't be written says what to do about it. Who may write everywhere, as tests often do, is told of it here.
func TestUnwritableSaysWhatToDo(t *testing.T) {
	for err, want := range map[error]string{
		fs.ErrPermission:   "where you may write",
		unix.EROFS:         "another place",
		runstore.ErrNoRoom: "Make room",
		runstore.ErrInUse:  "Wait until",
	} {
		wrapped := fmt.Errorf("making the run folder: %w", err)
		if got := unwritable(wrapped); !errors.Is(got, err) || !strings.HasPrefix(got.Error(), wrapped.Error()+"\n") ||
			!strings.Contains(got.Error(), want) {
			t.Errorf("%v: says %q, want %q in it", err, got, want)
		}
	}
	if other := errors.New("other"); unwritable(other).Error() != "other" {
		t.Error("another error is changed")
	}
}

// Where more could not be looked through than the table has lines, it says how many.
func TestTableCountsWhatItLeavesOut(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.png", "b.png", "c.png"} {
		write(t, filepath.Join(dir, "captures", name), []byte("words"))
	}
	code, said, errs := shadowgap(t, "triage", filepath.Join(dir, "captures"), "--out", filepath.Join(dir, "run"), "--top", "1")
	if code != exitUnreadable || strings.Count(said, "unreadable:") != 1 || !strings.Contains(said, "… and 2 more in captures.csv") {
		t.Errorf("exit status %d, says %q, %q", code, said, errs)
	}
	if !strings.HasSuffix(strings.TrimSpace(errs), "3 captures could not be read; they are named above and in captures.csv") {
		t.Errorf("ends with %q", errs)
	}
	table, err := os.ReadFile(filepath.Join(dir, "run", "captures.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(table), "overlays/") {
		t.Errorf("pictures of captures that nothing was drawn of:\n%s", table)
	}
}

// captures.csv names the pictures that the run holds, and no others.
func TestCapturesTableNamesPicturesThatAreThere(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "captures", "text.png"), []byte("words"))
	write(t, filepath.Join(dir, "captures", "black.png"), pngOf(t, 640, 480, func(int, int) color.Color { return color.Black }))
	run := filepath.Join(dir, "run")
	shadowgap(t, "triage", filepath.Join(dir, "captures"), "--out", run)
	f, err := os.Open(filepath.Join(run, "captures.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil || len(lines) != 3 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	picture := slices.Index(lines[0], "picture")
	for _, line := range lines[1:] {
		_, err := os.Stat(filepath.Join(run, line[picture]))
		if named := line[picture] != ""; named != (line[1] == "no-panel") || named && err != nil {
			t.Errorf("%s, %s: picture %q, %v", line[0], line[1], line[picture], err)
		}
	}
}

// A review that can't listen where it was told says who may be there, and a run whose database is none says so.
func TestReviewSaysWhyItDoesNotStart(t *testing.T) {
	dir := t.TempDir()
	store, err := runstore.Create(t.Context(), filepath.Join(dir, "run"))
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer busy.Close()
	write(t, filepath.Join(dir, "damaged", runstore.FileName), []byte("no database, but a letter to a friend"))
	for _, tt := range []struct {
		run  string
		code int
		says string
	}{{"run", exitUsage, "give --addr another port"}, {"damaged", exitFailed, "it is damaged, or no database of a run"}} {
		code, _, errs := shadowgap(t, "review", filepath.Join(dir, tt.run), "--addr", busy.Addr().String())
		if code != tt.code || !strings.Contains(errs, tt.says) {
			t.Errorf("%s: exit status %d, %q; want %d, %q", tt.run, code, errs, tt.code, tt.says)
		}
	}
}
