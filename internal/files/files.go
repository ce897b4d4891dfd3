// Package files writes and links the files of a run folder so that whoever reads one meanwhile finds it whole.
package files

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Write writes a file so that a reader sees the old content or the whole new one, never a part. It is not synced.
func Write(path string, data []byte) error {
	return WriteTo(path, func(w io.Writer) error { _, err := w.Write(data); return err })
}

// WriteTo is Write for what is made while it is written.
func WriteTo(path string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".part-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer os.Remove(f.Name()) // does nothing once renamed
	b := bufio.NewWriterSize(f, 1<<16)
	if err = write(b); err == nil {
		err = b.Flush()
	}
	if err == nil {
		err = f.Chmod(0o644)
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}

// Link makes a file of a run lead to the user's own, by the way from one to the other so that both can be moved together.
func Link(at, own string) error {
	dir, err := filepath.EvalSymlinks(filepath.Dir(at))
	if err != nil {
		return fmt.Errorf("linking to %s: %w", own, err)
	}
	target := own
	if rel, err := filepath.Rel(dir, own); err == nil {
		target = rel
	}
	// A link under another name first: the one that was there stays until the new one is whole.
	part := filepath.Join(dir, ".part-"+filepath.Base(at))
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("linking to %s: %w", own, err)
	}
	if err := os.Symlink(target, part); err != nil {
		return fmt.Errorf("linking to %s: %w", own, err)
	}
	if err := os.Rename(part, filepath.Join(dir, filepath.Base(at))); err != nil {
		return errors.Join(fmt.Errorf("linking to %s: %w", own, err), os.Remove(part))
	}
	return nil
}
