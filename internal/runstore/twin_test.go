package runstore

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
)

// Runs of a folder and of one within it hold the files they share once when they are joined, whichever comes first.
func TestMergeCountsSharedFilesOnce(t *testing.T) {
	type held struct{ root, path, content string }
	sum := func(content string) string { return detect.Sum([]byte(content))[:4] }
	for _, tt := range []struct {
		name   string
		ours   []held
		theirs []held
		want   []string
		twins  int
	}{
		{"the inner folder first", []held{{"/d/in", "a.png", "a"}}, []held{{"/d", "in/a.png", "a"}, {"/d", "b.png", "b"}},
			[]string{"a.png a", "b.png b"}, 1},
		{"the outer folder first", []held{{"/d", "in/a.png", "a"}, {"/d", "b.png", "b"}}, []held{{"/d/in", "a.png", "a"}},
			[]string{"b.png b", "in/a.png a"}, 1},
		{"seen from another machine", []held{{"/home/boat/card", "in/a.png", "a"}}, []held{{"/mnt/usb/in", "a.png", "a"}},
			[]string{"in/a.png a"}, 1},
		{"another file of that name", []held{{"/d/in", "a.png", "a"}}, []held{{"/d", "in/a.png", "other"}},
			[]string{"a.png a", "in/a.png other"}, 0},
		{"copies under other names", []held{{"/d", "a.png", "a"}}, []held{{"/d", "copy.png", "a"}, {"/d", "da.png", "a"}},
			[]string{"a.png a", "copy.png a", "da.png a"}, 0},
		{"copies in two folders", []held{{"/d/2", "a.png", "a"}}, []held{{"/d", "1/a.png", "a"}, {"/d", "2/a.png", "a"}},
			[]string{"1/a.png a", "a.png a"}, 1},
		{"files that could not be opened", []held{{"/d/in", "a.png", ""}}, []held{{"/d", "in/a.png", ""}},
			[]string{"a.png ", "in/a.png "}, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			out, other := open(t, t.TempDir()), open(t, t.TempDir())
			for s, all := range map[*Store][]held{out: tt.ours, other: tt.theirs} {
				for _, h := range all {
					c := capture(h.path, h.content, 0.5)
					if h.content == "" {
						c.SHA256, c.Status = "", detect.StatusUnreadable
					}
					keep(t, s, h.root, c, 1)
				}
			}
			want := make([]string, len(tt.want))
			for i, w := range tt.want {
				path, content, _ := strings.Cut(w, " ")
				if want[i] = path + " " + sum(content) + " 1"; content == "" {
					want[i] = path + "  1"
				}
			}
			for i := range 2 {
				m, err := out.Merge(t.Context(), other, false)
				if err != nil || m.Twins != tt.twins || m.Captures+m.Known != len(tt.theirs) || i > 0 && m.Captures > 0 {
					t.Errorf("time %d: %+v, %v", i+1, m, err)
				}
				if got := listing(t, out); !slices.Equal(got, want) {
					t.Errorf("time %d: got %q, want %q", i+1, got, want)
				}
			}
		})
	}
}

func TestMergeNotesTheOtherPath(t *testing.T) {
	out, other := open(t, t.TempDir()), open(t, t.TempDir())
	keep(t, out, "/d/in", capture("a.png", "a", 0.5), 1)
	keep(t, other, "/d", capture("in/a.png", "a", 0.5), 1)
	state := func() string {
		t.Helper()
		now, err := out.State(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return now
	}
	before := state()
	for i := range 2 {
		if _, err := out.Merge(t.Context(), other, false); err != nil {
			t.Fatal(err)
		}
		for c, err := range out.Captures(t.Context()) {
			if err != nil || !slices.Equal(c.Notes, []string{"also found as in/a.png"}) {
				t.Errorf("time %d: notes %q, %v", i+1, c.Notes, err)
			}
		}
		if now := state(); (now == before) != (i > 0) { // else exports that lack the note would be left as they are
			t.Errorf("time %d: the state is %s, it was %s", i+1, now, before)
		}
		before = state()
	}
}

// A file that was looked at with other settings is refused whatever path it has, or replaced.
func TestMergeComparesSharedFiles(t *testing.T) {
	out, other := open(t, t.TempDir()), open(t, t.TempDir())
	keep(t, out, "/d/in", capture("a.png", "a", 0.5), 1)
	c := capture("in/a.png", "a", 0.5)
	c.Versions.Settings = "new"
	keep(t, other, "/d", c, 2)
	if m, err := out.Merge(t.Context(), other, false); !errors.Is(err, ErrDiffer) || m != (Merged{}) {
		t.Errorf("got %+v, %v; want ErrDiffer", m, err)
	}
	if m, err := out.Merge(t.Context(), other, true); err != nil || m != (Merged{Replaced: 1, Twins: 1}) {
		t.Errorf("replacing: %+v, %v", m, err)
	}
	want := []string{"in/a.png " + c.SHA256[:4] + " 2"}
	if got := listing(t, out); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	for c, err := range out.Captures(t.Context()) {
		if err != nil || !slices.Equal(c.Notes, []string{"also found as a.png"}) {
			t.Errorf("notes %q, %v", c.Notes, err)
		}
	}
}

// What was decided on a shared file under either path is decided on the one that stays.
func TestMergeKeepsDecisionsOnSharedFiles(t *testing.T) {
	our, their := capture("a.png", "a", 0.5), capture("in/a.png", "a", 0.5)
	decisions := func(c *detect.CaptureRecord) []string {
		id := CaptureID(c.Capture, c.SHA256)
		return []string{
			fmt.Sprintf(`{"action":"accept","capture":%q,"mark":"%s-x","seen":{"capture":%[1]q,"hold":"%[2]s-h","mark":"%[2]s-x","n":0.10}}`,
				c.Capture, id),
			fmt.Sprintf(`{"action":"done","capture":%q}`, c.Capture),
		}
	}
	decide := func(s *Store, n int, records []string) {
		t.Helper()
		var ds []Decision
		for i, record := range records {
			ds = append(ds, Decision{fmt.Sprint(n, i), "2026-01-01T00:00:00Z", json.RawMessage(record)})
		}
		if _, err := s.AddDecisions(t.Context(), ds); err != nil {
			t.Fatal(err)
		}
	}
	for settings, stays := range map[string]*detect.CaptureRecord{"s": our, "new": their} {
		out, other := open(t, t.TempDir()), open(t, t.TempDir())
		their.Versions.Settings = settings
		keep(t, out, "/d/in", our, 1)
		keep(t, other, "/d", their, 1)
		foreign := `{"action":"reject","capture":"in/a.png","mark":"000000000000-x"}` // on another file of that name
		decide(out, 1, decisions(our))
		decide(other, 2, append(decisions(their), foreign))
		for range 2 {
			if _, err := out.Merge(t.Context(), other, true); err != nil {
				t.Fatal(err)
			}
		}
		ds, err := out.Decisions(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, d := range ds {
			got = append(got, string(d.Record))
		}
		if want := append(append(decisions(stays), decisions(stays)...), foreign); !slices.Equal(got, want) {
			t.Errorf("settings %s: got %q, want %q", settings, got, want)
		}
	}
}
