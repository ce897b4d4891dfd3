package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"shadowgap/eval/scene"
	"shadowgap/internal/runstore"
)

const (
	selfEnv   = "SHADOWGAP_TEST_AS_PROGRAM"
	deathsEnv = "SHADOWGAP_TEST_START_DEATHS" // how many of a hundred workers are killed while they start
)

// TestMain lets the test binary be the program: a process of its own, with worker processes of its own.
func TestMain(m *testing.M) {
	if os.Getenv(selfEnv) != "" {
		if deaths, err := strconv.Atoi(os.Getenv(deathsEnv)); err == nil && slices.Contains(os.Args, "worker") && rand.IntN(100) < deaths {
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		}
		os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

func program(args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), selfEnv+"=1")
	return cmd
}

// shadowgap runs the program to its end.
func shadowgap(t testing.TB, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := program(args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), out.String(), errs.String()
}

func write(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func pngOf(t testing.TB, w, h int, at func(x, y int) color.Color) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.Set(x, y, at(x, y))
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// scenes renders n captures of an invented lake into a new folder.
func scenes(t testing.TB, n int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "captures")
	if err := renderScenes(context.Background(), dir, 501, n, []scene.Kind{scene.KindFish, scene.KindSand, scene.KindMixed}); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestWrongUsage(t *testing.T) {
	dir := t.TempDir()
	captures := filepath.Join(dir, "captures")
	write(t, filepath.Join(captures, "a.png"), []byte("x"))
	write(t, filepath.Join(dir, "other", "letter.txt"), []byte("x"))
	empty := filepath.Join(dir, "empty")
	if err := os.Mkdir(empty, 0o755); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "run")
	tests := []refusal{
		{"unknown command", []string{"trawl"}, "unexpected argument trawl"},
		{"no out", []string{"triage", captures}, "--out"},
		{"missing path", []string{"triage", filepath.Join(dir, "none"), "--out", out}, "there is no file or folder"},
		{"empty folder", []string{"triage", empty, "--out", out}, "no captures in " + empty},
		{"out is another folder", []string{"triage", captures, "--out", filepath.Join(dir, "other")}, "Give --out a new folder"},
		{"range without unit", []string{"triage", captures, "--out", out, "--range", "30"}, "30m or 100ft"},
		{"negative range", []string{"triage", captures, "--out", out, "--range=-30m"}, "--range"},
		{"bad shard", []string{"triage", captures, "--out", out, "--shard", "3/2"}, "from 1 to 2"},
		{"bad zone", []string{"triage", captures, "--out", out, "--zone", "Nowhere"}, "Europe/Berlin"},
		{"bad memory", []string{"triage", captures, "--out", out, "--memory", "lots"}, "2GiB"},
		{"missing manifest", []string{"triage", captures, "--out", out, "--manifest", filepath.Join(dir, "m.csv")}, "m.csv"},
		{"explain folder", []string{"explain", captures}, "explain takes one capture"},
		{"export without run", []string{"export", captures, "--as", "csv"}, "not a run folder"},
		{"out is a file", []string{"triage", captures, "--out", filepath.Join(captures, "a.png")}, "is a file"},
		{"out below a file", []string{"triage", captures, "--out", filepath.Join(captures, "a.png", "run")}, "lies below"},
		{"help of the command", []string{"merge", captures}, "Try: shadowgap merge --help"},
		{"export unknown class", []string{"export", captures, "--as", "csv", "--class", "fish"},
			"bottom-object, suspended-target, raised-structure, clutter"},
		{"export labels filtered", []string{"export", captures, "--as", "labels", "--min-odds", "0.5"}, "don't go with it"},
		{"export labels without run", []string{"export", captures, "--as", "labels"}, "not a run"},
		{"export unknown format", []string{"export", captures, "--as", "xls"}, "--as"},
		{"merge without run", []string{"merge", captures, "--out", out}, "not a run folder"},
		{"score without labels", []string{"score", captures}, "--labels"},
		{"swaths shown without labels", []string{"score", "--shown", captures, "--out", out}, "--labels"},
		{"swaths shown beside a run", []string{"score", captures, "--shown", captures, "--labels", "l.json", "--out", out}, "leave out the run"},
		{"swaths shown to nowhere", []string{"score", "--shown", captures, "--labels", "l.json"}, "--out"},
		{"no sonar with labels", []string{"score", captures, "--no-sonar", "--labels", "l.json"}, "leave out --labels"},
		{"best level without labels", []string{"score", captures, "--tiles", captures, "--level", "best"}, "--level best needs --labels"},
		{"records that are none", []string{"score", captures, "--records", "--labels", "l.json"}, "captures.jsonl"},
		{"scene into full folder", []string{"scene", "--out", captures}, "new or empty folder"},
	}
	refused(t, tests)
	if _, err := os.Stat(out); err == nil {
		t.Error("wrong usage made a run folder")
	}
}

