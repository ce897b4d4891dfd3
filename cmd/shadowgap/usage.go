package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"time"

	"github.com/alecthomas/kong"
	"golang.org/x/sys/unix"

	"shadowgap/internal/runstore"
)

// negative is how a number below zero or a length of time before another begins. No option is called so.
var negative = regexp.MustCompile(`^-\.?[0-9]`)

// joinNegative writes --option -3 as --option=-3. The parser takes what begins with a hyphen for options; told not to, it would take an
// option for the value of the one before it whose value was forgotten.
func joinNegative(args []string) []string {
	var out []string
	for _, a := range args {
		last := len(out) - 1
		if last >= 0 && negative.MatchString(a) && strings.HasPrefix(out[last], "--") && len(out[last]) > 2 && !strings.Contains(out[last], "=") {
			out[last] += "=" + a
			continue
		}
		out = append(out, a)
	}
	return out
}

// decodeDuration reads a length of time and says how to write one.
func decodeDuration(ctx *kong.DecodeContext, target reflect.Value) error {
	var text string
	if err := ctx.Scan.PopValueInto("a length of time", &text); err != nil {
		return err
	}
	d, err := time.ParseDuration(text)
	if err != nil {
		return fmt.Errorf("%q is no length of time; write it with its units, such as 90s, 45m, -1h or 1h30m", text)
	}
	target.SetInt(int64(d))
	return nil
}

// plainer are the parser's words that only programmers use, and what is said instead.
var plainer = []struct {
	says    *regexp.Regexp
	plainly string
}{
	{regexp.MustCompile(`^(--\S+): expected .* value but got "EOL" \(<EOL>\)$`), "$1 needs a value after it"},
	{regexp.MustCompile(`^(--\S+): expected .* value but got "(-.*)" \((?:long|short) flag\); perhaps try .*$`),
		"$1 needs a value after it, but $2 follows; a value that begins so is written $1=\"$2\""},
	{regexp.MustCompile(`^(--\S+): expected a float but got (".*") \(.*\)$`), "$1 $2: must be a number"},
	{regexp.MustCompile(`^(--\S+): expected a valid \d+ bit u?int but got (".*")$`), "$1 $2: must be a whole number"},
	{regexp.MustCompile(` must be one of "",`), " must be one of "},
}

// wrongLine says what is wrong with a command line, in words for people who don't call options flags, and how to write it where something
// is missing.
func wrongLine(err error) string {
	msg := err.Error()
	for _, w := range plainer {
		msg = w.says.ReplaceAllString(msg, w.plainly)
	}
	if rest, ok := strings.CutPrefix(msg, "unknown flag "); ok {
		return "there is no option " + rest
	}
	missing, ok := strings.CutPrefix(msg, "missing flags: ")
	if !ok {
		if missing, ok = strings.CutPrefix(msg, "expected \""); !ok {
			return msg
		}
		missing = strings.TrimSuffix(missing, "\"")
	}
	said := missing + " must be given"
	var wrong *kong.ParseError
	if errors.As(err, &wrong) && wrong.Context != nil && wrong.Context.Selected() != nil {
		said += "\nWrite it as: shadowgap " + strings.Replace(wrong.Context.Selected().Summary(), "[flags]", "[options]", 1)
	}
	return said
}

// commandOf names the command that a wrong command line meant, as far as that can be told.
func commandOf(err error) string {
	var wrong *kong.ParseError
	if errors.As(err, &wrong) && wrong.Context != nil {
		if node := wrong.Context.Selected(); node != nil {
			return "shadowgap " + node.Name
		}
	}
	return "shadowgap"
}

// notRun is what is said of a folder that was given for a run and is none.
func notRun(dir string) error {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return usage("there is no folder %s; give the run folder that \"shadowgap triage\" made, what --out named", dir)
	case err == nil && !info.IsDir():
		return usage("%s is not a run folder but a file; give the run folder that \"shadowgap triage\" made, what --out named", dir)
	}
	return usage("%s is not a run folder: it holds no %s. \"shadowgap triage\" makes one.", dir, runstore.FileName)
}

// needsFolder refuses a folder to write into that can't be made because a file is there.
func needsFolder(dir string) error {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() || errors.Is(err, unix.ENOTDIR) {
		return usage("--out %s is a file or lies below one; give it a folder, new or old", dir)
	}
	return nil
}

// Beginnings that http.DetectContentType gives to what is written where the user says.
const (
	exportKind = "text/"
	modelKind  = "application/x-gzip"
)

// needsPlace refuses a file to be written that lies in no folder, in the place of a folder or a device, or over a file that is none of its
// kind: no earlier one, but a capture or a run's database. what names it.
func needsPlace(file, kind, what string) error {
	if info, err := os.Stat(filepath.Dir(file)); err != nil || !info.IsDir() {
		return usage("--out %s: there is no folder %s", file, filepath.Dir(file))
	}
	info, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("looking at what --out would replace: %w", err)
	}
	switch {
	case info.IsDir():
		return usage("--out %s is a folder; name a file", file)
	case !info.Mode().IsRegular(): // a device would be replaced by a file, and to open a pipe would wait for its writer
		return usage("--out %s is no plain file; name one", file)
	case info.Size() == 0:
		return nil
	}
	start, err := beginning(file)
	if err != nil {
		return fmt.Errorf("looking at what --out would replace: %w", err)
	}
	if !strings.HasPrefix(http.DetectContentType(start), kind) {
		return usage("--out %s: the file there is no %s, and it would be lost: choose another name", file, what)
	}
	return nil
}

// beginning is as much of a file as DetectContentType looks at.
func beginning(file string) ([]byte, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	start := make([]byte, 512)
	n, err := io.ReadFull(f, start)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return start[:n], err
}

// advised adds what to do about an error.
func advised(err error, what string) error { return fmt.Errorf("%w\n%s", err, what) }

// unwritable adds to why a folder can't be written what to do about it.
func unwritable(err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return advised(err, "Give --out a place where you may write.")
	case errors.Is(err, runstore.ErrInUse):
		return advised(err, "Wait until it has ended, or give --out another folder.")
	case errors.Is(err, runstore.ErrNoRoom):
		return advised(err, "Make room there, or give --out a place on another disk.")
	case errors.Is(err, unix.EROFS):
		return advised(err, "Nothing can be written there; give --out another place.")
	}
	return err
}
