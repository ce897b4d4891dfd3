package batch

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
)

func TestFaultsCostOneCapture(t *testing.T) {
	dir := folder(t, "a.png", "b.png", "crash.png", "crash-once.png", "exit.png", "hang.png", "sub/c.png", "z.png")
	cfg := testConfig(t, dir)
	cfg.Limit, cfg.Grace = 200*time.Millisecond, 300*time.Millisecond
	l := newLedger()
	sum, err := Run(t.Context(), t.Context(), cfg, l, l)
	if err != nil {
		t.Fatal(err)
	}
	if sum.Found != 8 || l.expect != 8 || len(l.recs) != 8 {
		t.Errorf("found %d, expected %d, stored %d; want 8 each", sum.Found, l.expect, len(l.recs))
	}
	want := map[string]string{
		"a.png": "", "b.png": "", "sub/c.png": "", "z.png": "", "crash-once.png": "",
		"crash.png": "crashed (exit status 2: SIGSEGV", "exit.png": "fatal error: runtime: out of memory",
		"hang.png": "took longer than the limit of 200ms",
	}
	for name, says := range want {
		rec := l.recs[name]
		switch {
		case rec == nil:
			t.Errorf("%s: no record", name)
		case says == "" && rec.Status != detect.StatusRead:
			t.Errorf("%s: status %s, %v", name, rec.Status, *rec.Why)
		case says != "" && (rec.Status != detect.StatusUnreadable || !strings.Contains(*rec.Why, says) ||
			!strings.HasSuffix(*rec.Why, "tried twice")):
			t.Errorf("%s: status %s, why %q; want %q, tried twice", name, rec.Status, *rec.Why, says)
		}
	}
}

// What is likeliest clutter is looked for in the workers where it is asked for, and then stored and counted like the rest.
func TestClutterIsCountedOnRequest(t *testing.T) {
	for clutter, dull := range map[bool]int{false: 0, true: 1} {
		cfg := testConfig(t, folder(t, "a.png", "b.png", "dull.png"))
		cfg.Clutter = clutter
		l := newLedger()
		if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
			t.Fatal(err)
		}
		if l.told != 2+dull || len(l.marks["dull.png"]) != dull {
			t.Errorf("clutter %t: told of %d marks, want %d; %d stored of the dull capture, want %d", clutter, l.told, 2+dull,
				len(l.marks["dull.png"]), dull)
		}
	}
}

// Captures that were done without clutter are looked at again where it is asked for, and the other way round.
func TestAskingForClutterLooksAgain(t *testing.T) {
	cfg := testConfig(t, folder(t, "a.png", "b.png", "dull.png"))
	l := newLedger()
	for _, run := range []struct {
		clutter bool
		known   int
	}{{false, 0}, {false, 3}, {true, 0}, {true, 3}, {false, 0}} {
		cfg.Clutter = run.clutter
		sum, err := Run(t.Context(), t.Context(), cfg, l, l)
		if err != nil {
			t.Fatal(err)
		}
		if sum.Known != run.known {
			t.Errorf("clutter %t: %d captures known, want %d", run.clutter, sum.Known, run.known)
		}
		for name, rec := range l.recs {
			if _, clutter := rec.Versions.Asked(); clutter != run.clutter {
				t.Errorf("clutter %t: settings of %s are %q", run.clutter, name, rec.Versions.Settings)
			}
		}
	}
}

func TestResultsDoNotDependOnWorkers(t *testing.T) {
	var names []string
	for i := range 30 {
		names = append(names, fmt.Sprintf("%c/cap%02d.png", 'a'+i%3, i))
	}
	dir := folder(t, names...)
	var first *ledger
	for _, workers := range []int{1, 4} {
		cfg := testConfig(t, dir)
		cfg.Workers = workers
		l := newLedger()
		if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = l
			continue
		}
		if !reflect.DeepEqual(first.recs, l.recs) || !reflect.DeepEqual(first.marks, l.marks) {
			t.Error("records differ between 1 worker and 4")
		}
	}
}

