package batch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/sys/unix"

	"shadowgap/detect"
	"shadowgap/internal/runstore"
)

// Inputs are the files and folders a run reads.
type Inputs struct {
	Paths       []string
	FollowLinks bool   // follow symbolic links that lead out of the given folders, and links to folders
	Skip        string // a folder to leave out: the run's own
}

// pictureExts are taken without a look inside; other files are taken when their first bytes are a picture's.
var pictureExts = [...]string{".png", ".jpg", ".jpeg", ".jpe", ".tif", ".tiff", ".bmp", ".gif", ".webp"}

// wanted reports whether a file in a folder is to be read.
func wanted(path string) bool {
	return isArchive(path) || hasPictureExt(path) || startsLikePicture(path)
}

func hasPictureExt(name string) bool {
	ext := strings.ToLower(filepath.Ext(name))
	for _, e := range pictureExts {
		if ext == e {
			return true
		}
	}
	return false
}

// entry is a file found in the inputs. open may be called once, before the next entry is asked for.
type entry struct {
	path string // relative to the root, with forward slashes
	file string // absolute path of the file or archive on disk
	open func() (io.ReadCloser, error)
	err  error // set instead of open for what could not be looked at
}

// Root returns the folder that capture paths are relative to: the deepest one that holds every given path.
func (in Inputs) Root() (string, error) {
	root := ""
	for _, p := range in.Paths {
		abs, err := filepath.Abs(p)
		if err != nil {
			return "", fmt.Errorf("finding %s: %w", p, err)
		}
		dir := abs
		if info, err := os.Stat(abs); err != nil || !info.IsDir() {
			dir = filepath.Dir(abs)
		}
		if root == "" {
			root = dir
		}
		for !within(root, dir) {
			root = filepath.Dir(root)
		}
	}
	return root, nil
}

// Any reports whether the inputs hold anything to read.
func (in Inputs) Any(ctx context.Context) (bool, error) {
	root, err := in.Root()
	if err != nil {
		return false, err
	}
	for range entries(ctx, in, root, func(string) {}) {
		return true, nil
	}
	return false, nil
}

// within reports whether path is dir or lies below it; both absolute and clean.
func within(dir, path string) bool {
	return path == dir || strings.HasPrefix(path, strings.TrimSuffix(dir, string(filepath.Separator))+string(filepath.Separator))
}

// walker visits the inputs in a fixed order: as given, folders by name.
type walker struct {
	in    Inputs
	root  string
	note  func(string)
	yield func(entry) bool
	taken map[string]bool // resolved folders already walked, against links that go round in circles
}

// entries yields what the inputs hold. note gets a sentence for what was left out.
func entries(ctx context.Context, in Inputs, root string, note func(string)) iter.Seq[entry] {
	return func(yield func(entry) bool) {
		w := &walker{in: in, root: root, note: note, yield: yield, taken: map[string]bool{}}
		for _, p := range in.Paths {
			abs, err := filepath.Abs(p)
			if err != nil {
				abs = p
			}
			if !w.input(ctx, abs) {
				return
			}
		}
	}
}

// input visits one path the user named; links in it are followed because the user asked for them.
func (w *walker) input(ctx context.Context, abs string) bool {
	info, err := os.Stat(abs)
	switch {
	case err != nil:
		return w.failed(abs, err)
	case info.IsDir():
		return w.folder(ctx, abs, abs)
	case info.Mode().IsRegular():
		return w.file(ctx, abs)
	}
	return w.failed(abs, errors.New("it is neither a file nor a folder"))
}

func (w *walker) failed(abs string, err error) bool {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return w.yield(entry{path: w.name(abs), file: abs, err: err})
}

// folder walks dir, which was reached from the input folder top.
func (w *walker) folder(ctx context.Context, dir, top string) bool {
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		if w.taken[real] {
			return true
		}
		w.taken[real] = true
	}
	names, err := os.ReadDir(dir)
	if err != nil {
		return w.failed(dir, err)
	}
	for _, d := range names {
		if ctx.Err() != nil {
			return false
		}
		if strings.HasPrefix(d.Name(), ".") {
			continue
		}
		path := filepath.Join(dir, d.Name())
		ok := true
		switch {
		case d.IsDir():
			if !w.skipped(path) {
				ok = w.folder(ctx, path, top)
			}
		case d.Type().IsRegular():
			if wanted(path) {
				ok = w.file(ctx, path)
			}
		case d.Type()&fs.ModeSymlink != 0:
			ok = w.link(ctx, path, top)
		}
		if !ok {
			return false
		}
	}
	return true
}

// skipped leaves out run folders: the pictures in them are our own.
func (w *walker) skipped(dir string) bool {
	return dir == w.in.Skip || runstore.IsRun(dir)
}

func (w *walker) link(ctx context.Context, path, top string) bool {
	target, err := filepath.EvalSymlinks(path)
	if err != nil {
		w.note(fmt.Sprintf("left out %s: the link leads nowhere", w.name(path)))
		return true
	}
	info, err := os.Stat(target)
	if err != nil {
		return w.failed(path, err)
	}
	realTop, err := filepath.EvalSymlinks(top)
	if err != nil {
		return w.failed(path, err)
	}
	switch {
	case info.IsDir() && !w.in.FollowLinks:
		w.note(fmt.Sprintf("left out %s: a link to a folder (--follow-links takes it)", w.name(path)))
		return true
	case info.IsDir():
		return w.skipped(target) || w.folder(ctx, path, top)
	case !info.Mode().IsRegular() || !wanted(path):
		return true
	case !within(realTop, target) && !w.in.FollowLinks:
		w.note(fmt.Sprintf("left out %s: a link out of the folder (--follow-links takes it)", w.name(path)))
		return true
	}
	return w.file(ctx, path)
}

// file visits a picture or an archive.
func (w *walker) file(ctx context.Context, path string) bool {
	if isArchive(path) {
		return w.archive(ctx, path)
	}
	return w.yield(entry{path: w.name(path), file: path, open: func() (io.ReadCloser, error) { return openRegular(path) }})
}

// openRegular never waits: a pipe that took the file's place since it was found is refused.
func openRegular(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is not a regular file")
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func startsLikePicture(path string) bool {
	f, err := openRegular(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var head [16]byte
	n, err := io.ReadFull(f, head[:])
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false
	}
	return detect.IsPicture(head[:n])
}

// name is the path that records show: relative to the root, forward slashes, valid UTF-8.
func (w *walker) name(abs string) string {
	rel, err := filepath.Rel(w.root, abs)
	if err != nil {
		rel = abs
	}
	return printable(filepath.ToSlash(rel))
}

// printable keeps names apart that are not valid UTF-8: JSON would turn every bad byte into the same sign.
func printable(name string) string {
	if utf8.ValidString(name) {
		return name
	}
	q := strconv.Quote(name)
	return q[1 : len(q)-1]
}
