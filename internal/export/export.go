// Package export writes a run's captures and marks as files that other programs open.
package export

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"

	"shadowgap/detect"
	"shadowgap/internal/decided"
)

// Captures yields capture records in the order they are to be written; it stops after the first error.
type Captures = iter.Seq2[*detect.CaptureRecord, error]

// Marks yields marks in the order they are to be written; it stops after the first error.
type Marks = decided.Marks

// File writes the file at path through write, atomically: other programs see the old file or the whole new one, also
// after a power cut. On an error the old file stays as it was.
func File(path string, write func(w io.Writer) error) (err error) {
	dir := filepath.Dir(path)
	tmp, err := os.CreateTemp(dir, ".writing-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err == nil {
			return
		}
		err = fmt.Errorf("writing %s: %w", path, err)
		_ = tmp.Close() // closed already on the later paths; the first failure is the one to report
		if rmErr := os.Remove(tmp.Name()); rmErr != nil && !errors.Is(rmErr, fs.ErrNotExist) {
			err = errors.Join(err, rmErr)
		}
	}()
	if err := tmp.Chmod(0o644); err != nil {
		return err
	}
	buf := bufio.NewWriterSize(tmp, 1<<16)
	if err := write(buf); err != nil {
		return err
	}
	if err := buf.Flush(); err != nil {
		return err
	}
	if err := tmp.Sync(); err != nil {
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return err
	}
	return syncDir(dir)
}

// syncDir makes a rename in dir survive a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