func TestDoneCapturesAreLeftAlone(t *testing.T) {
	dir := folder(t, "a.png", "b.png", "exit.png")
	cfg := testConfig(t, dir)
	l := newLedger()
	again := func() int {
		t.Helper()
		before := l.puts
		if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
			t.Fatal(err)
		}
		return l.puts - before
	}
	if n := again(); n != 3 {
		t.Errorf("first run stored %d, want 3", n)
	}
	if n := again(); n != 0 {
		t.Errorf("second run stored %d, want 0", n)
	}
	write(t, filepath.Join(dir, "a.png"), "other content")
	if n := again(); n != 1 {
		t.Errorf("after one file changed, stored %d, want 1", n)
	}
	cfg.Retry = true
	if n := again(); n != 1 {
		t.Errorf("retry stored %d, want the unreadable one", n)
	}
	cfg.Retry = false
	cfg.Settings = func(string, []byte) Settings { return Settings{Hash: "s2"} }
	if n := again(); n != 3 {
		t.Errorf("with other settings stored %d, want 3", n)
	}
	cfg.Versions.Model = "m2"
	if n := again(); n != 3 {
		t.Errorf("with another model stored %d, want 3", n)
	}
}

// A run that grows by a folder, or by the one around it, keeps the captures it has under the names they have; one that is given quite
// other folders says so.
func TestGrownRunCountsNothingTwice(t *testing.T) {
	dir := folder(t, "lake/day1/a.png", "lake/day1/sub/b.png", "lake/day2/a.png", "pond/c.png")
	write(t, filepath.Join(dir, "lake/day1/one.zip"), string(zipOf(t, []tarMember{{"z.png", "z", 0}})))
	l := newLedger()
	for _, tt := range []struct {
		paths  []string
		stored int
		names  []string // all that the run then holds
		notes  int
	}{
		{[]string{"lake/day1"}, 3, []string{"a.png", "one.zip/z.png", "sub/b.png"}, 0},
		{[]string{"lake/day1", "lake/day2"}, 1, []string{"a.png", "day2/a.png", "one.zip/z.png", "sub/b.png"}, 0},
		{[]string{"lake/day1/sub"}, 0, []string{"a.png", "day2/a.png", "one.zip/z.png", "sub/b.png"}, 0},
		{[]string{"lake"}, 0, []string{"a.png", "day2/a.png", "one.zip/z.png", "sub/b.png"}, 0},
		{[]string{"pond"}, 1, []string{"a.png", "c.png", "day2/a.png", "one.zip/z.png", "sub/b.png"}, 1},
		{[]string{"."}, 0, []string{"a.png", "c.png", "day2/a.png", "one.zip/z.png", "sub/b.png"}, 0},
	} {
		var paths []string
		for _, p := range tt.paths {
			paths = append(paths, filepath.Join(dir, p))
		}
		cfg := testConfig(t, dir)
		cfg.Inputs.Paths = paths
		before := l.puts
		l.notes = nil
		if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
			t.Fatal(err)
		}
		names := slices.Sorted(maps.Keys(l.recs))
		if n := l.puts - before; n != tt.stored || !slices.Equal(names, tt.names) || len(l.notes) != tt.notes {
			t.Errorf("%v: stored %d, holds %q, notes %q; want %d, %q and %d notes", tt.paths, n, names, l.notes, tt.stored, tt.names, tt.notes)
		}
	}
	write(t, filepath.Join(dir, "lake/day1/a.png"), "other content")
	cfg := testConfig(t, filepath.Join(dir, "lake"))
	before := l.recs["a.png"].SHA256
	if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil || len(l.recs) != 5 || l.recs["a.png"].SHA256 == before {
		t.Errorf("a changed file: %d captures, %v; want the five there are, one of them anew", len(l.recs), err)
	}
}

func TestStopFinishesWhatIsUnderWay(t *testing.T) {
	var names []string
	for i := range 40 {
		names = append(names, fmt.Sprintf("slow%02d.png", i))
	}
	cfg := testConfig(t, folder(t, names...))
	ctx, stop := context.WithCancel(t.Context())
	l := newLedger()
	l.onPut = func(n int) error {
		if n == 2 {
			stop()
		}
		return nil
	}
	_, err := Run(ctx, t.Context(), cfg, l, l)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
	if len(l.recs) < 2 || len(l.recs) > 6 {
		t.Errorf("stored %d captures after stopping at 2", len(l.recs))
	}
	for name, rec := range l.recs {
		if rec.Status != detect.StatusRead {
			t.Errorf("%s: %s", name, rec.Status)
		}
	}
}

func TestAbortDropsWhatIsUnderWay(t *testing.T) {
	cfg := testConfig(t, folder(t, "hang1.png", "hang2.png", "hang3.png"))
	ctx, stop := context.WithCancel(t.Context())
	time.AfterFunc(500*time.Millisecond, stop)
	l := newLedger()
	began := time.Now()
	_, err := Run(ctx, ctx, cfg, l, l)
	if !errors.Is(err, context.Canceled) || len(l.recs) != 0 {
		t.Errorf("got %v with %d records, want context.Canceled and none", err, len(l.recs))
	}
	if took := time.Since(began); took > 20*time.Second {
		t.Errorf("took %v to drop captures that hang", took)
	}
}

