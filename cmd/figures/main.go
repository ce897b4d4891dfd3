// Command figures gathers what a score measured, tells which bounds are met, and keeps what a text quotes of it up to date.
//
//	go run ./cmd/figures -parts bin/score -summary testdata/score/summary.json
//	go run ./cmd/figures -summary testdata/score/summary.json -quote README.md
//	go run ./cmd/figures -summary testdata/score/summary.json -check README.md
package main

import (
	"flag"
	"fmt"
	"io"
	"os"

	"shadowgap/eval/figures"
)

type settings struct {
	parts   string
	summary string
	root    string
	quote   string
	check   string
}

func main() {
	var s settings
	flag.StringVar(&s.parts, "parts", "", "folder of a score's parts: gather their results.json into the summary and print the tables")
	flag.StringVar(&s.summary, "summary", "testdata/score/summary.json", "the summary: what is kept of a score")
	flag.StringVar(&s.root, "root", ".", "folder of the repository, for the detector's fingerprint")
	flag.StringVar(&s.quote, "quote", "", "text whose quotations of the summary are brought up to date")
	flag.StringVar(&s.check, "check", "", "text whose quotations of the summary must be up to date; exit status 1 where they are not")
	flag.Parse()
	if err := run(s, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "figures:", err)
		os.Exit(1)
	}
}

func run(s settings, out io.Writer) error {
	bounds, err := figures.Project()
	if err != nil {
		return err
	}
	summary, err := figures.Load(s.summary)
	if err != nil {
		return err
	}
	if s.parts != "" {
		if info, err := os.Stat(s.parts); err != nil || !info.IsDir() {
			return fmt.Errorf("%s is no folder of a score: \"make score\" makes one", s.parts)
		}
		detector, err := figures.Fingerprint(s.root)
		if err != nil {
			return err
		}
		if summary, err = figures.Gather(s.parts, detector, bounds, summary); err != nil {
			return err
		}
		if err := summary.Save(s.summary); err != nil {
			return err
		}
		for _, table := range []string{summary.SetsTable(bounds), summary.BoundsTable(bounds), summary.PeersTable(bounds)} {
			fmt.Fprintln(out, table)
		}
	}
	for _, file := range []string{s.quote, s.check} {
		if file == "" {
			continue
		}
		if summary == nil {
			return fmt.Errorf("there is no summary %s: \"make score\" writes it", s.summary)
		}
		if err := quote(summary, bounds, file, file == s.check); err != nil {
			return err
		}
	}
	return nil
}

// quote brings a text up to date, or only says that it is not.
func quote(summary *figures.Summary, bounds *figures.Bounds, file string, only bool) error {
	data, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("reading what quotes the summary: %w", err)
	}
	text, err := summary.Quote(string(data), bounds)
	switch {
	case err != nil:
		return fmt.Errorf("%s: %w", file, err)
	case text == string(data):
		return nil
	case only:
		return fmt.Errorf("%s quotes figures that are not the summary's; \"go run ./cmd/figures -quote %s\" brings them up to date", file, file)
	}
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		return fmt.Errorf("writing what quotes the summary: %w", err)
	}
	return nil
}
