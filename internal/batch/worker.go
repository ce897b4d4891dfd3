package batch

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"time"

	"golang.org/x/sys/unix"

	"shadowgap/detect"
	"shadowgap/models"
)

// responseFD is where a worker process writes: not stdout, which native code might print to.
const responseFD = 3

// graceToStop is how long a capture under way may take to notice that nobody waits for it.
const graceToStop = 2 * time.Second

// Serve is the life of a worker process: it reads captures from in until that ends and answers on file descriptor 3.
// memory is the ceiling for this process in bytes, 0 for none; every capture is weighed with model. It exits the process when in ends while a
// capture is under way, because then the parent is gone.
func Serve(ctx context.Context, in io.Reader, memory int64, model *models.Model) error {
	if err := limitMemory(memory); err != nil {
		return err
	}
	// What a worker keeps is large and holds no pointers, so that collecting often costs next to nothing and keeps it small.
	debug.SetGCPercent(15)
	out := os.NewFile(responseFD, "responses")
	if out == nil {
		return errors.New("a worker is started by triage, not by hand")
	}
	defer out.Close()
	return serve(ctx, in, out, with(model), func() { os.Exit(1) })
}

// with is Analyst.Analyse with a model that was read once, not for each capture. A model other than the parent's is a failure of the run:
// its file has changed since.
func with(model *models.Model) analyseFunc {
	var analyst Analyst
	return func(ctx context.Context, job Job, data []byte) (*detect.CaptureRecord, []detect.MarkRecord, error) {
		if job.Versions.Model != model.Version {
			return nil, nil, fmt.Errorf("the model is %s, the run began with %s: the model's file has changed", model.Version, job.Versions.Model)
		}
		job.Options.Model = model
		return analyst.Analyse(ctx, job, data)
	}
}

// limitMemory makes the garbage collector work harder near the ceiling and the kernel refuse memory above it. The limit
// is on data, not on address space, of which Go and the C library reserve much more than they use.
func limitMemory(ceiling int64) error {
	if ceiling <= 0 {
		return nil
	}
	debug.SetMemoryLimit(ceiling * 3 / 4)
	// Room for code, stacks and arenas that are mapped but hold nothing yet.
	const slack = 256 << 20
	limit := uint64(ceiling + slack)
	if err := unix.Setrlimit(unix.RLIMIT_DATA, &unix.Rlimit{Cur: limit, Max: limit}); err != nil {
		return fmt.Errorf("setting the memory ceiling: %w", err)
	}
	return nil
}

type incoming struct {
	req  request
	data []byte
	err  error
}

type analyseFunc func(context.Context, Job, []byte) (*detect.CaptureRecord, []detect.MarkRecord, error)

// serve calls abandon when in has ended and the capture under way does not give up within a moment.
func serve(ctx context.Context, in io.Reader, out io.Writer, analyse analyseFunc, abandon func()) error {
	if err := writeFrame(out, response{}, nil); err != nil {
		return fmt.Errorf("answering the parent: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	requests := make(chan incoming)
	go func() {
		defer close(requests)
		r := bufio.NewReaderSize(in, 1<<16)
		for {
			var msg incoming
			msg.err = readHeader(r, &msg.req)
			if msg.err == nil {
				msg.data, msg.err = readBody(r, msg.req.Bytes)
			}
			if msg.err == nil {
				requests <- msg
				continue
			}
			cancel() // stop what is under way: nobody waits for it
			select {
			case requests <- msg:
			case <-time.After(graceToStop):
				abandon()
			}
			return
		}
	}()
	for msg := range requests {
		if errors.Is(msg.err, io.EOF) {
			return nil
		}
		if msg.err != nil {
			return fmt.Errorf("reading a capture from the parent: %w", msg.err)
		}
		var answer response
		rec, marks, err := analyse(ctx, msg.req.Job, msg.data)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			answer.Failure = err.Error()
		default:
			answer.Capture, answer.Marks = rec, marks
		}
		err = writeFrame(out, answer, nil)
		if errors.Is(err, errNotEncodable) {
			answer = response{Capture: Unreadable(msg.req.Job, fmt.Sprintf("detection gave a result that can't be stored: %v", err))}
			err = writeFrame(out, answer, nil)
		}
		if err != nil {
			return fmt.Errorf("answering the parent: %w", err)
		}
	}
	return nil
}
