package batch

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"shadowgap/detect"
	"shadowgap/internal/runstore"
)

// walkNames walks the inputs, reads every entry and returns names ("!" after those with an error) and notes.
func walkNames(t testing.TB, in Inputs) (names, notes []string) {
	t.Helper()
	root, err := in.Root()
	if err != nil {
		t.Fatal(err)
	}
	for e := range (walk{in: in, root: root, note: func(s string) { notes = append(notes, s) }}).entries(t.Context()) {
		err := e.err
		if err == nil {
			var rc source
			if rc, err = e.open(); err == nil {
				_, err = io.Copy(io.Discard, rc)
				rc.Close()
			}
		}
		name := e.path
		if err != nil {
			name += "!"
		}
		names = append(names, name)
	}
	return names, notes
}

// An explanation goes where it is not taken for captures, nor they for a part of it.
func TestKeepsExplained(t *testing.T) {
	for _, tt := range []struct {
		name, says string
		files      []string
	}{
		{"nothing", "", nil},
		{"an earlier explanation", "", []string{"explain.html", "overlay.png", "altitude.png", "altitude-2.png"}},
		{"a layout", "", []string{"layout.json", ".hidden.png"}},
		{"captures", "such as a.png", []string{"a.png", "notes.txt"}},
		{"captures beside an earlier explanation", "such as a.jpg", []string{"a.jpg", "explain.html", "overlay.png"}},
		{"a capture of that name", "such as overlay.png", []string{"overlay.png"}},
		{"an archive", "such as a.zip", []string{"a.zip"}},
		{"folders", "another folder, day", []string{"day/a.png"}},
		{"a run", "folder of a run", []string{"run.db"}},
	} {
		err := KeepsExplained(folder(t, tt.files...))
		if (err == nil) != (tt.says == "") || err != nil && !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.says)
		}
	}
	if err := KeepsExplained(filepath.Join(t.TempDir(), "new")); err != nil {
		t.Errorf("a new folder: %v", err)
	}
}

func TestWalk(t *testing.T) {
	dir := folder(t, "b.PNG", "a.jpeg", "notes.txt", ".hidden.png", ".git/x.png", "sub/deep/c.tif", "old-run/"+runstore.FileName,
		"a-explained/"+explainedPage, "a-explained/overlay.png", "old-run/overlays/x.png", "out/y.png")
	write(t, filepath.Join(dir, "no-extension"), "\x89PNG\r\n\x1a\n0000000000")
	outside := folder(t, "secret.png", "more/d.png")
	for link, target := range map[string]string{
		"inside.png": filepath.Join(dir, "b.PNG"), "outside.png": filepath.Join(outside, "secret.png"),
		"folder": filepath.Join(outside, "more"), "dangling.png": filepath.Join(dir, "none.png"), "round": dir,
		"to-null.png": os.DevNull,
	} {
		if err := os.Symlink(target, filepath.Join(dir, "sub", link)); err != nil {
			t.Fatal(err)
		}
	}
	if err := unix.Mkfifo(filepath.Join(dir, "pipe.png"), 0o600); err != nil {
		t.Fatal(err)
	}
	in := Inputs{Paths: []string{dir}, Skip: filepath.Join(dir, "out")}
	names, notes := walkNames(t, in)
	want := []string{"a.jpeg", "b.PNG", "no-extension", "sub/deep/c.tif"} // sub/inside.png is b.PNG
	if !slices.Equal(names, want) {
		t.Errorf("got %q, want %q", names, want)
	}
	for i, says := range []string{
		"pipe.png: it is a pipe", "sub/dangling.png: the link leads nowhere", "sub/folder", "sub/inside.png is reached in more than one way",
		"sub/outside.png", "sub/round",
		"sub/to-null.png: the link leads to a device",
	} {
		if i >= len(notes) || !strings.Contains(notes[i], says) {
			t.Fatalf("notes: %q; want one that says %q in place %d", notes, says, i)
		}
	}
	var counted []string
	for e := range (walk{in: in, root: dir, anyOrder: true}).entries(t.Context()) {
		counted = append(counted, e.path)
	}
	if slices.Sort(counted); !slices.Equal(counted, want) {
		t.Errorf("in any order: got %q, want %q", counted, want)
	}
	in.FollowLinks = true
	names, _ = walkNames(t, in)
	want = []string{"a.jpeg", "b.PNG", "no-extension", "sub/deep/c.tif", "sub/folder/d.png", "sub/outside.png"}
	if !slices.Equal(names, want) {
		t.Errorf("following links: got %q, want %q", names, want)
	}
}