func TestBadInputIsNamedAndTheBatchGoesOn(t *testing.T) {
	dir := scenes(t, 1)
	var photo bytes.Buffer
	rng := rand.New(rand.NewPCG(1, 2))
	fur := image.NewRGBA(image.Rect(0, 0, 320, 240))
	for y := range 240 {
		for x := range 320 {
			stripe := uint8(90 + 60*((x+y/3+rng.IntN(9))/14%2))
			fur.Set(x, y, color.RGBA{stripe + uint8(rng.IntN(40)), stripe, stripe / 2, 255})
		}
	}
	if err := jpeg.Encode(&photo, fur, nil); err != nil {
		t.Fatal(err)
	}
	black, white := func(int, int) color.Color { return color.Black }, func(int, int) color.Color { return color.White }
	ihdr := []byte("IHDR\x00\x00\xff\xff\x00\x00\xff\xff\x08\x02\x00\x00\x00")
	header := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), ihdr...)
	header = binary.BigEndian.AppendUint32(header, crc32.ChecksumIEEE(ihdr))
	tests := map[string]struct {
		data   []byte
		status string
		says   string
	}{
		"text.png":      {[]byte("dear diary\n"), "unreadable", "this is a text file"},
		"empty.png":     {nil, "unreadable", "0 bytes"},
		"truncated.jpg": {photo.Bytes()[:photo.Len()/2], "unreadable", "truncated"},
		"dot.png":       {pngOf(t, 1, 1, white), "no-panel", ""},
		"line.png":      {pngOf(t, 20000, 1, white), "no-panel", ""},
		"black.png":     {pngOf(t, 640, 480, black), "no-panel", ""},
		"white.png":     {pngOf(t, 640, 480, white), "no-panel", ""},
		"huge.png":      {header, "unreadable", "65535 × 65535"},
		"cat.jpg":       {photo.Bytes(), "", ""}, // texture alone may pass for a crop; it must not stop anything
	}
	for name, tt := range tests {
		write(t, filepath.Join(dir, name), tt.data)
	}
	run := filepath.Join(t.TempDir(), "run")
	code, stdout, stderr := shadowgap(t, "triage", dir, filepath.Join(dir, "missing.png"), "--out", run, "--pictures", "none")
	if code != exitUnreadable {
		t.Errorf("exit status %d, want %d\n%s", code, exitUnreadable, stderr)
	}
	if !strings.Contains(stderr, "there is no file or folder "+filepath.Join(dir, "missing.png")) {
		t.Errorf("the missing path is not named: %s", stderr)
	}
	records := capturesOf(t, run)
	if len(records) != len(tests)+1 {
		t.Errorf("%d records, want %d", len(records), len(tests)+1)
	}
	for name, tt := range tests {
		rec := records[name]
		switch {
		case rec.Capture == "":
			t.Errorf("%s: no record", name)
		case tt.status != "" && rec.Status != tt.status:
			t.Errorf("%s: status %s (%s), want %s", name, rec.Status, rec.Why, tt.status)
		case tt.status != "" && (rec.Why == "" || !strings.Contains(rec.Why, tt.says)):
			t.Errorf("%s: why %q, want %q", name, rec.Why, tt.says)
		case tt.status == "unreadable" && !strings.Contains(stdout, name+": unreadable: "+rec.Why):
			t.Errorf("%s is not named on stdout", name)
		}
	}
	if rec := records["fish-001.png"]; rec.Capture != "" && rec.Status != "read" {
		t.Errorf("the good capture is %s", rec.Status)
	}
}

