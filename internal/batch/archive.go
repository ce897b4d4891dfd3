package batch

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"path/filepath"
	"strings"
	"time"
)

// Guards against archives made to fill a machine. Captures are compressed pictures: an honest archive of them hardly
// grows when it is opened.
const (
	maxArchiveEntries = 1_000_000
	maxArchiveGrowth  = 200      // times the archive's own size …
	minArchiveRoom    = 1 << 30  // … but at least this many bytes
	minMemberRoom     = 64 << 20 // the same for one member of a .zip, which says what it is compressed to
	maxZipTable       = 12 << 20 // bytes of a .zip's table of contents, all of which is in memory at once: some 100,000 captures
)

var errBomb = errors.New("the archive grows beyond every honest size when it is opened; the rest of it is left out")

func isArchive(name string) bool {
	name = strings.ToLower(name)
	return strings.HasSuffix(name, ".zip") || strings.HasSuffix(name, ".tar.gz") || strings.HasSuffix(name, ".tgz")
}

// archive visits the pictures inside an archive, in the order they are stored. Nothing is unpacked to disk.
func (w *walker) archive(ctx context.Context, f found) bool {
	file, err := w.open(f)
	if err != nil {
		return w.failed(f.path, err)
	}
	defer file.Close()
	size, stamp, err := identity(file, time.Now())
	if err != nil {
		return w.failed(f.path, err)
	}
	budget := &allowance{left: max(size*maxArchiveGrowth, minArchiveRoom)}
	a := archive{walker: w, file: f.path, size: size, stamp: stamp, budget: budget, times: map[nameKey]int32{}}
	visit := a.tarball
	if strings.HasSuffix(strings.ToLower(f.path), ".zip") {
		visit = a.zipped
	}
	goOn, err := visit(ctx, file)
	if err != nil && ctx.Err() == nil {
		return w.yield(entry{path: w.name(f.path), file: f.path, err: fmt.Errorf("the archive can't be read to its end: %w", err)})
	}
	return goOn
}

// archive is one being walked.
type archive struct {
	*walker
	file   string
	size   int64
	stamp  string
	budget *allowance
	times  map[nameKey]int32 // how often a name has come
}

// stampOf tells a member from that of every other state of the archive.
func (a *archive) stampOf(place int) string {
	if a.stamp == "" {
		return ""
	}
	return fmt.Sprintf("%s/%d", a.stamp, place)
}

func (a *archive) zipped(ctx context.Context, r io.ReaderAt) (bool, error) {
	table := &tableReader{r: r, left: maxZipTable}
	z, err := zip.NewReader(table, a.size)
	if err != nil {
		return true, err
	}
	table.left = -1
	if len(z.File) > maxArchiveEntries {
		return true, fmt.Errorf("it holds %d entries, more than the limit of %d", len(z.File), maxArchiveEntries)
	}
	for i, zf := range z.File {
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		if !zf.Mode().IsRegular() {
			continue
		}
		name, ok := a.inside(zf.Name)
		if !ok {
			continue
		}
		e := entry{path: name, file: a.file, open: func() (source, error) { return a.openZipped(zf, i) }}
		if !a.yield(e) {
			return false, nil
		}
		if a.budget.left < 0 {
			return true, errBomb
		}
	}
	return true, nil
}

// openZipped refuses a bomb by what the archive declares; that no more comes out than was declared is seen to where it is read.
func (a *archive) openZipped(zf *zip.File, place int) (source, error) {
	packed, size := zf.CompressedSize64, zf.UncompressedSize64
	if size > math.MaxInt64 || size/maxArchiveGrowth > max(packed, minMemberRoom/maxArchiveGrowth) {
		return source{}, fmt.Errorf("it declares %d bytes out of %d compressed, more than any honest picture", size, packed)
	}
	rc, err := zf.Open()
	if err != nil {
		return source{}, err
	}
	return source{budgeted{rc, rc, a.budget}, int64(size), a.stampOf(place)}, nil
}

// tableReader lets no more than left bytes be read through it; once left is negative it no longer counts.
type tableReader struct {
	r    io.ReaderAt
	left int64
}

var errBigTable = fmt.Errorf("its table of contents is longer than %d MiB; split it", maxZipTable>>20)

func (t *tableReader) ReadAt(p []byte, off int64) (int, error) {
	if t.left >= 0 {
		if t.left < int64(len(p)) {
			return 0, errBigTable
		}
		t.left -= int64(len(p))
	}
	return t.r.ReadAt(p, off)
}

func (a *archive) tarball(ctx context.Context, r io.ReaderAt) (bool, error) {
	gz, err := gzip.NewReader(io.NewSectionReader(r, 0, a.size))
	if err != nil {
		return true, err
	}
	defer gz.Close()
	t := tar.NewReader(budgeted{gz, gz, a.budget})
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
		name, ok := a.inside(head.Name)
		if !ok {
			continue
		}
		e := entry{path: name, file: a.file, open: func() (source, error) { return source{io.NopCloser(t), head.Size, a.stampOf(n)}, nil }}
		if !a.yield(e) {
			return false, nil
		}
	}
}

// inside names an archive's member, or leaves it out: other things than pictures, hidden files, and names that
// point out of the archive. Members that come under one name get numbers.
func (a *archive) inside(stored string) (string, bool) {
	clean := path.Clean(strings.ReplaceAll(stored, `\`, "/"))
	if !filepath.IsLocal(clean) {
		a.note(fmt.Sprintf("left out %q in %s: its name points out of the archive", stored, a.name(a.file)))
		return "", false
	}
	for _, part := range strings.Split(clean, "/") {
		if strings.HasPrefix(part, ".") {
			return "", false
		}
	}
	if isArchive(clean) {
		a.note(fmt.Sprintf("left out %q in %s: archives inside archives are not opened", stored, a.name(a.file)))
		return "", false
	}
	if !hasPictureExt(clean) {
		return "", false
	}
	name := a.name(a.file) + "/" + printable(clean)
	if a.anyOrder {
		return name, true // for counting any name will do
	}
	key := keyOf(clean)
	a.times[key]++
	if n := a.times[key]; n > 1 {
		// No member ends in a number like this, because its name would have to end as a picture's does.
		numbered := fmt.Sprintf("%s#%d", name, n)
		a.note(fmt.Sprintf("%s comes more than once in its archive; this one is called %s", name, numbered))
		return numbered, true
	}
	return name, true
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
