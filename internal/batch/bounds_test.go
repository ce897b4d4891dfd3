package batch

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
)

const pngHead = "\x89PNG\r\n\x1a\n"

// Whatever comes in, the parent keeps below this.
const parentLimitMiB = 256

func TestParentMemoryIsBounded(t *testing.T) {
	if _, err := os.Stat("/proc/self/status"); err != nil {
		t.Skip("no /proc here to read memory from")
	}
	dir := t.TempDir()
	zeros := strings.Repeat("\x00", 80<<20)
	bombs := []tarMember{{"a.png", zeros, 0}, {"b.png", pngHead + zeros, 0}}
	write(t, filepath.Join(dir, "zeros.zip"), string(zipOf(t, bombs)))
	write(t, filepath.Join(dir, "zeros.tgz"), string(tarOf(t, bombs)))
	write(t, filepath.Join(dir, "liar.zip"), string(lying(t, zipOf(t, bombs[:1]), len(zeros), 100)))
	for _, name := range []string{"large.png", "noise.png"} { // a capture that is too large for memory, and a file that is none
		head := map[string]string{"large.png": pngHead, "noise.png": "noise"}[name]
		write(t, filepath.Join(dir, name), head)
		if err := os.Truncate(filepath.Join(dir, name), 240<<20); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 6 {
		write(t, filepath.Join(dir, fmt.Sprintf("talks%d.png", i)), "x")
		write(t, filepath.Join(dir, fmt.Sprintf("medium%d.png", i)), strings.Repeat("m", 15<<20)+fmt.Sprint(i))
	}
	write(t, filepath.Join(dir, "shouts.png"), "x")
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), parentEnv+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var read, failed, kib int
	if _, err := fmt.Sscan(string(out), &read, &failed, &kib); err != nil {
		t.Fatalf("%q: %v", out, err)
	}
	t.Logf("%d read, %d not, %d MiB at most", read, failed, kib>>10)
	// Not read: both members of zeros.zip, that of liar.zip, what is too much to answer. The .tgz holds no more than it may.
	if read != 16 || failed != 4 {
		t.Errorf("%d read and %d not, want 16 and 4", read, failed)
	}
	if kib>>10 > parentLimitMiB {
		t.Errorf("the parent took %d MiB, want %d at most", kib>>10, parentLimitMiB)
	}
}

// lying replaces the declared size of an archive's members.
func lying(t testing.TB, data []byte, truth, lie int) []byte {
	t.Helper()
	told := binary.LittleEndian.AppendUint32(nil, uint32(truth))
	if !bytes.Contains(data, told) {
		t.Fatal("the archive declares nothing")
	}
	return bytes.ReplaceAll(data, told, binary.LittleEndian.AppendUint32(nil, uint32(lie)))
}

func TestLargeCaptureArrivesWhole(t *testing.T) {
	content := pngHead + strings.Repeat("0123456789", 2<<20)
	dir := folder(t)
	write(t, filepath.Join(dir, "large.png"), content)
	write(t, filepath.Join(dir, "large.tgz"), string(tarOf(t, []tarMember{{"large.png", content, 0}})))
	write(t, filepath.Join(dir, "crash-once.png"), content) // a second try reads it again
	cfg := testConfig(t, dir)
	var looked int
	cfg.Settings = func(_ string, data []byte) Settings {
		if string(data) == content {
			looked++
		}
		return Settings{Hash: "s1"}
	}
	l := newLedger()
	if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"large.png", "large.tgz/large.png", "crash-once.png"} {
		rec := l.recs[name]
		if rec == nil || rec.SHA256 != detect.Sum([]byte(content)) || rec.Interest != float64(len(content))/100 {
			t.Errorf("%s: %+v", name, rec)
		}
	}
	if looked != 3 {
		t.Errorf("settings saw the content of %d captures, want 3", looked)
	}
	if left, _ := filepath.Glob(filepath.Join(cfg.RunDir, ".part-*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
}

func TestGrowingFileIsRefused(t *testing.T) {
	src := source{ReadCloser: io.NopCloser(strings.NewReader(pngHead + "more than it said")), size: 12}
	_, _, err := intake{room: semaphoreOf(1 << 20), lim: detect.Limits{}.Or()}.read(t.Context(), src, "a.png")
	if !errors.Is(err, errLonger) {
		t.Errorf("got %v", err)
	}
}

var quick = patience{limit: 3 * time.Second, pause: time.Millisecond, longest: 4 * time.Millisecond, first: 3, later: 3}

func TestWorkersThatFailToStart(t *testing.T) {
	names := []string{"a.png", "b.png", "c.png", "crash.png", "crash-once.png", "d.png", "e.png"}
	for _, tt := range []struct {
		name    string
		how     []string
		workers int
		says    string
	}{
		{"the first ones die", []string{"die", "die", "die"}, 2, "starting it again"},
		{"the first one hangs", []string{"hang"}, 1, "was not ready after 3s; starting it again"},
		{"one place stays empty", []string{"die", "die", "die", "die", "die"}, 2, "going on with fewer workers: 1"},
		{"later ones die and hang", []string{"work", "work", "die", "hang", "die", "die"}, 2, "no room to start"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cfg := testConfig(t, folder(t, names...))
			cfg.Workers, cfg.patience, cfg.Start = tt.workers, quick, behaving(tt.how...)
			l := newLedger()
			if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
				t.Fatalf("%v\n%q", err, l.notes)
			}
			for _, name := range names {
				if rec := l.recs[name]; rec == nil || (rec.Status == detect.StatusRead) == (name == "crash.png") {
					t.Errorf("%s: %+v", name, rec)
				}
			}
			if !strings.Contains(strings.Join(l.notes, "\n"), tt.says) {
				t.Errorf("nobody says %q: %q", tt.says, l.notes)
			}
		})
	}
}

