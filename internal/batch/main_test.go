package batch

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sync/semaphore"
	"golang.org/x/sys/unix"

	"shadowgap/detect"
	"shadowgap/internal/runstore"
)

const (
	workerEnv = "SHADOWGAP_BATCH_TEST_WORKER" // how a worker is to behave
	parentEnv = "SHADOWGAP_BATCH_TEST_PARENT" // a folder to run over
)

// TestMain lets the test binary be its own worker process, and a parent whose memory is its own.
func TestMain(m *testing.M) {
	switch os.Getenv(workerEnv) {
	case "":
		if dir := os.Getenv(parentEnv); dir != "" {
			os.Exit(parent(dir))
		}
		os.Exit(m.Run())
	case "die":
		fmt.Fprintln(os.Stderr, "no room to start")
		os.Exit(1)
	case "hang":
		select {}
	}
	out := os.NewFile(responseFD, "responses")
	if err := serve(context.Background(), os.Stdin, out, moody, func() { os.Exit(1) }); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// moody is an analysis whose misbehaviour is in the capture's name.
func moody(ctx context.Context, job Job, data []byte) (*detect.CaptureRecord, []detect.MarkRecord, error) {
	switch name := filepath.Base(job.Capture); {
	case strings.HasPrefix(name, "crash-once"):
		// The first try leaves a file behind that the second one finds.
		if f, err := os.OpenFile(filepath.Join(job.RunDir, name), os.O_CREATE|os.O_EXCL, 0o600); err == nil {
			f.Close()
			kill()
		}
	case strings.HasPrefix(name, "crash"):
		if f, err := os.OpenFile(filepath.Join(job.RunDir, "crashes"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600); err == nil {
			fmt.Fprint(f, "x")
			f.Close()
		}
		kill()
	case strings.HasPrefix(name, "exit"):
		fmt.Fprintln(os.Stderr, "fatal error: runtime: out of memory")
		os.Exit(2)
	case strings.HasPrefix(name, "hang"):
		select {} // deaf to ctx, as native code is
	case strings.HasPrefix(name, "broken-run"):
		return nil, nil, fmt.Errorf("no space left on device")
	case strings.HasPrefix(name, "stuck"):
		return unreadable(job, "took longer than is fair"), nil, errStuck
	case strings.HasPrefix(name, "talks"), strings.HasPrefix(name, "shouts"):
		rec, _ := recordsOf(job, &detect.Result{Status: detect.StatusRead})
		for range (maxHeader - 1<<20) / 1000 {
			rec.Notes = append(rec.Notes, strings.Repeat("n", 997))
		}
		if strings.HasPrefix(name, "shouts") {
			rec.Notes = append(rec.Notes, strings.Repeat("n", 2<<20))
		}
		return rec, nil, nil
	case strings.HasPrefix(name, "dull"):
		res := &detect.Result{Status: detect.StatusRead}
		if job.Clutter {
			res.Marks = []detect.MarkRecord{{Mark: "p0-1", Class: detect.Clutter,
				Odds: detect.Odds{detect.BottomObject: 0.4, detect.Clutter: 0.6}}}
		}
		rec, marks := recordsOf(job, res)
		return rec, marks, nil
	case strings.HasPrefix(name, "slow"):
		time.Sleep(300 * time.Millisecond)
	}
	rec, marks := recordsOf(job, &detect.Result{Status: detect.StatusRead, Interest: float64(len(data)) / 100,
		Marks: []detect.MarkRecord{{Mark: "p0-1"}}})
	return rec, marks, nil
}

func kill() {
	_ = unix.Kill(os.Getpid(), unix.SIGSEGV)
	select {}
}

func startTestWorker() *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), workerEnv+"=1")
	return cmd
}

// behaving is a Starter whose workers behave one after another as told, and then as they should.
func behaving(how ...string) Starter {
	var mu sync.Mutex
	return func() *exec.Cmd {
		mu.Lock()
		defer mu.Unlock()
		cmd := startTestWorker()
		if len(how) > 0 {
			cmd.Env = append(cmd.Env, workerEnv+"="+how[0])
			how = how[1:]
		}
		return cmd
	}
}