type captureLine struct {
	Capture, Status, Why string
}

func capturesOf(t testing.TB, run string) map[string]captureLine {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(run, "captures.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]captureLine{}
	for line := range strings.Lines(string(data)) {
		var c captureLine
		if err := json.Unmarshal([]byte(line), &c); err != nil {
			t.Fatal(err)
		}
		out[c.Capture] = c
	}
	return out
}

// exports are the files of a run that must not depend on how it got to its end.
var exports = []string{
	"marks.jsonl", "captures.jsonl", "marks.csv", "captures.csv", "review.html", "sightings.jsonl", "holds.jsonl", "places.jsonl",
	"places.csv",
}

// The number of worker processes decides nothing but the time.
func TestExportsDoNotDependOnWorkers(t *testing.T) {
	dir := scenes(t, 4) // and two archives of three or four
	archives(t, dir)
	var one map[string]string
	for _, workers := range []string{"1", "2", "4", "8"} {
		run := filepath.Join(t.TempDir(), "run") // of the same name: the page shows it
		if code, _, stderr := shadowgap(t, "triage", dir, "--out", run, "--no-timings", "--workers", workers); code != exitRead {
			t.Fatalf("%s workers: exit status %d\n%s", workers, code, stderr)
		}
		got := exportsOf(t, run)
		for name := range got { // the page quotes the command
			got[name] = strings.ReplaceAll(got[name], "--workers "+workers, "--workers N")
		}
		if one == nil {
			one = got
		}
		sameExports(t, one, got)
	}
}

// exportsOf reads the exports of a run.
func exportsOf(t testing.TB, run string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, name := range exports {
		data, err := os.ReadFile(filepath.Join(run, name))
		if err != nil {
			t.Fatal(err)
		}
		out[name] = string(data)
	}
	return out
}

func sameExports(t testing.TB, want, got map[string]string) {
	t.Helper()
	for _, name := range exports {
		if got[name] != want[name] {
			t.Errorf("%s differs: %d bytes, want %d", name, len(got[name]), len(want[name]))
		}
	}
}

// killsEnv is how often TestKilledRunEndsLikeAnUndisturbedOne kills a run, where that is to be more than a few times.
const killsEnv = "SHADOWGAP_TEST_KILLS"

func TestKilledRunEndsLikeAnUndisturbedOne(t *testing.T) {
	dir := scenes(t, 6)
	write(t, filepath.Join(dir, "text.png"), []byte("not a picture"))
	archives(t, dir)
	// Runs of the same name in two folders: the page shows the name.
	calm := filepath.Join(t.TempDir(), "run")
	args := func(run string) []string {
		return []string{"triage", dir, "--out", run, "--no-timings", "--workers", "2"}
	}
	began := time.Now()
	if code, _, stderr := shadowgap(t, args(calm)...); code != exitUnreadable {
		t.Fatalf("undisturbed run: exit status %d\n%s", code, stderr)
	}
	took := time.Since(began)

	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	want := 4
	if many, err := strconv.Atoi(os.Getenv(killsEnv)); err == nil {
		want = many
	}
	kills, runs := 0, 0
	for ; kills < want; runs++ {
		rough := filepath.Join(t.TempDir(), "run")
		for ended := false; kills < want && !ended; {
			cmd := program(args(rough)...)
			cmd.Env = append(cmd.Env, deathsEnv+"=20")
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			// Every third one dies while it starts, the others at any moment.
			longest := took / 2
			if rng.IntN(3) == 0 {
				longest = took / 20
			}
			time.Sleep(time.Duration(rng.Int64N(int64(longest))))
			// It fails when the run has ended already, which is one of the moments to try.
			_ = cmd.Process.Kill()
			if err := cmd.Wait(); err != nil && cmd.ProcessState.Sys().(syscall.WaitStatus).Signaled() {
				kills++
				continue
			}
			ended = true
		}
		if code, _, stderr := shadowgap(t, args(rough)...); code != exitUnreadable {
			t.Fatalf("last run: exit status %d\n%s", code, stderr)
		}
		sameExports(t, exportsOf(t, calm), exportsOf(t, rough))
		if stored, captures := storedAndHeld(t, rough); stored != captures || captures == 0 {
			t.Errorf("%s: %d results stored for %d captures; want each once", rough, stored, captures)
		}
		if left, _ := filepath.Glob(filepath.Join(rough, "*", ".part-*")); len(left) > 0 {
			t.Errorf("half-written files are left: %q", left)
		}
	}
	t.Logf("killed %d times over %d runs that take %v undisturbed", kills, runs, took)
	if stored, captures := storedAndHeld(t, calm); stored != captures || captures == 0 {
		t.Errorf("%s: %d results stored for %d captures; want each once", calm, stored, captures)
	}
}

// storedAndHeld returns how many results were ever stored in a run and how many it holds.
func storedAndHeld(t testing.TB, dir string) (stored, held int) {
	t.Helper()
	store, err := runstore.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	text, err := store.Meta(t.Context(), "results")
	if err == nil {
		stored, err = strconv.Atoi(text)
	}
	if err != nil {
		t.Fatal(err)
	}
	return stored, len(capturesOf(t, dir))
}

// archives puts captures of a folder into archives beside them, one of them twice under one name.
func archives(t testing.TB, dir string) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*-00[1-3].*"))
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	var zipped, tarred bytes.Buffer
	z, gz := zip.NewWriter(&zipped), gzip.NewWriter(&tarred)
	tw := tar.NewWriter(gz)
	for _, name := range append(names, names[0]) {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		w, err := z.Create("cruise/" + filepath.Base(name))
		if err == nil {
			_, err = w.Write(data)
		}
		if err == nil {
			err = tw.WriteHeader(&tar.Header{Name: filepath.Base(name), Mode: 0o644, Size: int64(len(data)), Typeflag: tar.TypeReg})
		}
		if err == nil {
			_, err = tw.Write(data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(z.Close(), tw.Close(), gz.Close()); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "cruise.zip"), zipped.Bytes())
	write(t, filepath.Join(dir, "cruise.tgz"), tarred.Bytes())
}

func TestInterruptFinishesCleanly(t *testing.T) {
	dir := scenes(t, 6)
	run := filepath.Join(t.TempDir(), "run")
	cmd := program("triage", dir, "--out", run, "--workers", "1")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// The database is there once signals are handled.
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		if _, err := os.Stat(filepath.Join(run, "run.db")); err == nil {
			break
		}
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	err := cmd.Wait()
	if code := cmd.ProcessState.ExitCode(); code != exitFailed {
		t.Errorf("exit status %d (%v), want %d\n%s", code, err, exitFailed, stderr.String())
	}
	if !strings.Contains(stderr.String(), "the same command goes on from here") {
		t.Errorf("no hint how to go on: %s", stderr.String())
	}
	if n := len(capturesOf(t, run)); n >= 6 {
		t.Errorf("%d captures were done; the interrupt came too late to show anything", n)
	}
	lacks := func() bool {
		page, err := os.ReadFile(filepath.Join(run, "review.html"))
		if err != nil {
			t.Fatal(err)
		}
		return strings.Contains(string(page), "The end of the run")
	}
	if !lacks() {
		t.Error("the page doesn't say that the run was stopped")
	}
	mustRun(t, "triage", dir, "--out", run, "--workers", "1")
	if lacks() {
		t.Error("the page says that the run was stopped, which has come to its end")
	}
}

func TestTriageExportMergeScore(t *testing.T) {
	dir := scenes(t, 3)
	tmp := t.TempDir()
	whole, one, two, joined := filepath.Join(tmp, "whole"), filepath.Join(tmp, "one"), filepath.Join(tmp, "two"), filepath.Join(tmp, "joined")
	must := func(args ...string) string {
		t.Helper()
		code, stdout, stderr := shadowgap(t, args...)
		if code != exitRead {
			t.Fatalf("%v: exit status %d\n%s", args, code, stderr)
		}
		return stdout
	}
	table := must("triage", dir, "--out", whole, "--no-timings", "--range", "30m")
	for _, want := range []string{"INTEREST", "fish-001", "Not for navigation, anchoring or diving."} {
		if !strings.Contains(table, want) {
			t.Errorf("the table lacks %q:\n%s", want, table)
		}
	}
	must("triage", dir, "--out", one, "--no-timings", "--range", "30m", "--shard", "1/2")
	must("triage", dir, "--out", two, "--no-timings", "--range", "30m", "--shard", "2/2")
	must("merge", one, two, "--out", joined)
	for _, name := range []string{"marks.jsonl", "captures.jsonl", "marks.csv", "captures.csv", "holds.jsonl", "sightings.jsonl",
		"places.csv"} {
		a, errA := os.ReadFile(filepath.Join(whole, name))
		b, errB := os.ReadFile(filepath.Join(joined, name))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s of the joined parts differs from that of the whole run (%v, %v)", name, errA, errB)
		}
	}
	all := must("export", whole, "--as", "jsonl", "--out", "-")
	sure := must("export", whole, "--as", "jsonl", "--out", "-", "--min-odds", "0.9")
	if accepted := must("export", whole, "--as", "jsonl", "--out", "-", "--accepted"); accepted != "" || len(sure) > len(all) {
		t.Errorf("filters let through what they should not: %d, %d and %d bytes", len(all), len(sure), len(accepted))
	}
	for _, as := range []string{"csv", "geojson", "gpx", "kml"} {
		must("export", whole, "--as", as)
	}
	code, _, stderr := shadowgap(t, "export", whole, "--as", "kml", "--out", filepath.Join(tmp, "none", "x.kml"))
	if code != exitUsage || !strings.Contains(stderr, "there is no folder") {
		t.Errorf("export into a folder that is not there: exit status %d, %s", code, stderr)
	}
	code, _, stderr = shadowgap(t, "review", whole, "--addr", "nonsense")
	if code != exitUsage || !strings.Contains(stderr, "a host and a port") {
		t.Errorf("review at a nonsense address: exit status %d, %s", code, stderr)
	}
	if text := must("score", whole, "--labels", filepath.Join(dir, "labels.json")); !strings.Contains(text, "recall") {
		t.Errorf("score: %s", text)
	}
	sheet := strings.TrimSpace(must("review", whole, "--sheet"))
	if pdf, err := os.ReadFile(sheet); err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("contact sheet %q: %v", sheet, err)
	}
	page := filepath.Join(tmp, "explained")
	names, err := filepath.Glob(filepath.Join(dir, "fish-001.*"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	must("explain", names[0], "--out", page)
	if _, err := os.Stat(filepath.Join(page, "explain.html")); err != nil {
		t.Error(err)
	}
}

func TestNothingOutsideTheRunIsWritten(t *testing.T) {
	dir := scenes(t, 1)
	hostile := `..\..\<img src=x onerror=alert(1)>` + "\n.png"
	data, err := os.ReadFile(firstCapture(t, dir))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, hostile), data)
	before := treeOf(t, filepath.Dir(dir))
	run := filepath.Join(t.TempDir(), "run")
	code, stdout, stderr := shadowgap(t, "triage", dir, "--out", run)
	if code != exitRead {
		t.Fatalf("exit status %d\n%s", code, stderr)
	}
	if after := treeOf(t, filepath.Dir(dir)); after != before {
		t.Errorf("the input folder changed:\n%s\n%s", before, after)
	}
	if strings.Contains(stdout, "onerror=alert(1)>\n.png") {
		t.Error("a line break in a file's name came through to the terminal")
	}
	page, err := os.ReadFile(filepath.Join(run, "review.html"))
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(page, []byte("<img src=x")) {
		t.Error("a file's name came into the page as markup")
	}
}

func firstCapture(t testing.TB, dir string) string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "fish-001.*"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	return names[0]
}

func treeOf(t testing.TB, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		b.WriteString(path + "\n")
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestParseBytes(t *testing.T) {
	for text, want := range map[string]int64{"0": 0, "512": 512, "2GiB": 2 << 30, "800MiB": 800 << 20, "1.5GB": 1_500_000_000, "3 kB": 3000} {
		if got, err := parseBytes(text); err != nil || got != want {
			t.Errorf("%q: got %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "lots", "-1", "1e30GiB", "NaN", "5 apples"} {
		if got, err := parseBytes(text); err == nil {
			t.Errorf("%q: got %d, want an error", text, got)
		}
	}
}
