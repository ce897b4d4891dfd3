package batch

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
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
func (w *walker) wanted(f found) bool {
	return isArchive(f.path) || hasPictureExt(f.path) || w.startsLikePicture(f)
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
	path string // relative to the root, with forward slashes; no two entries of a walk have the same
	file string // absolute path of the file or archive on disk
	own  bool   // file is the capture itself, not an archive with it
	open func() (source, error)
	err  error // set instead of open for what could not be looked at
}

// source is an open capture.
type source struct {
	io.ReadCloser
	size  int64  // bytes as the file system or the archive declares them
	stamp string // changes when the file does; "" when it changed too lately to tell
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
	for range (walk{in: in, root: root, anyOrder: true}).entries(ctx) {
		return true, nil
	}
	return false, nil
}

// within reports whether path is dir or lies below it; both absolute and clean.
func within(dir, path string) bool {
	return path == dir || strings.HasPrefix(path, strings.TrimSuffix(dir, string(filepath.Separator))+string(filepath.Separator))
}

// walk is a way through the inputs: as given, folders by name.
type walk struct {
	in   Inputs
	root string
	note func(string) // gets a sentence for what was left out; may be nil
	// anyOrder takes a folder's files as they come, which needs no memory for their names: enough for counting.
	anyOrder bool
}

