package batch

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"math"
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
// memory is the ceiling for this process in bytes, 0 for none; every capture is weighed with model. It exits the process when in ends
// while a capture is under way, because then the parent is gone.
func Serve(ctx context.Context, in io.Reader, memory int64, model *models.Model) error {
	if err := limitMemory(memory); err != nil {
		return err
	}
	out := os.NewFile(responseFD, "responses")
	if out == nil {
		return errors.New("a worker is started by triage, not by hand")
	}
	defer out.Close()
	unix.CloseOnExec(responseFD) // a program that the worker starts must not hold the pipe open
	w := weigher{model: model, ceiling: memory}
	err := serve(ctx, in, out, w.analyse, func() { os.Exit(1) })
	return errors.Join(err, w.Close())
}

// weigher is an Analyst with a model that was read once, not for each capture.
type weigher struct {
	model   *models.Model
	ceiling int64 // of the process in bytes; 0 = none
	analyst Analyst
	aim     int64 // what Go's memory is kept to at the moment
	stuck   bool  // the analyst is still busy with what was cut off
}

// What Go's part of a worker keeps to, which says when garbage is collected: a capture of two megapixels needs some 70 MiB at once. Small
// ones are then done with few collections, and no capture makes a worker much larger than it needs.
const (
	aimLeast    = 72 << 20
	aimPerPixel = 36
)

// aimOf is what Go's memory is to keep to while a capture of that size is looked at, under a ceiling for the whole process; 0 = none.
func aimOf(pixels, ceiling int64) int64 {
	aim := max(aimLeast, aimPerPixel*pixels)
	if ceiling > 0 {
		aim = min(aim, goShare(ceiling))
	}
	return aim
}

// keepTo makes the garbage collector aim at what a capture of that size takes.
func (w *weigher) keepTo(pixels int64) {
	aim := aimOf(pixels, w.ceiling)
	if aim != w.aim { // setting it stops all goroutines for a moment
		debug.SetMemoryLimit(aim)
		w.aim = aim
	}
}

// goShare is how much of a ceiling Go may fill; the rest is for what the networks take.
func goShare(ceiling int64) int64 { return ceiling * 3 / 4 }

// analyse is Analyst.Analyse. A model other than the parent's is a failure of the run: its file has changed since. A capture that takes
// far longer than one of its size should is cut off, and errStuck then says that the process is good for nothing else: what it is doing
// can't be stopped.
func (w *weigher) analyse(ctx context.Context, job Job, data []byte) (*detect.CaptureRecord, []detect.MarkRecord, error) {
	if job.Versions.Model != w.model.Version {
		return nil, nil, fmt.Errorf("the model is %s, the run began with %s: the model's file has changed", w.model.Version, job.Versions.Model)
	}
	job.Options.Model = w.model
	pixels := pixelsOf(data)
	w.keepTo(pixels)
	if job.Limit <= 0 {
		return w.analyst.Analyse(ctx, job, data)
	}
	type done struct {
		rec   *detect.CaptureRecord
		marks []detect.MarkRecord
		err   error
	}
	job.Limit = fairTime(job, pixels)
	ended := make(chan done, 1)
	go func() {
		rec, marks, err := w.analyst.Analyse(ctx, job, data)
		ended <- done{rec, marks, err}
	}()
	cut := time.NewTimer(job.Limit + graceToStop)
	defer cut.Stop()
	select {
	case d := <-ended:
		return d.rec, d.marks, d.err
	case <-cut.C:
		w.stuck = true
		return unreadable(job, tooSlow(job.Limit)), nil, errStuck
	}
}

// Close frees what the analyst holds, but for one that is still busy: its memory goes with the process.
func (w *weigher) Close() error {
	if w.stuck {
		return nil
	}
	return w.analyst.Close()
}

var errStuck = errors.New("still busy with what was cut off")

// What a capture may take at most, by its size: some twenty times what it takes on a slow machine. A picture that is broken in a
// way that a decoder or the detector chews on for minutes gives itself away by that.
const (
	fairBase     = 15 * time.Second
	fairPerPixel = 500 * time.Nanosecond
	fairToRead   = 30 * time.Second // more where the text on the capture is read as well
)

func fairTime(job Job, pixels int64) time.Duration {
	fair := fairBase + time.Duration(pixels)*fairPerPixel
	if job.ReadText {
		fair += fairToRead
	}
	return min(fair, job.Limit)
}

// pixelsOf is how many pixels a picture's header declares, 0 when that can't be told.
func pixelsOf(data []byte) (n int64) {
	// Decoders of third parties are known to panic on crafted files; Decode, which comes next, words that.
	defer func() {
		if recover() != nil {
			n = 0
		}
	}()
	conf, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || conf.Width <= 0 || conf.Height <= 0 || conf.Width > math.MaxInt32 || conf.Height > math.MaxInt32 {
		return 0
	}
	return min(int64(conf.Width)*int64(conf.Height), detect.DefaultMaxPixels)
}

// limitMemory makes the garbage collector work harder near the ceiling and the kernel refuse memory above it. The limit
// is on data, not on address space, of which Go and the C library reserve much more than they use.
func limitMemory(ceiling int64) error {
	if ceiling <= 0 {
		return nil
	}
	debug.SetMemoryLimit(goShare(ceiling))
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
	if err := writeFrame(out, response{}, nil, 0); err != nil {
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
		data := msg.data
		msg.data = nil // else the file stays in memory while what is in it is searched
		rec, marks, err := analyse(ctx, msg.req.Job, data)
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, errStuck):
			answer.Capture, answer.Last = rec, true
		case err != nil:
			answer.Failure = err.Error()
		default:
			answer.Capture, answer.Marks = rec, marks
		}
		err = writeFrame(out, answer, nil, 0)
		if errors.Is(err, errNotEncodable) {
			why := fmt.Sprintf("detection gave a result that can't be stored: %v", err)
			answer = response{Capture: unreadable(msg.req.Job, why), Last: answer.Last}
			err = writeFrame(out, answer, nil, 0)
		}
		if err != nil {
			return fmt.Errorf("answering the parent: %w", err)
		}
		if answer.Last {
			return nil
		}
	}
	return nil
}
