package batch

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"path"
	"path/filepath"
	"strings"
)

// Guards against archives made to fill a machine. Captures are compressed pictures: an honest archive of them hardly
// grows when it is opened.
const (
	maxArchiveEntries = 1_000_000
	maxArchiveGrowth  = 200     // times the archive's own size …
	minArchiveRoom    = 1 << 30 // … but at least this many bytes
)

var errBomb = errors.New("the archive grows beyond every honest size when it is opened; the rest of it is left out")

func isArchive(name string) bool {
	name = strings.ToLower(name)
	return strings.HasSuffix(name, ".zip") || strings.HasSuffix(name, ".tar.gz") || strings.HasSuffix(name, ".tgz")
}

// archive visits the pictures inside an archive, in the order they are stored. Nothing is unpacked to disk.
func (w *walker) archive(ctx context.Context, file string) bool {
	f, err := openRegular(file)
	if err != nil {
		return w.failed(file, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return w.failed(file, err)
	}
	room := max(info.Size()*maxArchiveGrowth, minArchiveRoom)
	visit := w.tarball
	if strings.HasSuffix(strings.ToLower(file), ".zip") {
		visit = w.zipped
	}
	goOn, err := visit(ctx, file, f, info.Size(), room)
	if err != nil && ctx.Err() == nil {
		return w.yield(entry{path: w.name(file), file: file, err: fmt.Errorf("the archive can't be read to its end: %w", err)})
	}
	return goOn
}

func (w *walker) zipped(ctx context.Context, file string, r io.ReaderAt, size, room int64) (bool, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return true, err
	}
	if len(z.File) > maxArchiveEntries {
		return true, fmt.Errorf("it holds %d entries, more than the limit of %d", len(z.File), maxArchiveEntries)
	}
	budget := &allowance{left: room}
	for _, zf := range z.File {
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		if !zf.Mode().IsRegular() {
			continue
		}
		name, ok := w.inside(file, zf.Name)
		if !ok {
			continue
		}
		e := entry{path: name, file: file, open: func() (io.ReadCloser, error) {
			rc, err := zf.Open()
			if err != nil {
				return nil, err
			}
			return budgeted{rc, rc, budget}, nil
		}}
		if !w.yield(e) {
			return false, nil
		}
		if budget.left < 0 {
			return true, errBomb
		}
	}
	return true, nil
}

func (w *walker) tarball(ctx context.Context, file string, r io.ReaderAt, size, room int64) (bool, error) {
	gz, err := gzip.NewReader(io.NewSectionReader(r, 0, size))
	if err != nil {
		return true, err
	}
	defer gz.Close()
	budget := &allowance{left: room}
	t := tar.NewReader(budgeted{gz, gz, budget})
	for n := 0; ; n++ {
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		head, err := t.Next()
		if errors.Is(err, io.EOF) {
			return true, nil
		}
		if err != nil {
			return true, err
		}
		if n >= maxArchiveEntries {
			return true, fmt.Errorf("it holds more than %d entries", maxArchiveEntries)
		}
		if head.Typeflag != tar.TypeReg {
			continue
		}
		name, ok := w.inside(file, head.Name)
		if !ok {
			continue
		}
		if !w.yield(entry{path: name, file: file, open: func() (io.ReadCloser, error) { return io.NopCloser(t), nil }}) {
			return false, nil
		}
	}
}

// inside names an archive's member, or leaves it out: other things than pictures, hidden files, and names that
// point out of the archive.
func (w *walker) inside(file, member string) (string, bool) {
	clean := path.Clean(strings.ReplaceAll(member, `\`, "/"))
	if !filepath.IsLocal(clean) {
		w.note(fmt.Sprintf("left out %q in %s: its name points out of the archive", member, w.name(file)))
		return "", false
	}
	for _, part := range strings.Split(clean, "/") {
		if strings.HasPrefix(part, ".") {
			return "", false
		}
	}
	if isArchive(clean) {
		w.note(fmt.Sprintf("left out %q in %s: archives inside archives are not opened", member, w.name(file)))
		return "", false
	}
	if !hasPictureExt(clean) {
		return "", false
	}
	return w.name(file) + "/" + printable(clean), true
}

// allowance is how many bytes may still come out of an archive.
type allowance struct{ left int64 }

type budgeted struct {
	io.Reader
	io.Closer
	budget *allowance
}

func (b budgeted) Read(p []byte) (int, error) {
	if b.budget.left < 0 {
		return 0, errBomb
	}
	n, err := b.Reader.Read(p[:min(int64(len(p)), b.budget.left+1)])
	b.budget.left -= int64(n)
	return n, err
}
