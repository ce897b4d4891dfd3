package batch

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Starter makes the command of a worker process, not yet started: a program that calls Serve on its standard input.
type Starter func() *exec.Cmd

// How long a worker may take to say that it is ready, and to end when it is told to.
const (
	startLimit = 60 * time.Second
	stopLimit  = 5 * time.Second
)

// Faults of a worker process, each of which costs one capture.
var (
	errCrashed  = errors.New("crashed")
	errTimedOut = errors.New("no answer in time")
)

// process is a running worker.
type process struct {
	cmd    *exec.Cmd
	in     io.WriteCloser
	out    *os.File
	frames *bufio.Reader
	stderr *tail
}

// startProcess starts a worker and waits until it is ready.
func startProcess(start Starter) (*process, error) {
	cmd := start()
	p := &process{cmd: cmd, stderr: &tail{}}
	cmd.Stdout, cmd.Stderr = p.stderr, p.stderr
	// A group of its own keeps Ctrl-C on the terminal for the parent, which lets captures under way finish.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, fmt.Errorf("starting a worker: %w", err)
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("starting a worker: %w", err)
	}
	cmd.ExtraFiles = []*os.File{w}
	err = cmd.Start()
	w.Close() // the worker's own copy keeps the pipe open
	if err != nil {
		r.Close()
		return nil, fmt.Errorf("starting a worker: %w", err)
	}
	p.in, p.out, p.frames = in, r, bufio.NewReaderSize(r, 1<<16)
	var ready response
	if err := p.within(startLimit, func() error { return readHeader(p.frames, &ready) }); err != nil {
		return nil, fmt.Errorf("starting a worker: it ended before it was ready: %w", p.fault(err))
	}
	return p, nil
}

// ask has the worker analyse one capture. It is killed when it has not answered grace after the job's own time limit. After an error that wraps errCrashed or errTimedOut the worker is gone.
func (p *process) ask(job Job, data []byte, grace time.Duration) (response, error) {
	var answer response
	limit := job.Limit + grace
	if job.Limit <= 0 {
		limit = 0
	}
	err := p.within(limit, func() error {
		if err := writeFrame(p.in, request{job, len(data)}, data); err != nil {
			return err
		}
		return readHeader(p.frames, &answer)
	})
	if err != nil {
		return response{}, p.fault(err)
	}
	return answer, nil
}

// within runs f and kills the worker when that takes longer than limit, which ends f. 0 is no limit.
func (p *process) within(limit time.Duration, f func() error) error {
	if limit <= 0 {
		return f()
	}
	expired := make(chan struct{})
	timer := time.AfterFunc(limit, func() {
		close(expired)
		p.kill()
	})
	err := f()
	if !timer.Stop() {
		<-expired
		return errTimedOut
	}
	return err
}

// fault ends the worker and words what happened to it.
func (p *process) fault(err error) error {
	p.kill()
	waitErr := p.wait()
	if errors.Is(err, errTimedOut) {
		return err
	}
	var how string
	switch {
	case waitErr != nil:
		how = waitErr.Error()
	default:
		how = "the worker process ended"
	}
	if said := p.stderr.reason(); said != "" {
		how += ": " + said
	}
	return fmt.Errorf("%w (%s)", errCrashed, how)
}

func (p *process) kill() {
	// It fails only when the process has ended, which is what is wanted.
	_ = p.cmd.Process.Kill()
}

func (p *process) wait() error {
	p.in.Close()
	err := p.cmd.Wait()
	p.out.Close()
	return err
}

// stop ends a worker that is not working.
func (p *process) stop() {
	p.in.Close()
	timer := time.AfterFunc(stopLimit, p.kill)
	// How it ends no longer matters to any capture.
	_ = p.wait()
	timer.Stop()
}

// tail keeps the first and the last of what a worker printed: the cause of a crash is in one of them.
type tail struct {
	mu          sync.Mutex
	first, last []byte
}

const tailSize = 4096

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if room := tailSize - len(t.first); room > 0 {
		t.first = append(t.first, p[:min(room, len(p))]...)
	}
	t.last = append(t.last, p...)
	if over := len(t.last) - tailSize; over > 0 {
		t.last = append(t.last[:0], t.last[over:]...)
	}
	return len(p), nil
}

// reason is the line that tells why the worker died, or its last one.
func (t *tail) reason() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, line := range bytes.Split(t.first, []byte("\n")) {
		s := strings.TrimSpace(string(line))
		if strings.HasPrefix(s, "fatal error:") || strings.HasPrefix(s, "panic:") || strings.HasPrefix(s, "SIG") || strings.Contains(s, "terminate called") {
			return s
		}
	}
	lines := bytes.Split(bytes.TrimSpace(t.last), []byte("\n"))
	return strings.TrimSpace(string(lines[len(lines)-1]))
}
