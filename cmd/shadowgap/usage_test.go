package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// refusal is a command line that is wrong, and what is said of it.
type refusal struct {
	name string
	args []string
	says string
}

func refused(t *testing.T, tests []refusal) {
	t.Helper()
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var stdout, stderr bytes.Buffer
			if code := run(tt.args, &stdout, &stderr); code != exitUsage {
				t.Errorf("exit status %d, want %d", code, exitUsage)
			}
			if !strings.Contains(stderr.String(), tt.says) || stdout.Len() > 0 {
				t.Errorf("stderr %q, stdout %q; want %q on stderr", stderr.String(), stdout.String(), tt.says)
			}
		})
	}
}

// A command line is told wrong in words that need no programmer, with how to write it.
func TestWrongLineSaysHowToWriteIt(t *testing.T) {
	dir := t.TempDir()
	captures := filepath.Join(dir, "captures")
	write(t, filepath.Join(captures, "a.png"), []byte("x"))
	blanks := filepath.Join(dir, "my lake")
	if err := os.Mkdir(blanks, 0o755); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "run")
	refused(t, []refusal{
		{"name with blanks", []string{"triage", filepath.Join(dir, "my"), "lake", "--out", out}, "between quotes: " + strconv.Quote(blanks)},
		{"no paths", []string{"triage", "--out", out}, "<path> ... must be given\nWrite it as: shadowgap triage --out=RUN <path> ... [options]"},
		{"no format", []string{"export", captures}, "--as=FORMAT must be given\nWrite it as: shadowgap export"},
		{"unknown option", []string{"triage", captures, "--out", out, "--rnage", "30m"}, "there is no option --rnage, did you mean \"--range\"?"},
		{"negative range after a blank", []string{"triage", captures, "--out", out, "--range", "-30m"}, "--range"},
		{"negative number after a blank", []string{"triage", captures, "--out", out, "--workers", "-3"}, "can't be negative"},
		{"offset without unit", []string{"triage", captures, "--out", out, "--clock-offset", "-3"}, "such as 90s, 45m, -1h"},
		{"review of nothing", []string{"review", filepath.Join(dir, "none")}, "there is no folder " + filepath.Join(dir, "none")},
		{"review of a file", []string{"review", filepath.Join(captures, "a.png")}, "is not a run folder but a file"},
		{"merge of nothing", []string{"merge", filepath.Join(dir, "none"), "--out", out}, "there is no folder"},
		{"compare with nothing", []string{"compare", filepath.Join(dir, "none"), captures}, "there is no folder"},
		{"explain into a file", []string{"explain", filepath.Join(captures, "a.png"), "--out", filepath.Join(captures, "a.png")}, "is a file or"},
		{"score into a file", []string{"score", captures, "--labels", "l.json", "--out", filepath.Join(captures, "a.png")}, "is a file or"},
		{"fit into no folder", []string{"fit", "--runs", captures, "--out", filepath.Join(dir, "none", "model")}, "there is no folder"},
		{"empty out", []string{"triage", captures, "--out", ""}, "a name is empty"},
		{"empty path", []string{"triage", "", "--out", out}, "a name is empty"},
		{"no number", []string{"triage", captures, "--out", out, "--water-temp", "hot"}, "--water-temp \"hot\": must be a number"},
		{"no whole number", []string{"triage", captures, "--out", out, "--workers", "x"}, "--workers \"x\": must be a whole number"},
		{"a range beyond all side-scan", []string{"triage", captures, "--out", out, "--range", "30km"}, "side-scan reaches 1000 m at most"},
		{"salt alone", []string{"triage", captures, "--out", out, "--salinity", "35"}, "--salinity: says nothing without --water-temp"},
		{"a nadir before the picture", []string{"triage", captures, "--out", out, "--nadir=-1"}, "must be a column of the picture"},
		{"no value at the end", []string{"triage", captures, "--out", out, "--top"}, "--top needs a value after it"},
		{"no value before an option", []string{"triage", captures, "--out", "--range", "30m"},
			"--out needs a value after it, but --range follows; a value that begins so is written --out=\"--range\""},
		{"no such display", []string{"triage", captures, "--out", out, "--strong", "left"}, "--strong must be one of \"dark\",\"bright\" but"},
		{"no such side", []string{"triage", captures, "--out", out, "--side", "left"}, "--side must be one of \"port\",\"starboard\" but"},
		{"scene into a file", []string{"scene", "--out", filepath.Join(captures, "a.png")}, "is a file or"},
	})
	if _, err := os.Stat(out); err == nil {
		t.Error("wrong usage made a run folder")
	}
}

func TestNegativeValuesNeedNoEqualsSign(t *testing.T) {
	for _, tt := range []struct{ typed, means []string }{
		{[]string{"triage", "a", "--clock-offset", "-3h", "--water-temp", "-1.5"},
			[]string{"triage", "a", "--clock-offset=-3h", "--water-temp=-1.5"}},
		{[]string{"triage", "--clock-offset=-3h", "-.5"}, []string{"triage", "--clock-offset=-3h", "-.5"}},
		{[]string{"export", "a", "--out", "-", "-o", "-3"}, []string{"export", "a", "--out", "-", "-o", "-3"}},
		{[]string{"triage", "--out", "--range", "30m", "--", "-3"}, []string{"triage", "--out", "--range", "30m", "--", "-3"}},
		{[]string{"-3"}, []string{"-3"}},
	} {
		if got := joinNegative(tt.typed); !slices.Equal(got, tt.means) {
			t.Errorf("%q means %q, want %q", tt.typed, got, tt.means)
		}
	}
	capture := filepath.Join("..", "..", "testdata", "demo", "captures", "scan_20250614_065217.png")
	out := filepath.Join(t.TempDir(), "run")
	code, _, errs := shadowgap(t, "triage", capture, "--out", out, "--pictures", "none", "--clock-offset", "-1h")
	if code != exitRead {
		t.Fatalf("exit status %d: %s", code, errs)
	}
	text, err := os.ReadFile(filepath.Join(out, "captures.jsonl"))
	if err != nil || !strings.Contains(string(text), `"time":"2025-06-14T05:52:17Z"`) {
		t.Errorf("%s, %v; want the time an hour earlier", text, err)
	}
}

// Ctrl-C ends a command that keeps no run with a word on that alone.
func TestInterruptedRenderingSaysSo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "captures")
	var errs bytes.Buffer
	cmd := program("scene", "--out", dir, "--count", "500")
	cmd.Stderr = &errs
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for range 400 {
		if names, err := os.ReadDir(dir); err == nil && len(names) > 0 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // its exit status is asked for below
	if code := cmd.ProcessState.ExitCode(); code != exitFailed || !strings.HasSuffix(errs.String(), "\nshadowgap: stopped before the end\n") {
		t.Errorf("exit status %d, says %q", code, errs.String())
	}
}
