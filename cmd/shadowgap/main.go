// Command shadowgap looks through side-scan sonar captures for things on and over the bottom, and tells them apart by the
// gap between highlight and shadow.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"reflect"
	"syscall"
	"time"

	"github.com/alecthomas/kong"
)

// version is the code's version in records; it changes when the same capture may give another result.
const version = "0.1.0"

// Exit statuses.
const (
	exitRead       = 0 // everything was read
	exitFailed     = 1 // the run itself failed or was stopped before its end; the same command goes on with it
	exitUsage      = 2 // wrong usage
	exitUnreadable = 3 // finished, some captures unreadable
)

// cli is the command line.
type cli struct {
	Triage  triageCmd  `cmd:"" help:"Look through captures and rank what is in them."`
	Explain explainCmd `cmd:"" help:"Explain one capture: an annotated picture and a page of reasons."`
	Export  exportCmd  `cmd:"" help:"Write a run's marks for other programs."`
	Review  reviewCmd  `cmd:"" help:"Look through a run and decide, in a browser."`
	Merge   mergeCmd   `cmd:"" help:"Join runs, such as the parts of a run split over machines."`
	Compare compareCmd `cmd:"" help:"Compare two days on one water: what is still there, new or gone, and where targets come back."`
	Score   scoreCmd   `cmd:"" help:"Compare a run with labels."`
	Fit     fitCmd     `cmd:"" help:"Fit a new model to labels and to decisions made in reviews."`
	Scene   sceneCmd   `cmd:"" help:"Render captures of an invented lake, with their truth."`
	Demo    demoCmd    `cmd:"" help:"Render, triage and score captures of an invented lake."`
	Worker  workerCmd  `cmd:"" hidden:"" help:"A worker process of triage; not for use by hand."`

	Version kong.VersionFlag `help:"Print the version and stop."`
}

// console is where a command writes and what may stop it.
type console struct {
	out   io.Writer // results
	err   io.Writer // progress and logs
	ctx   context.Context
	abort context.Context // ends at the second interrupt
	args  []string        // what was typed, without the program's name
}

// status is an error that carries an exit status; its message may be empty.
type status struct {
	code int
	msg  string
}

func (s status) Error() string { return s.msg }

func usage(format string, args ...any) error { return status{exitUsage, fmt.Sprintf(format, args...)} }

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run executes one command line and returns the exit status.
func run(args []string, stdout, stderr io.Writer) int {
	var c cli
	exited := -1
	parser, err := kong.New(&c,
		kong.Name("shadowgap"),
		kong.Description("Finds things on and over the bottom in side-scan sonar captures.\n\n"+
			"Exit status: 0 everything was read; 1 the run failed or was stopped; 2 wrong usage; 3 finished, but some captures could not be read."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(code int) { exited = code }),
		kong.Vars{"version": "shadowgap " + version},
		longHelp(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.TypeMapper(reflect.TypeFor[time.Duration](), kong.MapperFunc(decodeDuration)),
	)
	if err != nil {
		fmt.Fprintln(stderr, "shadowgap:", err)
		return exitFailed
	}
	parser.Model.HelpFlag.Help = "Show this page."
	if len(args) == 0 {
		args = []string{"--help"}
	}
	kctx, err := parser.Parse(joinNegative(args))
	if exited >= 0 { // --help and --version have printed what was asked for
		return exited
	}
	if err != nil {
		fmt.Fprintf(stderr, "shadowgap: %s\nTry: %s --help\n", wrongLine(err), commandOf(err))
		return exitUsage
	}
	ctx, abort, done := interrupts(stderr)
	defer done()
	err = kctx.Run(&console{out: stdout, err: stderr, ctx: ctx, abort: abort, args: args})
	if err == nil {
		return exitRead
	}
	if ctx.Err() != nil && errors.Is(err, context.Canceled) { // whoever pressed Ctrl-C need not hear what it interrupted
		err = errors.New("stopped before the end")
	}
	code := exitFailed
	var s status
	if errors.As(err, &s) {
		code = s.code
	}
	if msg := err.Error(); msg != "" {
		fmt.Fprintln(stderr, "shadowgap:", msg)
	}
	return code
}

// interrupts returns a context that ends at the first Ctrl-C or SIGTERM and one that ends at the second.
func interrupts(stderr io.Writer) (ctx, abort context.Context, done func()) {
	ctx, stop := context.WithCancel(context.Background())
	abort, drop := context.WithCancel(context.Background())
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	quit := make(chan struct{})
	go func() {
		for first := true; ; first = false {
			select {
			case <-signals:
			case <-quit:
				return
			}
			if first {
				fmt.Fprintln(stderr, "\nstopping after what is under way; once more stops at once")
				stop()
				continue
			}
			drop()
		}
	}()
	return ctx, abort, func() {
		signal.Stop(signals)
		close(quit)
		stop()
		drop()
	}
}
