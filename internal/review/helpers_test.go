package review

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/overlay/overlaytest"
	"shadowgap/internal/places"
)

var testTime = time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC)

// testRun makes a run folder with n captures that share one picture. The second has a hostile name, the third no panel.
func testRun(t testing.TB, n int) (dir string, caps []detect.CaptureRecord, marks []detect.MarkRecord) {
	t.Helper()
	dir = t.TempDir()
	first, firstMarks := scene().capt, scene().marks
	for i := range n {
		name := fmt.Sprintf("Lake Virrel/leg %d/capture-%04d.png", i/50, i)
		if i == 1 {
			name = hostile
		}
		capt, ms := first, slices.Clone(firstMarks)
		if i == 0 {
			if err := media.Write(context.Background(), dir, scene().img, capt, ms, media.Options{}); err != nil {
				t.Fatal(err)
			}
		} else {
			capt.Capture = name
			for j := range ms {
				ms[j].Capture, ms[j].Mark = name, fmt.Sprintf("%s-%d", ms[j].Mark, i)
				link(t, dir, media.ChipOf(first.Capture, firstMarks[j].Mark), media.ChipOf(name, ms[j].Mark))
			}
			a, b := media.Of(first.Capture, first.SHA256), media.Of(name, capt.SHA256)
			link(t, dir, a.Plain, b.Plain)
			link(t, dir, a.Drawn, b.Drawn)
			link(t, dir, a.Thumb, b.Thumb)
		}
		capt.Interest = 1 - float64(i)/float64(n)
		if i == 2 {
			why := "no dark water column was found"
			capt.Status, capt.Why, capt.Panels, capt.Holds, ms = detect.StatusNoPanel, &why, nil, nil, nil
		}
		caps, marks = append(caps, capt), append(marks, ms...)
	}
	return dir, caps, marks
}

type drawnScene struct {
	img   image.Image
	capt  detect.CaptureRecord
	marks []detect.MarkRecord
}

// scene is the picture every test run shares; its records are copied before they are changed.
var scene = sync.OnceValue(func() drawnScene {
	img, capt, marks := overlaytest.Scene("Lake Virrel/leg 0/capture-0000.png", 5)
	return drawnScene{img, capt, marks}
})

func link(t testing.TB, dir, from, to string) {
	t.Helper()
	if err := os.Link(filepath.Join(dir, from), filepath.Join(dir, to)); err != nil {
		t.Fatal(err)
	}
}

func testStore(t testing.TB) *FileStore {
	t.Helper()
	s, err := OpenFileStore(filepath.Join(t.TempDir(), "decisions.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// newID returns 32 random hex digits, as pages make them.
func newID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	return hex.EncodeToString(b[:])
}

// firstPage prepares the page of the most interesting captures.
func firstPage(caps []detect.CaptureRecord, marks []detect.MarkRecord, opt PageOptions) (*runPage, error) {
	return newBook(caps, marks, opt).page(0)
}

// writePages writes the pages of a run that is in memory.
func writePages(ctx context.Context, dir string, caps []detect.CaptureRecord, marks []detect.MarkRecord, opt PageOptions) error {
	return WritePages(ctx, dir, func(int) ([]detect.CaptureRecord, []detect.MarkRecord, error) { return caps, marks, nil }, nil, opt)
}

// atlas ranks what a run shows as decisions leave it; marks drawn by hand get no position.
func atlas(caps []detect.CaptureRecord, marks []detect.MarkRecord, ds []Decision, u overlay.Units) places.Atlas {
	st, byCapture := Fold(ds), map[string][]detect.MarkRecord{}
	for _, m := range marks {
		byCapture[m.Capture] = append(byCapture[m.Capture], m)
	}
	var ruled []decided.Mark
	for _, c := range caps {
		ruled = append(ruled, st.Rule(c, byCapture[c.Capture], nil)...)
	}
	return atlasOf(caps, ruled, u, false)
}

func decision(a Action, m detect.MarkRecord) Decision {
	return Decision{ID: newID(), At: testTime, Action: a, Capture: m.Capture, Mark: m.Mark}
}

// decodeMain reads back what the page is told at once.
func decodeMain(t *testing.T, p *runPage) pageMain {
	t.Helper()
	var m pageMain
	if err := json.Unmarshal([]byte(p.main), &m); err != nil {
		t.Fatal(err)
	}
	return m
}