func TestFailureOfTheRunStopsIt(t *testing.T) {
	t.Run("store", func(t *testing.T) {
		full := errors.New("disk full")
		l := newLedger()
		l.onPut = func(n int) error {
			if n == 3 {
				return full
			}
			return nil
		}
		_, err := Run(t.Context(), t.Context(), testConfig(t, folder(t, "a.png", "b.png", "c.png", "d.png", "e.png")), l, l)
		if !errors.Is(err, full) || len(l.recs) < 2 {
			t.Errorf("got %v with %d records", err, len(l.recs))
		}
	})
	t.Run("pictures", func(t *testing.T) {
		l := newLedger()
		_, err := Run(t.Context(), t.Context(), testConfig(t, folder(t, "broken-run.png")), l, l)
		if err == nil || !strings.Contains(err.Error(), "no space left") {
			t.Errorf("got %v", err)
		}
	})
	t.Run("worker", func(t *testing.T) {
		cfg := testConfig(t, folder(t, "a.png"))
		inner := cfg.Start
		cfg.Start = func() *exec.Cmd {
			cmd := inner()
			cmd.Path = filepath.Join(t.TempDir(), "none")
			return cmd
		}
		l := newLedger()
		if _, err := Run(t.Context(), t.Context(), cfg, l, l); err == nil || len(l.recs) != 0 {
			t.Errorf("got %v with %d records, want an error and none", err, len(l.recs))
		}
	})
}

func TestWatchTakesNewCaptures(t *testing.T) {
	dir := folder(t, "a.png")
	cfg := testConfig(t, dir)
	cfg.Watch = 50 * time.Millisecond
	ctx, stop := context.WithTimeout(t.Context(), 30*time.Second)
	defer stop()
	l := newLedger()
	l.onPut = func(n int) error {
		switch n {
		case 1:
			write(t, filepath.Join(dir, "b.png"), "b.png")
			// A file that was just written to may still grow; an old time stamp says it is whole.
			old := time.Now().Add(-time.Minute)
			return os.Chtimes(filepath.Join(dir, "b.png"), old, old)
		case 2:
			stop()
		}
		return nil
	}
	if _, err := Run(ctx, t.Context(), cfg, l, l); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if len(l.recs) != 2 {
		t.Errorf("stored %d captures, want 2", len(l.recs))
	}
}

func TestShardsPartition(t *testing.T) {
	var names []string
	for i := range 40 {
		names = append(names, fmt.Sprintf("cap%02d.png", i))
	}
	dir := folder(t, names...)
	seen := map[string]int{}
	for i := range 3 {
		cfg := testConfig(t, dir)
		cfg.Shard = Shard{i, 3}
		l := newLedger()
		if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
			t.Fatal(err)
		}
		if len(l.recs) == 0 || len(l.recs) == 40 {
			t.Errorf("shard %d took %d of 40", i, len(l.recs))
		}
		for name := range l.recs {
			seen[name]++
		}
	}
	for _, name := range names {
		if seen[name] != 1 {
			t.Errorf("%s was taken %d times", name, seen[name])
		}
	}
}

// A run's length must not show in the parent's memory: what a capture held is let go.
func TestMemoryStaysFlat(t *testing.T) {
	const captures, size = 120, 1 << 20
	dir := t.TempDir()
	for i := range captures {
		write(t, filepath.Join(dir, fmt.Sprintf("cap%03d.png", i)), strings.Repeat(string(rune('a'+i%26)), size)+fmt.Sprint(i))
	}
	l := newLedger()
	var early, late uint64
	l.onPut = func(n int) error {
		var m runtime.MemStats
		switch n {
		case captures / 4:
			runtime.GC()
			runtime.ReadMemStats(&m)
			early = m.HeapAlloc
		case captures:
			runtime.GC()
			runtime.ReadMemStats(&m)
			late = m.HeapAlloc
		}
		return nil
	}
	if _, err := Run(t.Context(), t.Context(), testConfig(t, dir), l, l); err != nil {
		t.Fatal(err)
	}
	// Three quarters of the captures lie between the two looks; one in twenty of them kept would show.
	if late > early+captures*3/4*size/20 {
		t.Errorf("heap grew from %d to %d KiB over %d captures of %d KiB", early>>10, late>>10, captures*3/4, size>>10)
	}
}
