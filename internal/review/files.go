package review

import (
	"bufio"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// writeFile writes a file so that a reader sees the old content or the whole new one, never a part.
func writeFile(path string, data []byte) error {
	return writeTo(path, func(w io.Writer) error { _, err := w.Write(data); return err })
}

// writeTo is writeFile for what is made while it is written.
func writeTo(path string, write func(io.Writer) error) error {
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

// cspHash is the source expression that lets exactly this inline script or style run.
func cspHash(content string) string {
	sum := sha256.Sum256([]byte(content))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// staticCSP is the policy of a page without scripts whose one <style> element is in the template itself.
func staticCSP(page string) string {
	_, rest, _ := strings.Cut(page, "<style>")
	css, _, _ := strings.Cut(rest, "</style>")
	return "default-src 'none'; img-src data:; style-src " + cspHash(css) + "; base-uri 'none'; form-action 'none'"
}
