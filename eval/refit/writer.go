package refit

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
)

// mayWriteBeside returns an error when no file can be made in the folder of a file that is to be written, unless its name is empty.
func mayWriteBeside(name string) error {
	if name == "" {
		return nil
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".may-write-*")
	if err != nil {
		return fmt.Errorf("%s can't be written: %w", name, err)
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// writer writes records to one file, from several goroutines.
type writer struct {
	what string // the records, for errors
	mu   sync.Mutex
	file *os.File
	buf  *bufio.Writer
}

func newWriter(what, name string) (*writer, error) {
	f, err := os.Create(name)
	if err != nil {
		return nil, fmt.Errorf("writing %s: %w", what, err)
	}
	return &writer{what: what, file: f, buf: bufio.NewWriterSize(f, 1<<20)}, nil
}

func (w *writer) close() error { return errors.Join(w.buf.Flush(), w.file.Close()) }

// write writes the pieces of one record behind each other.
func (w *writer) write(record ...[]byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, piece := range record {
		if _, err := w.buf.Write(piece); err != nil {
			return fmt.Errorf("writing %s: %w", w.what, err)
		}
	}
	return nil
}
