package review

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/internal/overlay"
)

// Characters past U+FFFF and those of other scripts, in the names of captures, places and folders: the pages are printed, and what the
// font lacks can still be told apart.
func TestNamesOfEveryScriptArePrinted(t *testing.T) {
	dir, caps, marks, _ := testSurvey(t, 8)
	for i := range caps {
		odd := []string{"🐟 big.png", "湖.png", "بحيرة.png", "bad \xff.png"}[i%4]
		for k := range marks {
			if marks[k].Capture == caps[i].Capture {
				marks[k].Capture = odd
			}
		}
		caps[i].Capture = odd
	}
	a := atlas(caps, marks, nil, overlay.Metres)
	for i := range a.Places {
		a.Places[i].Name, a.Places[i].Note = "𝔓erch 🐟 spot", "湖 \t ok"
	}
	if err := WritePlaces(t.Context(), dir, "Lake 🐟", a, overlay.Metres); err != nil {
		t.Fatal(err)
	}
	if err := WriteContactSheet(t.Context(), dir, a, SheetOptions{Name: "Lake 🐟"}); err != nil {
		t.Fatal(err)
	}
	read, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not installed (Debian: apt-get install poppler-utils), so the pages can't be read")
	}
	for _, name := range []string{PrintedName, SheetName} {
		out, err := exec.CommandContext(t.Context(), read, "-layout", filepath.Join(dir, name), "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		if text := string(out); !strings.Contains(text, "Lake [1F41F]") || !strings.Contains(text, "erch [1F41F] spot") && name == PrintedName {
			t.Errorf("%s does not name the lake and its places:\n%s", name, text)
		}
		if d := os.Getenv("SHADOWGAP_LOOK"); d != "" {
			if err := os.Rename(filepath.Join(dir, name), filepath.Join(d, "odd-"+name)); err != nil {
				t.Fatal(err)
			}
		}
	}
}
