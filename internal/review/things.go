package review

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/overlay"
)

// Thing is what a person decides about once: a mark, or several marks that are looks at the same thing.
type Thing struct {
	ID       string
	Marks    []MarkRef // the best look first
	Class    detect.Class
	Odds     detect.Odds
	Sentence string // what it is, how large and where, in one plain sentence
	Facts    []Fact // depth, size and so on, few and rounded to their error
	Why      []string
	Position *detect.Position
	Time     *time.Time
}

// MarkRef names a mark of a run.
type MarkRef struct{ Capture, Mark string }

// pageThing is a thing on the page; Marks are [number of the capture, number of the mark in it].
type pageThing struct {
	ID    string      `json:"id"`
	Marks [][2]int    `json:"m"`
	Class int         `json:"c"`
	Odds  [4]float64  `json:"odds"`
	Say   string      `json:"say"`
	Facts []Fact      `json:"facts"`
	Why   []string    `json:"why"`
	Where string      `json:"where,omitempty"`
	Pos   *[3]float64 `json:"pos,omitempty"` // latitude, longitude, error in metres
	XY    *[2]float64 `json:"xy,omitempty"`  // on the map
	When  string      `json:"when,omitempty"`
	Chip  string      `json:"chip"`
	Alt   string      `json:"alt"`
}

// loneThings takes every mark for a thing of its own, the likeliest first.
func loneThings(caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord, u overlay.Units) []Thing {
	type ranked struct {
		Thing
		worth float64
	}
	var all []ranked
	for _, c := range caps {
		for _, m := range byCapture[c.Capture] {
			t := Thing{
				ID: nameKey(m.Capture + "\x00" + m.Mark), Marks: []MarkRef{{m.Capture, m.Mark}}, Class: m.Class, Odds: m.Odds,
				Sentence: capital(Verdict(m)) + ", to " + string(m.Side) + ".", Facts: Facts(m, u), Why: m.Reasons, Position: m.Position, Time: m.Time,
			}
			all = append(all, ranked{t, c.Interest * (1 - m.Odds[detect.Clutter])})
		}
	}
	slices.SortStableFunc(all, func(a, b ranked) int { return cmp.Compare(b.worth, a.worth) })
	out := make([]Thing, len(all))
	for i, r := range all {
		out[i] = r.Thing
	}
	return out
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}

// pageThings numbers the things whose marks are on the page. What is likeliest clutter comes last: the page shows it only on request.
func pageThings(things []Thing, caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord, m *pageMap, u overlay.Units) []pageThing {
	at := make(map[MarkRef][2]int)
	for i, c := range caps {
		for j, k := range byCapture[c.Capture] {
			at[MarkRef{k.Capture, k.Mark}] = [2]int{i, j}
		}
	}
	out := []pageThing{}
	for _, t := range things {
		p := pageThing{ID: t.ID, Class: slices.Index(detect.Classes[:], t.Class), Say: t.Sentence, Facts: t.Facts, Why: t.Why}
		for _, r := range t.Marks {
			if n, ok := at[r]; ok {
				p.Marks = append(p.Marks, n)
			}
		}
		if len(p.Marks) == 0 {
			continue
		}
		best := p.Marks[0]
		mark := byCapture[caps[best[0]].Capture][best[1]]
		p.Chip, p.Alt = ChipOf(mark.Capture, mark.Mark), describe(best[1]+1, mark)
		for j, cl := range detect.Classes {
			p.Odds[j] = round3(t.Odds[cl])
		}
		if t.Position != nil {
			p.Pos = &[3]float64{t.Position.Lat, t.Position.Lon, t.Position.ErrorM}
			p.Where = placeWords(*t.Position, u)
			if m != nil {
				xy := m.plane(t.Position.Lat, t.Position.Lon)
				p.XY = &xy
			}
		}
		if t.Time != nil {
			p.When = timeWords(*t.Time)
		}
		out = append(out, p)
	}
	clutter := slices.Index(detect.Classes[:], detect.Clutter)
	slices.SortStableFunc(out, func(a, b pageThing) int {
		return cmp.Compare(boolInt(a.Class == clutter), boolInt(b.Class == clutter))
	})
	return out
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// placeWords writes a position to a tenth of its error or so: six decimals are a decimetre.
func placeWords(p detect.Position, u overlay.Units) string {
	return fmt.Sprintf("%.6f, %.6f ± %.0f %s", p.Lat, p.Lon, max(1, u.FromMetres(p.ErrorM)), u.Symbol())
}

func timeWords(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }
