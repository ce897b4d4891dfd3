package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"

	"shadowgap/detect"
	"shadowgap/internal/export"
	"shadowgap/internal/files"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/runstore"
)

type mergeCmd struct {
	Runs  []string `arg:"" name:"run" help:"Run folders to join; they stay as they are."`
	Out   string   `required:"" short:"o" placeholder:"RUN" help:"Run folder that takes them all; may be an earlier run."`
	Units string   `enum:"m,ft" default:"m" help:"Unit of lengths in CSV and pages: m or ft."`

	Replace bool `help:"Of a capture that was looked at with other settings or another model, take the result of the run named last."`
}

// Run joins runs.
func (m mergeCmd) Run(con *console) error {
	for _, dir := range m.Runs {
		if !runstore.IsRun(dir) {
			return notRun(dir)
		}
		if same, err := sameFolder(dir, m.Out); err == nil && same {
			return usage("%s can't be merged into itself", dir)
		}
	}
	store, err := runstore.Create(con.ctx, m.Out)
	switch {
	case errors.Is(err, runstore.ErrNotRun):
		return usage("%v\nGive --out a new folder, an empty one, or an earlier run.", err)
	case err != nil:
		return unwritable(err)
	}
	return errors.Join(m.join(con, store), store.Close())
}

func (m mergeCmd) join(con *console, store *runstore.Store) error {
	err := m.all(con, store)
	// Also when a run was refused: those before it are in.
	_, writeErr := writeRun(con.ctx, store, overlay.Units(m.Units), false)
	if err := errors.Join(err, writeErr); err != nil {
		return err
	}
	tally, err := store.Tally(con.ctx)
	if err != nil {
		return err
	}
	total := 0
	for _, n := range tally.Captures {
		total += n
	}
	fmt.Fprintf(con.out, "%s now holds %s.\n", m.Out, count(total, "capture"))
	return nil
}

func (m mergeCmd) all(con *console, store *runstore.Store) error {
	for _, dir := range m.Runs {
		if err := m.one(con, store, dir); err != nil {
			return err
		}
	}
	return nil
}

func (m mergeCmd) one(con *console, store *runstore.Store, dir string) (err error) {
	other, err := runstore.Open(con.ctx, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, other.Close()) }()
	twins, err := store.Twins(con.ctx, other)
	if err != nil {
		return err
	}
	needless, err := picturesOf(con.ctx, other, twins)
	if err != nil {
		return err
	}
	// Pictures first: a capture in the database has its pictures, also when this is stopped half-way.
	for _, sub := range []string{"overlays", "chips"} {
		if err := copyPictures(con.ctx, filepath.Join(dir, sub), filepath.Join(m.Out, sub), needless, m.Replace); err != nil {
			return err
		}
	}
	got, err := store.Merge(con.ctx, other, m.Replace)
	if errors.Is(err, runstore.ErrDiffer) {
		return fmt.Errorf("%w\nNothing of %s was taken. Make the runs with the same settings, or let --replace take the results of the run "+
			"named last", err, dir)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(con.out, "%s: %s new, %d there already", dir, count(got.Captures, "capture"), got.Known)
	if got.Replaced > 0 {
		fmt.Fprintf(con.out, ", %d replaced", got.Replaced)
	}
	fmt.Fprintf(con.out, ", %s\n", count(got.Decisions, "decision"))
	if got.Namesakes > 0 {
		fmt.Fprintf(con.out, "%s: %s kept beside another file of the same name\n", dir, count(got.Namesakes, "capture"))
	}
	if got.Twins > 0 {
		fmt.Fprintf(con.out, "%s: %s there already by another path, such as %s, which is %s\n", dir, count(got.Twins, "capture"),
			twins[0].Theirs, twins[0].Ours)
	}
	return nil
}

// picturesOf names the pictures that a run has of captures whose results won't be taken from it.
func picturesOf(ctx context.Context, run *runstore.Store, twins []runstore.Twin) (map[string]bool, error) {
	names := map[string]bool{}
	for _, t := range twins {
		if !t.Same {
			continue
		}
		pics := media.Of(t.Theirs, t.SHA256)
		for _, name := range []string{pics.Plain, pics.Drawn, pics.Thumb} {
			names[path.Base(name)] = true
		}
		for m, err := range run.MarksOf(ctx, &detect.CaptureRecord{Capture: t.Theirs, SHA256: t.SHA256}) {
			if err != nil {
				return nil, err
			}
			names[path.Base(media.ChipOf(m.Capture, m.Mark))] = true
		}
	}
	return names, nil
}

// copyPictures copies the files of one folder that the other lacks, or all that differ from those of the other; needless ones are left out.
func copyPictures(ctx context.Context, from, to string, needless map[string]bool, replace bool) error {
	names, err := os.ReadDir(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("merging: %w", err)
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return fmt.Errorf("merging: %w", err)
	}
	for _, d := range names {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("merging: %w", err)
		}
		if needless[d.Name()] {
			continue
		}
		source, target := filepath.Join(from, d.Name()), filepath.Join(to, d.Name())
		if d.Type()&fs.ModeSymlink != 0 {
			if err := copyLink(source, target); err != nil {
				return err
			}
			continue
		}
		if !d.Type().IsRegular() {
			continue
		}
		if _, err := os.Lstat(target); err == nil {
			same, err := !replace, error(nil)
			if replace {
				same, err = equalFiles(source, target)
			}
			if err != nil {
				return fmt.Errorf("merging: %w", err)
			}
			if same {
				continue
			}
		}
		if err := copyFile(source, target); err != nil {
			return err
		}
	}
	return nil
}

// copyLink makes a link to where another leads, to a user's own capture. One that leads nowhere from here, because its run comes
// from another machine, is left out.
func copyLink(source, target string) error {
	own, err := filepath.EvalSymlinks(source)
	if err != nil {
		return nil //nolint:nilerr // the run's page does without the picture there, too
	}
	if _, err := os.Lstat(target); err == nil {
		return nil
	}
	if err := files.Link(target, own); err != nil {
		return fmt.Errorf("merging: %w", err)
	}
	return nil
}

// equalFiles compares two pictures of a run, which are small.
func equalFiles(a, b string) (bool, error) {
	da, err := os.ReadFile(a)
	if err != nil {
		return false, err
	}
	db, err := os.ReadFile(b)
	if err != nil {
		return false, err
	}
	return bytes.Equal(da, db), nil
}

func copyFile(from, to string) error {
	src, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("merging: %w", err)
	}
	defer src.Close()
	return export.File(to, func(w io.Writer) error {
		_, err := io.Copy(w, src)
		return err
	})
}

func sameFolder(a, b string) (bool, error) {
	ia, err := os.Stat(a)
	if err != nil {
		return false, err
	}
	ib, err := os.Stat(b)
	if err != nil {
		return false, err
	}
	return os.SameFile(ia, ib), nil
}