func TestWalkRoots(t *testing.T) {
	dir := folder(t, "day1/a.png", "day2/a.png", "day2/x.dat")
	names, _ := walkNames(t, Inputs{Paths: []string{filepath.Join(dir, "day2"), filepath.Join(dir, "day1")}})
	if want := []string{"day2/a.png", "day1/a.png"}; !slices.Equal(names, want) {
		t.Errorf("two folders: got %q, want %q", names, want)
	}
	// A file that is named is looked at whatever it is called.
	names, _ = walkNames(t, Inputs{Paths: []string{filepath.Join(dir, "day2/x.dat")}})
	if want := []string{"x.dat"}; !slices.Equal(names, want) {
		t.Errorf("one file: got %q, want %q", names, want)
	}
	names, _ = walkNames(t, Inputs{Paths: []string{filepath.Join(dir, "day1"), filepath.Join(dir, "day1")}})
	if want := []string{"a.png"}; !slices.Equal(names, want) {
		t.Errorf("a folder given twice: got %q, want %q", names, want)
	}
}

type tarMember struct {
	name, content string
	mode          os.FileMode
}

func zipOf(t testing.TB, members []tarMember) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, m := range members {
		h := &zip.FileHeader{Name: m.name, Method: zip.Deflate}
		h.SetMode(0o644 | m.mode)
		w, err := z.CreateHeader(h)
		if err == nil {
			_, err = w.Write([]byte(m.content))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func tarOf(t testing.TB, members []tarMember) []byte {
	t.Helper()
	var b bytes.Buffer
	gz := gzip.NewWriter(&b)
	w := tar.NewWriter(gz)
	for _, m := range members {
		h := &tar.Header{Name: m.name, Mode: 0o644, Size: int64(len(m.content)), Typeflag: tar.TypeReg}
		if m.mode&os.ModeSymlink != 0 {
			h.Typeflag, h.Linkname, h.Size, m.content = tar.TypeSymlink, m.content, 0, ""
		}
		if err := w.WriteHeader(h); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(m.content)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := gz.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWalkArchives(t *testing.T) {
	members := []tarMember{
		{"b.png", "b", 0}, {"sub/a.png", "a", 0}, {"../../escape.png", "x", 0}, {"/abs.png", "x", 0}, {`..\win.png`, "x", 0},
		{"link.png", "/etc/passwd", os.ModeSymlink}, {"notes.txt", "x", 0}, {".hidden/h.png", "x", 0}, {"inner.zip", "x", 0},
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "one.zip"), string(zipOf(t, members)))
	write(t, filepath.Join(dir, "two.tar.gz"), string(tarOf(t, members)))
	write(t, filepath.Join(dir, "broken.zip"), "PK\x03\x04 not really")
	write(t, filepath.Join(dir, "cut.tgz"), string(tarOf(t, members)[:40]))
	names, notes := walkNames(t, Inputs{Paths: []string{dir}})
	want := []string{"broken.zip!", "cut.tgz!", "one.zip/b.png", "one.zip/sub/a.png", "two.tar.gz/b.png", "two.tar.gz/sub/a.png"}
	if !slices.Equal(names, want) {
		t.Errorf("got %q, want %q", names, want)
	}
	if len(notes) != 8 { // three escapes and one inner archive, twice
		t.Errorf("notes: %q", notes)
	}
}

// Every member of an archive and every file gets a name of its own, whatever it is called there.
func TestNamesAreInjective(t *testing.T) {
	dir := folder(t, "bad\xff.png", `bad\xff.png`, "a/b.png", `a\b.png`, `a\\b.png`)
	members := []tarMember{
		{"a/b.png", "1", 0}, {`a\b.png`, "2", 0}, {"./a/b.png", "3", 0}, {"x.png", "4", 0}, {"x.png", "5", 0},
		{"y\xff.png", "6", 0}, {`y\xff.png`, "7", 0}, {"x.png", "8", 0},
	}
	write(t, filepath.Join(dir, "one.zip"), string(zipOf(t, members)))
	write(t, filepath.Join(dir, "two.tgz"), string(tarOf(t, members)))
	names, notes := walkNames(t, Inputs{Paths: []string{dir}})
	want := []string{
		"a/b.png", `a\\\\b.png`, `a\\b.png`, `bad\\xff.png`, `bad\xff.png`,
		"one.zip/a/b.png", "one.zip/a/b.png#2", "one.zip/a/b.png#3", "one.zip/x.png",
		"one.zip/x.png#2", `one.zip/y\xff.png`, "one.zip/y/xff.png", "one.zip/x.png#3",
		"two.tgz/a/b.png", "two.tgz/a/b.png#2", "two.tgz/a/b.png#3", "two.tgz/x.png",
		"two.tgz/x.png#2", `two.tgz/y\xff.png`, "two.tgz/y/xff.png", "two.tgz/x.png#3",
	}
	if !slices.Equal(names, want) {
		t.Errorf("got %q\nwant %q", names, want)
	}
	const first = "one.zip/a/b.png comes more than once in its archive; this one is called one.zip/a/b.png#2"
	if len(notes) != 8 || notes[0] != first {
		t.Errorf("notes: %q", notes)
	}
	l := newLedger()
	if _, err := Run(t.Context(), t.Context(), testConfig(t, dir), l, l); err != nil || len(l.recs) != len(want) {
		t.Errorf("%d records of %d captures, %v", len(l.recs), len(want), err)
	}
}

// A file that several ways lead to is one capture, and every further way is noted.
func TestFileReachedTwice(t *testing.T) {
	dir := folder(t, "day/a.png", "day/b.png", "day/sub/c.png", "day/odd.dat", "day/.hidden.png", "links/d.png")
	write(t, filepath.Join(dir, "one.zip"), string(zipOf(t, []tarMember{{"f.png", "f", 0}})))
	for link, target := range map[string]string{
		"also": "day", "links/a.png": "../day/a.png", "links/d-again.png": "d.png", "links/sub": "../day/sub", "again.zip": "one.zip",
	} {
		if err := os.Symlink(target, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	for _, tt := range []struct {
		name   string
		paths  []string
		follow bool
		want   []string
		notes  int
	}{
		{name: "a file and its folder", paths: []string{"day/a.png", "day"}, want: []string{"day/a.png", "day/b.png", "day/sub/c.png"}, notes: 1},
		{name: "a folder and its file", paths: []string{"day", "day/a.png"}, want: []string{"day/a.png", "day/b.png", "day/sub/c.png"}, notes: 1},
		{name: "one file spelled twice", paths: []string{"./day/a.png", "day/a.png"}, want: []string{"day/a.png"}, notes: 1},
		{name: "a file through a linked folder", paths: []string{"also/a.png", "day/a.png"}, want: []string{"also/a.png"}, notes: 1},
		{name: "a file through a linked folder, then its folder", paths: []string{"also/a.png", "day"},
			want: []string{"also/a.png", "day/b.png", "day/sub/c.png"}, notes: 1},
		{name: "a linked folder's folder", paths: []string{"also/sub", "day"},
			want: []string{"also/sub/c.png", "day/a.png", "day/b.png"}, notes: 1},
		{name: "a folder and a link to it", paths: []string{"day", "also"}, want: []string{"day/a.png", "day/b.png", "day/sub/c.png"}, notes: 1},
		{name: "a folder and one in it", paths: []string{"day", "day/sub"}, want: []string{"day/a.png", "day/b.png", "day/sub/c.png"}, notes: 1},
		{name: "a folder and the one around it", paths: []string{"day/sub", "day"},
			want: []string{"day/a.png", "day/b.png", "day/sub/c.png"}, notes: 1},
		{name: "a link beside its file", paths: []string{"links"}, want: []string{"links/d.png"}, notes: 3},
		{name: "links to what comes later", paths: []string{"links", "day"}, follow: true,
			want: []string{"day/b.png", "links/a.png", "links/d.png", "links/sub/c.png"}, notes: 3},
		{name: "an archive and a link to it", paths: []string{"again.zip", "one.zip"}, want: []string{"again.zip/f.png"}, notes: 1},
		{name: "what a folder's walk leaves out", paths: []string{"day", "day/odd.dat", "day/.hidden.png"},
			want: []string{"day/.hidden.png", "day/a.png", "day/b.png", "day/odd.dat", "day/sub/c.png"}},
	} {
		in := Inputs{Paths: tt.paths, FollowLinks: tt.follow}
		var names, counted, notes []string
		for e := range (walk{in: in, root: dir, note: func(s string) { notes = append(notes, s) }}).entries(t.Context()) {
			names = append(names, e.path)
		}
		for e := range (walk{in: in, root: dir, anyOrder: true}).entries(t.Context()) {
			counted = append(counted, e.path)
		}
		if slices.Sort(names); !slices.Equal(names, tt.want) || len(counted) != len(tt.want) || len(notes) != tt.notes {
			t.Errorf("%s: got %q, counted %q, notes %q; want %q and %d notes", tt.name, names, counted, notes, tt.want, tt.notes)
		}
	}
}

// What takes a file's place between the walk's look at it and its being read is not followed.
func TestSwappedFileIsNotFollowed(t *testing.T) {
	secret := filepath.Join(folder(t, "secret.png"), "secret.png")
	for _, follow := range []bool{false, true} {
		for name, swap := range map[string]func(dir string) error{
			"for a link out":    func(dir string) error { return os.Symlink(secret, filepath.Join(dir, "sub/a.png")) },
			"for a link inside": func(dir string) error { return os.Symlink("../b.png", filepath.Join(dir, "sub/a.png")) },
			"for a pipe":        func(dir string) error { return unix.Mkfifo(filepath.Join(dir, "sub/a.png"), 0o600) },
			"its folder, for a link": func(dir string) error {
				if follow {
					return nil // then links to folders are wanted
				}
				if err := os.Remove(filepath.Join(dir, "sub")); err != nil {
					return err
				}
				return os.Symlink(filepath.Dir(secret), filepath.Join(dir, "sub"))
			},
		} {
			dir := folder(t, "sub/a.png", "b.png")
			for e := range (walk{in: Inputs{Paths: []string{dir}, FollowLinks: follow}, root: dir}).entries(t.Context()) {
				if e.path != "sub/a.png" {
					continue
				}
				if err := os.Remove(filepath.Join(dir, "sub/a.png")); err != nil {
					t.Fatal(err)
				}
				if err := swap(dir); err != nil {
					t.Fatal(err)
				}
				if src, err := e.open(); err == nil {
					src.Close()
					t.Errorf("following links %v, swapped %s: the file was opened", follow, name)
				}
			}
		}
	}
}

func TestZipTableIsBounded(t *testing.T) {
	var members []tarMember
	for i := range 300 {
		members = append(members, tarMember{fmt.Sprintf("%s%03d.png", strings.Repeat("n", 60_000), i), "x", 0})
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "long-names.zip"), string(zipOf(t, members)))
	names, _ := walkNames(t, Inputs{Paths: []string{dir}})
	if want := []string{"long-names.zip!"}; !slices.Equal(names, want) {
		t.Errorf("%d names, want an error of the archive", len(names))
	}
}

func TestArchiveBudget(t *testing.T) {
	budget := &allowance{left: 10}
	r := budgeted{strings.NewReader(strings.Repeat("x", 100)), io.NopCloser(nil), budget}
	if n, err := io.CopyBuffer(io.Discard, onlyReader{r}, make([]byte, 4)); err == nil || n > 16 {
		t.Errorf("read %d bytes, error %v; want errBomb soon after 10", n, err)
	}
}

type onlyReader struct{ io.Reader }

func TestPrintableKeepsNamesApart(t *testing.T) {
	a, b := printable("bad\xff.png"), printable("bad\xfe.png")
	if a == b || !strings.HasSuffix(a, ".png") {
		t.Errorf("got %q and %q", a, b)
	}
	if got := printable("größe.png"); got != "größe.png" {
		t.Errorf("valid name became %q", got)
	}
}

func FuzzArchive(f *testing.F) {
	members := []tarMember{{"b.png", "b", 0}, {"../x.png", "x", 0}}
	f.Add(zipOf(f, members), true)
	f.Add(tarOf(f, members), false)
	f.Fuzz(func(t *testing.T, data []byte, zipped bool) {
		name := "fuzzed.tar.gz"
		if zipped {
			name = "fuzzed.zip"
		}
		path := filepath.Join(t.TempDir(), name)
		write(t, path, string(data))
		names, _ := walkNames(t, Inputs{Paths: []string{path}})
		for _, n := range names {
			if !filepath.IsLocal(n) {
				t.Errorf("name %q escapes", n)
			}
		}
	})
}

func TestParseShard(t *testing.T) {
	tests := []struct {
		text string
		env  map[string]string
		want Shard
		bad  bool
	}{
		{text: "", want: Shard{}},
		{text: "1/1", want: Shard{0, 1}},
		{text: "3/8", want: Shard{2, 8}},
		{text: "0/8", bad: true}, {text: "9/8", bad: true}, {text: "x/8", bad: true}, {text: "3", bad: true}, {text: "1/0", bad: true},
		{text: "1/-1", bad: true},
		{text: "auto/8", env: map[string]string{"JOB_COMPLETION_INDEX": "0"}, want: Shard{0, 8}},
		{text: "auto/8", env: map[string]string{"JOB_COMPLETION_INDEX": "8"}, bad: true},
		{text: "auto/8", bad: true},
		{text: "auto", bad: true},
		{text: "auto", env: map[string]string{"SLURM_ARRAY_TASK_ID": "12", "SLURM_ARRAY_TASK_MIN": "10", "SLURM_ARRAY_TASK_COUNT": "4"},
			want: Shard{2, 4}},
		{text: "auto/4", env: map[string]string{"SLURM_ARRAY_TASK_ID": "x"}, bad: true},
	}
	for _, tt := range tests {
		got, err := ParseShard(tt.text, func(k string) string { return tt.env[k] })
		if (err != nil) != tt.bad || got != tt.want {
			t.Errorf("%q with %v: got %v, %v; want %v, error %v", tt.text, tt.env, got, err, tt.want, tt.bad)
		}
	}
}

func TestReadHeaderRefuses(t *testing.T) {
	for name, data := range map[string]string{
		"huge length": "\xff\xff\xff\xff{}", "cut length": "\x00\x00", "cut body": "\x00\x00\x00\x09{}", "not JSON": "\x00\x00\x00\x02[[",
	} {
		var r response
		if err := readHeader(strings.NewReader(data), &r); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestAnalyseTurnsTroubleIntoUnreadable(t *testing.T) {
	job := Job{Capture: "a.png", SHA256: detect.Sum(nil)}
	rec, marks, err := new(Analyst).Analyse(t.Context(), job, []byte("words"))
	if err != nil || rec.Status != detect.StatusUnreadable || len(marks) != 0 || !strings.Contains(*rec.Why, "text file") {
		t.Errorf("got %+v, %v", rec, err)
	}
}

// Whether clutter is shown or not, a mark's place, and with it its number, is the same: clutter comes last.
func TestMarksOfACaptureAreNumberedOnce(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "demo", "captures", "capture-002.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	var analyst Analyst
	defer analyst.Close()
	analysed := func(clutter bool) []detect.MarkRecord {
		job := Job{Capture: "x.jpg", SHA256: detect.Sum(data), Clutter: clutter}
		rec, marks, err := analyst.Analyse(t.Context(), job, data)
		if err != nil || rec.Status != detect.StatusRead {
			t.Fatalf("clutter %t: status %s, %v", clutter, rec.Status, err)
		}
		return marks
	}
	shown, marks := analysed(false), analysed(true)
	if len(shown) == 0 || len(marks) <= len(shown) {
		t.Fatalf("%d marks without clutter and %d with it, want some and more", len(shown), len(marks))
	}
	for i, m := range marks {
		something := m.Class != detect.Clutter && m.Odds.Something()
		switch {
		case something != (i < len(shown)):
			t.Errorf("mark %d of %d, %d of them without clutter, is a %s of odds %v", i+1, len(marks), len(shown), m.Class, m.Odds)
		case something && m.Mark != shown[i].Mark:
			t.Errorf("mark %d is %s without clutter and %s with it", i+1, shown[i].Mark, m.Mark)
		}
	}
}

// A folder that may not be read is called a folder, by its own name also where it is all that was given. Whoever may read everything, as
// tests often do, never meets one, so it is told of here.
func TestFolderThatCannotBeReadIsNamed(t *testing.T) {
	shut := &fs.PathError{Op: "open", Path: "/x", Err: unix.EACCES}
	for dir, want := range map[string]string{"/lake/day": "day/", "/lake/day/sub": "sub/"} {
		var got []entry
		w := &walker{walk: walk{root: "/lake/day"}, yield: func(e entry) bool { got = append(got, e); return true }}
		if !w.unlisted(dir, shut) || len(got) != 1 || got[0].path != want {
			t.Errorf("%s: %+v, want it called %s", dir, got, want)
			continue
		}
		if said := got[0].err.Error(); said != "the folder can't be looked through: you have no permission to read it" {
			t.Errorf("%s: says %q", dir, said)
		}
	}
}