// entries yields what the inputs hold.
func (k walk) entries(ctx context.Context) iter.Seq[entry] {
	if k.note == nil {
		k.note = func(string) {}
	}
	return func(yield func(entry) bool) {
		w := &walker{walk: k, yield: yield, walked: map[string]bool{}, singled: map[nameKey]struct{}{}}
		for _, p := range k.in.Paths {
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

// walker is a walk under way.
type walker struct {
	walk
	yield func(entry) bool

	// A file is visited once, whatever ways lead to it. Where folders are walked once, only a file that was given by itself or that a
	// link leads to can come again: so those are remembered and not every file of a long walk.
	walked  map[string]bool      // resolved folders that were walked or are being walked; false where their names could not be read
	singled map[nameKey]struct{} // resolved files visited by themselves and not as their folder's

	top     string   // the input folder being walked, links resolved
	topRoot *os.Root // the same, open: nothing outside is reached through it; nil when links out of it are to be followed
}

// found is a regular file that the walk came upon.
type found struct {
	path string // as its name in records is made from
	real string // where it lies, links resolved
}

// input visits one path the user named; links in it are followed because the user asked for them.
func (w *walker) input(ctx context.Context, abs string) bool {
	info, err := os.Stat(abs)
	if err != nil {
		return w.failed(abs, err)
	}
	real, err := filepath.EvalSymlinks(abs)
	if err != nil {
		return w.failed(abs, err)
	}
	switch {
	case info.IsDir():
		return w.inputFolder(ctx, abs, real)
	case info.Mode().IsRegular():
		return w.single(ctx, found{abs, real})
	}
	return w.failed(abs, errors.New("it is "+kindOf(info.Mode())+", neither a file nor a folder"))
}

func (w *walker) inputFolder(ctx context.Context, abs, real string) bool {
	w.top = real
	if !w.in.FollowLinks {
		root, err := os.OpenRoot(real)
		if err != nil {
			return w.unlisted(abs, err)
		}
		defer root.Close()
		w.topRoot = root
		defer func() { w.topRoot = nil }()
	}
	return w.folder(ctx, abs, real)
}

func (w *walker) failed(abs string, err error) bool {
	return w.yield(entry{path: w.name(abs), file: abs, err: errors.New(fileWhy(err))})
}

// unlisted is a folder whose names can't be read. Its name ends in a slash, as no file's does; that of the root is its own.
func (w *walker) unlisted(dir string, err error) bool {
	name := w.name(dir)
	if dir == w.root {
		name = printable(filepath.Base(dir))
	}
	return w.yield(entry{path: name + "/", file: dir, err: fmt.Errorf("the folder can't be looked through: %s", fileWhy(err))})
}

// fileWhy says in a few words why a file or folder can't be opened, without its name.
func fileWhy(err error) string {
	if errors.Is(err, fs.ErrPermission) {
		return "you have no permission to read it"
	}
	return detect.FileWhy(err)
}

// folder walks dir, which lies in real when links are resolved.
func (w *walker) folder(ctx context.Context, dir, real string) bool {
	if _, again := w.walked[real]; again {
		w.note(fmt.Sprintf("the folder %s is reached in more than one way; it is looked through once", w.name(dir)))
		return true
	}
	w.walked[real] = true
	goOn := true
	err := w.names(dir, func(d dirName) bool {
		goOn = ctx.Err() == nil && w.member(ctx, found{filepath.Join(dir, d.name), filepath.Join(real, d.name)}, d.mode)
		return goOn
	})
	if err != nil && goOn {
		w.walked[real] = false // what it holds may still be given file by file
		return w.unlisted(dir, err)
	}
	return goOn
}

// dirName is a name in a folder.
type dirName struct {
	name string
	mode fs.FileMode // type bits only
}

// namesAtOnce is how many names of a folder are asked for at a time.
const namesAtOnce = 1024

// names visits the names in a folder, in their order unless any will do. Only names are kept of a folder, not what else the
// system says of each file: folders of a million files exist.
func (w *walker) names(dir string, visit func(dirName) bool) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	var all []dirName
	for {
		some, err := f.ReadDir(namesAtOnce)
		for _, d := range some {
			m := dirName{d.Name(), d.Type()}
			switch {
			case !w.anyOrder:
				all = append(all, m)
			case !visit(m):
				return nil
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	slices.SortFunc(all, func(a, b dirName) int { return strings.Compare(a.name, b.name) })
	for _, m := range all {
		if !visit(m) {
			return nil
		}
	}
	return nil
}

// member visits what a folder holds.
func (w *walker) member(ctx context.Context, f found, mode fs.FileMode) bool {
	switch {
	case hidden(f.path):
		return true
	case mode.IsDir():
		return w.skipped(f.path) || w.folder(ctx, f.path, f.real)
	case mode.IsRegular():
		if !w.wanted(f) {
			return true
		}
		if _, twice := w.singled[keyOf(f.real)]; twice {
			w.twice(f)
			return true
		}
		return w.file(ctx, f)
	case mode&fs.ModeSymlink != 0:
		return w.link(ctx, f.path)
	}
	w.note(fmt.Sprintf("left out %s: it is %s, not a file", w.name(f.path), kindOf(mode)))
	return true
}

func hidden(path string) bool { return strings.HasPrefix(filepath.Base(path), ".") }

// single visits a file that was given by itself or that a link leads to, unless it was visited or its own folder's walk takes it.
func (w *walker) single(ctx context.Context, f found) bool {
	key, own := keyOf(f.real), found{f.real, f.real}
	_, twice := w.singled[key]
	if twice || w.walked[filepath.Dir(f.real)] && !hidden(f.real) && w.wanted(own) {
		w.twice(f)
		return true
	}
	w.singled[key] = struct{}{}
	return w.file(ctx, f)
}

func (w *walker) twice(f found) {
	w.note(fmt.Sprintf("%s is reached in more than one way; it is looked at once", w.name(f.path)))
}

func kindOf(mode fs.FileMode) string {
	switch {
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeDevice != 0:
		return "a device"
	}
	return "something else"
}

// explainedPage is what an explained capture's folder holds beside drawings of it.
const explainedPage = "explain.html"

// explainedPicture are the names of the pictures beside that page.
var explainedPicture = regexp.MustCompile(`^(overlay|altitude(-[0-9]+)?)\.png$`)

// KeepsExplained tells what keeps a folder from taking an explained capture: pictures, archives or folders that are none of an
// explanation's own. Its page would have them left out of a run over the folder around them, and its pictures be read as captures in
// a run over the folder itself.
func KeepsExplained(dir string) error {
	names, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("it can't be looked through: %s", fileWhy(err))
	}
	earlier := slices.ContainsFunc(names, func(d fs.DirEntry) bool { return d.Name() == explainedPage })
	for _, d := range names {
		name := d.Name()
		switch {
		case hidden(name), earlier && explainedPicture.MatchString(name):
		case name == runstore.FileName:
			return errors.New("it is the folder of a run")
		case d.IsDir():
			return fmt.Errorf("it holds another folder, %s", name)
		case isArchive(name), hasPictureExt(name):
			return fmt.Errorf("it holds captures, such as %s, and triage would mix them up with the explanation", name)
		}
	}
	return nil
}

// skipped leaves out run folders and those of explained captures: the pictures in them are our own.
func (w *walker) skipped(dir string) bool {
	if dir == w.in.Skip || runstore.IsRun(dir) {
		return true
	}
	_, err := os.Stat(filepath.Join(dir, explainedPage))
	return err == nil
}

func (w *walker) link(ctx context.Context, path string) bool {
	target, err := filepath.EvalSymlinks(path)
	if err != nil {
		w.note(fmt.Sprintf("left out %s: the link leads nowhere", w.name(path)))
		return true
	}
	info, err := os.Stat(target)
	if err != nil {
		return w.failed(path, err)
	}
	f := found{path, target}
	switch {
	case info.IsDir() && !w.in.FollowLinks:
		w.note(fmt.Sprintf("left out %s: a link to a folder (--follow-links takes it)", w.name(path)))
		return true
	case info.IsDir():
		return w.skipped(target) || w.folder(ctx, path, target)
	case !info.Mode().IsRegular():
		w.note(fmt.Sprintf("left out %s: the link leads to %s, not to a file", w.name(path), kindOf(info.Mode())))
		return true
	case !within(w.top, target) && !w.in.FollowLinks:
		if isArchive(path) || hasPictureExt(path) {
			w.note(fmt.Sprintf("left out %s: a link out of the folder (--follow-links takes it)", w.name(path)))
		}
		return true
	case !w.wanted(f):
		return true
	}
	return w.single(ctx, f)
}

// file visits a picture or an archive.
func (w *walker) file(ctx context.Context, f found) bool {
	if isArchive(f.path) {
		return w.archive(ctx, f)
	}
	return w.yield(entry{path: w.name(f.path), file: f.path, own: true, open: func() (source, error) {
		file, err := w.open(f)
		if err != nil {
			return source{}, err
		}
		size, stamp, err := identity(file, time.Now())
		if err != nil {
			file.Close()
			return source{}, err
		}
		return source{file, size, stamp}, nil
	}})
}

var errSwapped = errors.New("it was a file when it was found and is something else now")

// open opens a file as it was found: what took its place since, a link or a pipe, is refused, and nothing is waited for.
func (w *walker) open(f found) (*os.File, error) {
	const how = os.O_RDONLY | unix.O_NONBLOCK
	var file *os.File
	var err error
	lstat := os.Lstat
	if rel, relErr := filepath.Rel(w.top, f.real); w.topRoot != nil && relErr == nil && filepath.IsLocal(rel) {
		lstat = func(string) (fs.FileInfo, error) { return w.topRoot.Lstat(rel) }
		file, err = w.topRoot.OpenFile(rel, how, 0)
	} else {
		file, err = os.OpenFile(f.real, how|unix.O_NOFOLLOW, 0)
	}
	if errors.Is(err, unix.ELOOP) {
		return nil, errSwapped
	}
	if err != nil {
		return nil, err
	}
	info, err := file.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = errSwapped
	}
	if err == nil {
		var there fs.FileInfo
		if there, err = lstat(f.real); err == nil && !os.SameFile(info, there) {
			err = errSwapped
		}
	}
	if err != nil {
		file.Close()
		return nil, err
	}
	return file, nil
}

// settled is how long a file must have lain unchanged before its times tell whether it changed: clocks of file systems tick
// slowly, and what is written within one tick looks the same.
const settled = 2 * time.Second

// identity returns a file's size and what tells it from every other state of it: no change leaves size, both times and number
// as they were, because the time of change can't be set.
func identity(f *os.File, now time.Time) (size int64, stamp string, err error) {
	var st unix.Stat_t
	if err := unix.Fstat(int(f.Fd()), &st); err != nil {
		return 0, "", err
	}
	if latest := max(st.Mtim.Nano(), st.Ctim.Nano()); now.Sub(time.Unix(0, latest)) < settled {
		return st.Size, "", nil
	}
	return st.Size, fmt.Sprintf("%d.%d.%d.%d", st.Size, st.Mtim.Nano(), st.Ctim.Nano(), st.Ino), nil
}

func (w *walker) startsLikePicture(f found) bool {
	file, err := w.open(f)
	if err != nil {
		return false
	}
	defer file.Close()
	var head [16]byte
	n, err := io.ReadFull(file, head[:])
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

// printable spells a name so that every name has a spelling of its own: JSON would turn every byte that is no UTF-8 into the
// same sign. Such a byte becomes \xff, and a backslash, which would look the same, is doubled.
func printable(name string) string {
	if utf8.ValidString(name) && !strings.Contains(name, `\`) {
		return name
	}
	var b strings.Builder
	for len(name) > 0 {
		r, n := utf8.DecodeRuneInString(name)
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, name[0])
		case r == '\\':
			b.WriteString(`\\`)
		default:
			b.WriteString(name[:n])
		}
		name = name[n:]
	}
	return b.String()
}

// nameKey stands for a name in a set of many.
type nameKey [16]byte

func keyOf(name string) nameKey {
	sum := sha256.Sum256([]byte(name))
	return nameKey(sum[:16])
}
