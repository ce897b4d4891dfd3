package batch

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sync/semaphore"
	"golang.org/x/sys/unix"
)

// Starter makes the command of a worker process, not yet started: a program that calls Serve on its standard input.
type Starter func() *exec.Cmd

// stopLimit is how long a worker may take to end when it is told to.
const stopLimit = 5 * time.Second

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
	room   *semaphore.Weighted // for answers
}

// startProcess starts a worker and waits until it is ready, as long as limit and until ctx ends.
func startProcess(ctx context.Context, start Starter, limit time.Duration, room *semaphore.Weighted) (*process, error) {
	cmd := start()
	p := &process{cmd: cmd, stderr: &tail{}, room: room}
	cmd.Stdout, cmd.Stderr = p.stderr, p.stderr
	// A group of its own keeps Ctrl-C on the terminal for the parent, which lets captures under way finish.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	// What the worker started may outlive it and hold its standard error; nobody waits for that.
	cmd.WaitDelay = stopLimit
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
	release := context.AfterFunc(ctx, p.kill)
	defer release()
	var ready response
	err = p.within(limit, func() error { return readHeader(p.frames, &ready) })
	if err == nil {
		return p, nil
	}
	if err = p.fault(err); errors.Is(err, errTimedOut) {
		return nil, fmt.Errorf("starting a worker: it was not ready after %v", limit)
	}
	return nil, fmt.Errorf("starting a worker: it ended before it was ready: %w", err)
}

// ask has the worker analyse one capture. It is killed when it has not answered grace after the job's own time limit. After an error
// that wraps errCrashed or errTimedOut the worker is gone. The answer holds room until it is released.
func (p *process) ask(ctx context.Context, job Job, b *body, grace time.Duration) (response, error) {
	limit := job.Limit + grace
	if job.Limit <= 0 {
		limit = 0
	}
	var size int64
	err := p.within(limit, func() (err error) {
		if err = writeFrame(p.in, request{job, b.size}, b.reader(), b.size); err == nil {
			size, err = readSize(p.frames)
		}
		return err
	})
	if err != nil {
		return response{}, p.fault(err)
	}
	answer := response{held: size * answerCost}
	if err := p.room.Acquire(ctx, answer.held); err != nil {
		return response{}, p.fault(err)
	}
	if err := p.within(limit, func() error { return readJSON(p.frames, size, &answer) }); err != nil {
		p.release(answer)
		return response{}, p.fault(err)
	}
	return answer, nil
}

// release gives back the room of an answer that has been dealt with.
func (p *process) release(answer response) { p.room.Release(answer.held) }

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
	// The worker leads a group of its own, so that what it started goes with it. Both fail only when there is nothing left to kill.
	if p.cmd.Process.Signal(syscall.Signal(0)) == nil {
		_ = unix.Kill(-p.cmd.Process.Pid, unix.SIGKILL)
	}
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
		if strings.HasPrefix(s, "fatal error:") || strings.HasPrefix(s, "panic:") || strings.HasPrefix(s, "SIG") ||
			strings.Contains(s, "terminate called") {
			return s
		}
	}
	lines := bytes.Split(bytes.TrimSpace(t.last), []byte("\n"))
	return strings.TrimSpace(string(lines[len(lines)-1]))
}