// When no worker lives any more the run ends with what is done stored; what was under way stays undone.
func TestNoWorkersLeft(t *testing.T) {
	dead := make([]string, 100)
	for i := range dead {
		dead[i] = "die"
	}
	for name, how := range map[string][]string{"never": dead, "later": append([]string{"work"}, dead...)} {
		t.Run(name, func(t *testing.T) {
			dir := folder(t, "a.png", "b.png", "crash.png", "d.png")
			cfg := testConfig(t, dir)
			cfg.Workers, cfg.patience, cfg.Start = 1, quick, behaving(how...)
			l := newLedger()
			_, err := Run(t.Context(), t.Context(), cfg, l, l)
			want := map[string]int{"never": 0, "later": 2}[name]
			if !errors.Is(err, errNoWorkers) || len(l.recs) != want {
				t.Errorf("got %v with %d records, want errNoWorkers with %d", err, len(l.recs), want)
			}
			cfg.Start = startTestWorker
			if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil || len(l.recs) != 4 || l.puts != 4 {
				t.Errorf("going on: %v, %d records after storing %d", err, len(l.recs), l.puts)
			}
		})
	}
}

// A hanging start must not hold up a run that has nothing left to do.
func TestEndDoesNotWaitForAStart(t *testing.T) {
	cfg := testConfig(t, folder(t, "a.png"))
	cfg.patience = quick
	cfg.patience.limit = time.Minute
	cfg.Start = behaving("work", "hang")
	began := time.Now()
	l := newLedger()
	if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil || len(l.recs) != 1 {
		t.Fatalf("%v, %d records", err, len(l.recs))
	}
	if took := time.Since(began); took > 20*time.Second {
		t.Errorf("took %v", took)
	}
}

// A capture that kills its worker is tried twice in all, also when the run is stopped between the two.
func TestKillerIsTriedTwiceOverAllRuns(t *testing.T) {
	cfg := testConfig(t, folder(t, "crash.png"))
	cfg.Workers, cfg.patience = 1, quick
	l := newLedger()
	dead := cfg
	dead.Start = behaving(append([]string{"work"}, strings.Split(strings.Repeat("die ", 20), " ")...)...)
	if _, err := Run(t.Context(), t.Context(), dead, l, l); !errors.Is(err, errNoWorkers) {
		t.Fatal(err)
	}
	if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
		t.Fatal(err)
	}
	rec := l.recs["crash.png"]
	if rec == nil || rec.Status != detect.StatusUnreadable || !strings.HasSuffix(*rec.Why, "tried twice") {
		t.Errorf("got %+v", rec)
	}
	if crashes, err := os.ReadFile(filepath.Join(cfg.RunDir, "crashes")); err != nil || len(crashes) != 2 {
		t.Errorf("%d workers died of it, want 2 (%v)", len(crashes), err)
	}
}

func TestStuckCaptureIsCutOffOnce(t *testing.T) {
	dir := folder(t, "a.png", "stuck.png", "z.png")
	cfg := testConfig(t, dir)
	cfg.Workers = 1
	l := newLedger()
	if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil {
		t.Fatal(err)
	}
	if rec := l.recs["stuck.png"]; rec == nil || rec.Status != detect.StatusUnreadable || *rec.Why != "took longer than is fair" {
		t.Errorf("got %+v", rec)
	}
	if len(l.recs) != 3 || len(l.notes) > 0 {
		t.Errorf("%d records, notes %q", len(l.recs), l.notes)
	}
}

