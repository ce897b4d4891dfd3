// Command alike tells whether two runs over the same captures, made on two kinds of machine, agree on the marks. Exit status: 0 they
// agree; 1 they don't, or could not be compared; 2 wrong usage.
//
//	go run ./cmd/alike bin/arm64/amd64 bin/arm64/arm64
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"

	"shadowgap/eval"
	"shadowgap/eval/alike"
)

func main() {
	flag.Usage = func() {
		fmt.Fprintln(flag.CommandLine.Output(), "usage: alike RUN OTHER-RUN")
	}
	flag.Parse()
	if flag.NArg() != 2 {
		flag.Usage()
		os.Exit(2)
	}
	if err := run(flag.Arg(0), flag.Arg(1), os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "alike:", err)
		os.Exit(1)
	}
}

// load loads a run, and says of a path that is none what to give instead.
func load(dir string) (*eval.Run, error) {
	run, err := eval.LoadRun(dir)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, unix.ENOTDIR) {
		return nil, fmt.Errorf(
			"%s is no run: give a folder that holds captures.jsonl and marks.jsonl, as \"shadowgap triage\" leaves it at --out (%w)", dir, err)
	}
	return run, err
}

func run(first, second string, out io.Writer) error {
	a, err := load(first)
	if err != nil {
		return err
	}
	b, err := load(second)
	if err != nil {
		return err
	}
	if len(a.Captures) == 0 {
		return fmt.Errorf("no capture in %s", first)
	}
	report, err := alike.Compare(a, b, alike.Promised())
	if err != nil {
		return err
	}
	if err := report.Print(out, first, second); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	if !report.Agree() {
		return errors.New("the runs don't agree")
	}
	return nil
}