// parent runs over a folder and prints how many captures were read, how many not, and the most it kept resident, in KiB.
func parent(dir string) int {
	debug.SetGCPercent(25)
	out, err := os.MkdirTemp("", "parent")
	if err != nil {
		return 1
	}
	defer os.RemoveAll(out)
	l := newLedger()
	read, failed := 0, 0
	l.drop = func(c *detect.CaptureRecord) {
		if c.Status == detect.StatusRead {
			read++
		} else {
			failed++
		}
	}
	cfg := Config{
		Inputs: Inputs{Paths: []string{dir}}, RunDir: out, Workers: 2, Start: startTestWorker,
		Versions: detect.Versions{Code: "test", Model: "m1"},
		Settings: func(string, []byte) Settings { return Settings{Hash: "s1"} },
	}
	if _, err := Run(context.Background(), context.Background(), cfg, l, l); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 1
	}
	for line := range strings.Lines(string(status)) {
		if kib, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			fmt.Println(read, failed, strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(kib), "kB")))
		}
	}
	return 0
}

// ledger is a Store and an Observer in memory.
type ledger struct {
	mu     sync.Mutex
	recs   map[string]*detect.CaptureRecord
	marks  map[string][]string
	from   map[string]runstore.Origin
	tried  map[string]string
	known  []string
	notes  []string
	puts   int
	onPut  func(n int) error
	expect int
	told   int                         // marks that the observer was told of
	drop   func(*detect.CaptureRecord) // counts records, which then are not kept
}

func newLedger() *ledger {
	return &ledger{
		recs: map[string]*detect.CaptureRecord{}, marks: map[string][]string{}, from: map[string]runstore.Origin{},
		tried: map[string]string{},
	}
}

func (l *ledger) Roots(context.Context) (map[string]int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	roots := map[string]int{}
	for _, from := range l.from {
		roots[from.Root]++
	}
	return roots, nil
}

func (l *ledger) Holds(_ context.Context, root, path string) (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	from, there := l.from[path]
	return there && from.Root == root, nil
}

func (l *ledger) Done(_ context.Context, path, sha, settings, model string) (detect.Status, bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	r := l.recs[path]
	if r == nil || r.SHA256 != sha || r.Versions.Settings != settings || r.Versions.Model != model {
		return "", false, nil
	}
	return r.Status, true, nil
}

func (l *ledger) Seen(_ context.Context, path string, from runstore.Origin, model string) (string, detect.Status, bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	r := l.recs[path]
	was := l.from[path]
	from.Within = was.Within
	if r == nil || from.Stamp == "" || from.Basis == "" || was != from || r.Versions.Model != model {
		return "", "", false, nil
	}
	return r.SHA256, r.Status, true, nil
}

func (l *ledger) Within(_ context.Context, path, _ string) (string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.from[path].Within, nil
}

func (l *ledger) Tried(_ context.Context, path, sha, _, _ string) (string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.tried[path+sha], nil
}

func (l *ledger) SetTried(_ context.Context, path, sha, _, _, why string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.tried[path+sha] = why
	return nil
}

func (l *ledger) Restamp(_ context.Context, looks []runstore.Look) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, k := range looks {
		k.From.Within = l.from[k.Path].Within
		l.from[k.Path] = k.From
	}
	return nil
}

func (l *ledger) Put(_ context.Context, from runstore.Origin, c *detect.CaptureRecord, marks []detect.MarkRecord) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.puts++
	if l.onPut != nil {
		if err := l.onPut(l.puts); err != nil {
			return err
		}
	}
	if l.drop != nil {
		l.drop(c)
		return nil
	}
	delete(l.tried, c.Capture+c.SHA256)
	l.recs[c.Capture], l.from[c.Capture] = c, from
	l.marks[c.Capture] = nil
	for _, m := range marks {
		l.marks[c.Capture] = append(l.marks[c.Capture], m.Mark)
	}
	return nil
}

func (l *ledger) Expect(n int) { l.expect = n }
func (l *ledger) Finished(rec *detect.CaptureRecord, marks int, known bool) {
	l.told += marks
	if known {
		l.known = append(l.known, rec.Capture)
	}
}
func (l *ledger) Note(s string) { l.notes = append(l.notes, s) }

// folder makes files with the given names, their content being the name, and returns where.
func folder(t testing.TB, names ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, n := range names {
		write(t, filepath.Join(dir, n), n)
	}
	return dir
}

func write(t testing.TB, path, content string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

func testConfig(t testing.TB, dir string) Config {
	return Config{
		Inputs: Inputs{Paths: []string{dir}}, RunDir: t.TempDir(), Workers: 2, Start: startTestWorker,
		Versions: detect.Versions{Code: "test", Model: "m1"},
		Settings: func(string, []byte) Settings { return Settings{Hash: "s1"} },
	}
}

func semaphoreOf(n int64) *semaphore.Weighted { return semaphore.NewWeighted(n) }
