package scripts

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var (
	docsLink   = regexp.MustCompile(`\]\(([^)#\s]+)`)
	docsPath   = regexp.MustCompile(`(?:^|[\s("` + "`" + `])([a-z]\w*(?:/[\w*.-]+)+)`)
	docsTarget = regexp.MustCompile("(?:^    |`)make ([a-z0-9]+)")
	makeTarget = regexp.MustCompile(`(?m)^([a-z0-9]+):`)
)

// unkept are folders that some checkouts hold beside what the repository keeps.
var unkept = []string{"bin", "demo", "run", "shared"}

// A reader follows what a page names: links lead to a file, paths below this repository's folders exist, and make knows its targets.
func TestDocsLeadSomewhere(t *testing.T) {
	root := os.DirFS("..")
	makefile, err := fs.ReadFile(root, "Makefile")
	if err != nil {
		t.Fatal(err)
	}
	targets := map[string]bool{}
	for _, m := range makeTarget.FindAllStringSubmatch(string(makefile), -1) {
		targets[m[1]] = true
	}
	for _, page := range pages(t, root) {
		text, err := fs.ReadFile(root, page)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(text), "\n") {
			for _, said := range leadNowhere(root, filepath.Dir(page), line, targets) {
				t.Errorf("%s:%d: %s", page, i+1, said)
			}
		}
	}
}

func TestLeadNowhere(t *testing.T) {
	root := os.DirFS("..")
	for line, want := range map[string]string{
		"[a](none.md) and ![b](glossary.md#odds)": "the link to none.md leads nowhere",
		"see detect/none.go, detect/detect.go.":   "there is no detect/none.go",
		"`scripts/setup.sh none/such/word`":       "", // none of this repository's folders
		"`testdata/open/*.json` hold them":        "",
		"    make none    # builds":               "there is no make none",
		"people make none of it; `make test`":     "",
		"https://example.org/detect/none":         "",
	} {
		if got := strings.Join(leadNowhere(root, "docs", line, map[string]bool{"test": true}), "; "); got != want {
			t.Errorf("%q: got %q, want %q", line, got, want)
		}
	}
}

// pages are the Markdown files below root.
func pages(t *testing.T, root fs.FS) []string {
	t.Helper()
	var all []string
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (slices.Contains(unkept, name) || name != "." && strings.HasPrefix(d.Name(), ".")):
			return fs.SkipDir
		case strings.HasSuffix(name, ".md"):
			all = append(all, name)
		}
		return nil
	})
	if err != nil || len(all) == 0 {
		t.Fatalf("found %d pages: %v", len(all), err)
	}
	return all
}

// leadNowhere says what a line of a page in the folder names that isn't there.
func leadNowhere(root fs.FS, folder, line string, targets map[string]bool) []string {
	var said []string
	for _, m := range docsLink.FindAllStringSubmatch(line, -1) {
		if strings.Contains(m[1], "://") {
			continue
		}
		if _, err := fs.Stat(root, filepath.Join(folder, m[1])); err != nil {
			said = append(said, "the link to "+m[1]+" leads nowhere")
		}
	}
	for _, m := range docsPath.FindAllStringSubmatch(line, -1) {
		name := strings.TrimRight(m[1], ".")
		top, _, _ := strings.Cut(name, "/")
		if _, err := fs.Stat(root, top); err != nil || slices.Contains(unkept, top) {
			continue
		}
		if there, err := fs.Glob(root, name); err != nil || len(there) == 0 {
			said = append(said, "there is no "+name)
		}
	}
	for _, m := range docsTarget.FindAllStringSubmatch(line, -1) {
		if !targets[m[1]] {
			said = append(said, "there is no make "+m[1])
		}
	}
	return said
}