func TestFairTime(t *testing.T) {
	for _, tt := range []struct {
		limit  time.Duration
		pixels int64
		text   bool
		want   time.Duration
	}{
		{time.Minute, 0, false, 15 * time.Second},
		{time.Minute, 1920 * 1080, false, 16036800 * time.Microsecond},
		{time.Minute, 1920 * 1080, true, 46036800 * time.Microsecond},
		{time.Minute, 100_000_000, false, time.Minute},
		{time.Second, 1920 * 1080, false, time.Second},
	} {
		if got := fairTime(Job{Limit: tt.limit, ReadText: tt.text}, tt.pixels); got != tt.want {
			t.Errorf("%+v: got %v", tt, got)
		}
	}
}

// A file that has not changed is not read again; one that has is.
func TestUnchangedFilesAreNotRead(t *testing.T) {
	dir := folder(t, "a.png", "b.png", "fresh.png")
	write(t, filepath.Join(dir, "more.zip"), string(zipOf(t, []tarMember{{"c.png", "c", 0}, {"d.png", "d", 0}})))
	old := time.Now().Add(-time.Hour)
	for _, name := range []string{"a.png", "b.png", "more.zip"} {
		if err := os.Chtimes(filepath.Join(dir, name), old, old); err != nil {
			t.Fatal(err)
		}
	}
	time.Sleep(settled + 100*time.Millisecond) // the time of change can't be set
	write(t, filepath.Join(dir, "fresh.png"), "fresh")
	cfg := testConfig(t, dir)
	cfg.Basis = "b1"
	var read []string
	cfg.Settings = func(name string, _ []byte) Settings {
		read = append(read, name)
		return Settings{Hash: "s1"}
	}
	l := newLedger()
	reads := func() int {
		t.Helper()
		read = nil
		sum, err := Run(t.Context(), t.Context(), cfg, l, l)
		if err != nil || sum.Found != 5 || len(l.recs) != 5 {
			t.Fatalf("%v, found %d, %d records", err, sum.Found, len(l.recs))
		}
		return len(read)
	}
	for _, tt := range []struct {
		name   string
		before func()
		want   int
	}{
		{"the first run", func() {}, 5},
		{"nothing changed", func() {}, 1}, // fresh.png may have changed within a tick of the clock
		{"another basis", func() { cfg.Basis = "b2" }, 5},
		{"that basis again", func() {}, 1},
		{"another content of the same size and time", func() {
			write(t, filepath.Join(dir, "a.png"), "other")
			if err := os.Chtimes(filepath.Join(dir, "a.png"), old, old); err != nil {
				t.Fatal(err)
			}
		}, 2},
		{"another archive", func() {
			write(t, filepath.Join(dir, "more.zip"), string(zipOf(t, []tarMember{{"c.png", "c", 0}, {"d.png", "e", 0}})))
		}, 4},
	} {
		tt.before()
		if got := reads(); got != tt.want {
			t.Errorf("%s: read %d files %q, want %d", tt.name, got, read, tt.want)
		}
	}
}

// Captures that wait for a second try hold room; those that live take them, so that reading goes on.
func TestWaitingCapturesDoNotBlockReading(t *testing.T) {
	dir := t.TempDir()
	for i := range 12 {
		name := fmt.Sprintf("z%02d.png", i)
		if i < 4 {
			name = fmt.Sprintf("crash-once%02d.png", i)
		}
		write(t, filepath.Join(dir, name), strings.Repeat("m", 15<<20)+fmt.Sprint(i))
	}
	cfg := testConfig(t, dir)
	cfg.Workers, cfg.patience = 5, quick
	dead := []string{"work", "work", "work", "work", "work"}
	for range 4 * quick.later { // enough for four slots to give up
		dead = append(dead, "die")
	}
	cfg.Start = behaving(dead...)
	l := newLedger()
	if _, err := Run(t.Context(), t.Context(), cfg, l, l); err != nil || len(l.recs) != 12 {
		t.Errorf("%v, %d records\n%q", err, len(l.recs), l.notes)
	}
}

// A worker's memory follows the capture, and never its ceiling's share for the networks.
func TestAim(t *testing.T) {
	for _, tc := range []struct{ pixels, ceiling, want int64 }{
		{0, 0, aimLeast},
		{800 * 480, 2 << 30, aimLeast},
		{3840 * 2160, 2 << 30, aimPerPixel * 3840 * 2160},
		{detect.DefaultMaxPixels, 2 << 30, 3 << 29},
		{1920 * 1080, 80 << 20, 60 << 20},
	} {
		if got := aimOf(tc.pixels, tc.ceiling); got != tc.want {
			t.Errorf("%d pixels under %d bytes: %d, want %d", tc.pixels, tc.ceiling, got, tc.want)
		}
	}
}
