package batch

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"shadowgap/detect"
)

const workerEnv = "SHADOWGAP_BATCH_TEST_WORKER"

// TestMain lets the test binary be its own worker process.
func TestMain(m *testing.M) {
	if os.Getenv(workerEnv) == "" {
		os.Exit(m.Run())
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
		kill()
	case strings.HasPrefix(name, "exit"):
		fmt.Fprintln(os.Stderr, "fatal error: runtime: out of memory")
		os.Exit(2)
	case strings.HasPrefix(name, "hang"):
		select {} // deaf to ctx, as native code is
	case strings.HasPrefix(name, "broken-run"):
		return nil, nil, fmt.Errorf("no space left on device")
	case strings.HasPrefix(name, "slow"):
		time.Sleep(300 * time.Millisecond)
	}
	rec, marks := Records(job, &detect.Result{Status: detect.StatusRead, Interest: float64(len(data)) / 100, Marks: []detect.MarkRecord{{Mark: "p0-1"}}})
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

// ledger is a Store and an Observer in memory.
type ledger struct {
	mu     sync.Mutex
	recs   map[string]*detect.CaptureRecord
	marks  map[string][]string
	known  []string
	notes  []string
	puts   int
	onPut  func(n int) error
	expect int
}

func newLedger() *ledger {
	return &ledger{recs: map[string]*detect.CaptureRecord{}, marks: map[string][]string{}}
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

func (l *ledger) Put(_ context.Context, _ string, c *detect.CaptureRecord, marks []detect.MarkRecord) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.puts++
	if l.onPut != nil {
		if err := l.onPut(l.puts); err != nil {
			return err
		}
	}
	l.recs[c.Capture] = c
	l.marks[c.Capture] = nil
	for _, m := range marks {
		l.marks[c.Capture] = append(l.marks[c.Capture], m.Mark)
	}
	return nil
}

func (l *ledger) Expect(n int) { l.expect = n }
func (l *ledger) Finished(rec *detect.CaptureRecord, _ int, known bool) {
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
