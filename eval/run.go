package eval

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
)

// maxLine is the longest line of a record file that is read: a capture with every row of every profile of a very tall
// picture stays far below.
const maxLine = 256 << 20

// Run is what the detector said about a set of captures.
type Run struct {
	Captures  []detect.CaptureRecord
	Marks     []detect.MarkRecord
	InputRoot string // folder the capture paths are relative to; "" = pictures are not at hand
}

// LoadRun reads captures.jsonl and marks.jsonl of the run folder dir. InputRoot is left empty: the records don't hold it. It
// returns an error that names the file and line of the first broken record, and one for a mark of a capture that the run
// doesn't list.
func LoadRun(dir string) (*Run, error) {
	var run Run
	known := map[string]bool{}
	err := eachLine(filepath.Join(dir, "captures.jsonl"), func(line []byte) error {
		c, err := detect.DecodeCapture(line)
		if err != nil {
			return err
		}
		if known[c.Capture] {
			return fmt.Errorf("capture %q is listed twice", c.Capture)
		}
		known[c.Capture] = true
		run.Captures = append(run.Captures, *c)
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = eachLine(filepath.Join(dir, "marks.jsonl"), func(line []byte) error {
		m, err := detect.DecodeMark(line)
		if err != nil {
			return err
		}
		if !known[m.Capture] {
			return fmt.Errorf("mark %q belongs to capture %q, which captures.jsonl does not list", m.Mark, m.Capture)
		}
		run.Marks = append(run.Marks, *m)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &run, nil
}

func eachLine(file string, do func([]byte) error) error {
	f, err := os.Open(file)
	if err != nil {
		return fmt.Errorf("reading run: %w", err)
	}
	defer f.Close()
	r := bufio.NewReaderSize(f, 1<<16)
	for n := 1; ; n++ {
		line, err := readLine(r)
		if len(bytes.TrimSpace(line)) > 0 {
			if err := do(line); err != nil {
				return fmt.Errorf("%s line %d: %w", file, n, err)
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("reading %s line %d: %w", file, n, err)
		}
	}
}

func readLine(r *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > maxLine {
			return nil, fmt.Errorf("longer than %d MiB", maxLine>>20)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, err
		}
	}
}

// sizes returns the size of each capture by its path, 0 × 0 where it could not be read.
func (r *Run) sizes() map[string]image.Point {
	m := make(map[string]image.Point, len(r.Captures))
	for _, c := range r.Captures {
		m[c.Capture] = image.Pt(c.Width, c.Height)
	}
	return m
}

// in returns the labels of the captures that are known, and how many are left out: a run of a part of what is labelled is scored by that
// part. A label that fits more than one capture stays, and where none is known all do, for Check to name.
func (l Labels) in(sizes map[string]image.Point) (part Labels, lacking int) {
	part = l
	part.Captures = slices.DeleteFunc(slices.Clone(l.Captures), func(c CaptureLabel) bool {
		_, known := sizes[c.Capture]
		for have := range sizes {
			known = known || strings.HasSuffix(have, "/"+c.Capture) || strings.HasSuffix(c.Capture, "/"+have)
		}
		return !known && c.Capture != ""
	})
	if len(part.Captures) == 0 {
		return l, 0
	}
	return part, len(l.Captures) - len(part.Captures)
}

// rebased returns labels with each capture under the path the run has it by. Labels name captures from their own folder and a
// run from its input root; where these differ, one path ends in the other. Labels that fit no capture, or more than one,
// are left for Check to name.
func rebased(l Labels, sizes map[string]image.Point) Labels {
	out := l
	out.Captures = append([]CaptureLabel(nil), l.Captures...)
	for i := range out.Captures {
		name := out.Captures[i].Capture
		if _, exact := sizes[name]; exact || name == "" {
			continue
		}
		var fits []string
		for have := range sizes {
			if strings.HasSuffix(have, "/"+name) || strings.HasSuffix(name, "/"+have) {
				fits = append(fits, have)
			}
		}
		if len(fits) == 1 {
			out.Captures[i].Capture = fits[0]
		}
	}
	return out
}
