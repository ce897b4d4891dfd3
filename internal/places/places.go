// Package places merges what many captures show into things and places, and ranks them, so that a person knows where to go
// first. A sighting is one thing, looked at once or several times; a place is one spot to go to, with all that was seen there.
package places

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// Options say how places are made. The zero value is ready.
type Options struct {
	Units   units.Lengths // of the sentences
	Clutter bool          // keep what is likeliest clutter
}

// groupM is how near sightings must be to a place's best one, beyond their errors, to belong to it; metres.
const groupM = 12.0

// Sighting is one thing, with every mark that is a look at it. A nil value is unknown.
type Sighting struct {
	ID         string             `json:"id"`
	Place      string             `json:"place"` // id of the place it belongs to
	Class      detect.Class       `json:"class"`
	Odds       detect.Odds        `json:"odds"` // of all looks together and of what a person decided
	Decision   decided.Verdict    `json:"decision"`
	Open       int                `json:"open"`    // how many of its marks nobody has decided on
	Members    []survey.Member    `json:"members"` // best first: the first has the picture to show
	Looks      int                `json:"looks"`   // independent ones: another pass, side or course
	Position   *detect.Position   `json:"position"`
	Time       *time.Time         `json:"time"` // of the best look, UTC
	AltitudeM  *features.Measured `json:"altitude_m"`
	HeightM    *features.Measured `json:"height_m"`
	OffBottomM *features.Measured `json:"off_bottom_m"`
	LengthM    *features.Measured `json:"length_m"`
	OnHump     bool               `json:"on_hump"`
	Name       string             `json:"name,omitempty"`
	Note       string             `json:"note,omitempty"`
	Score      float64            `json:"score"` // what it is worth to go there, 0 to 1
	Doubt      float64            `json:"doubt"` // how little the odds decide, 0 (sure) to 1 (anything), 0 once decided
	Sentence   string             `json:"sentence"`
	Why        []string           `json:"why"`
}

// Kind says what a place is gone to for.
type Kind string

// The kinds of places.
const (
	HoldOnHump  Kind = "hold-on-hump"  // suspended targets near a hump of the bottom
	HoldOnRocks Kind = "hold-on-rocks" // suspended targets over a rock field
	Targets     Kind = "targets"       // suspended targets elsewhere
	Structure   Kind = "structure"     // something raised
	OnBottom    Kind = "on-bottom"     // something lying on the bottom
	Clutter     Kind = "clutter"       // nothing, likeliest; only where it was asked for
)

// Place is one spot to go to.
type Place struct {
	ID        string             `json:"id"`
	Rank      int                `json:"rank"` // from 1
	Kind      Kind               `json:"kind"`
	Odds      float64            `json:"odds"`      // that what it is gone to for is there
	Targets   int                `json:"targets"`   // suspended targets there: the most on one capture, as one fish may show on several
	Sightings []string           `json:"sightings"` // ids, best first
	Best      survey.Member      `json:"best"`      // the mark whose picture shows it
	Captures  []string           `json:"captures"`  // that show it, best first
	Looks     int                `json:"looks"`     // most independent looks at one of its things
	Position  *detect.Position   `json:"position"`
	Time      *time.Time         `json:"time"`
	AltitudeM *features.Measured `json:"altitude_m"`
	Name      string             `json:"name,omitempty"` // given by a person
	Note      string             `json:"note,omitempty"`
	Score     float64            `json:"score"` // what it is worth to go there, 0 to 1; Rank goes by it, those at better than even odds first
	Sentence  string             `json:"sentence"`
	Why       []string           `json:"why"`
}

// Atlas is all that a run shows, both best first.
type Atlas struct {
	Sightings []Sighting
	Places    []Place
}

// Find merges the marks of a run. Marks without a position are sightings of their own, and make one place a capture. The
// result doesn't depend on the order of captures and marks. Marks that are Nothing are left out unless opt.Clutter asks for
// them.
func Find(captures []detect.CaptureRecord, marks []decided.Mark, opt Options) Atlas {
	f := finder{opt: opt, all: marks, captures: make(map[string]*detect.CaptureRecord, len(captures))}
	for i := range captures {
		f.captures[captures[i].Capture] = &captures[i]
	}
	for i := range marks {
		if opt.Clutter || !marks[i].Nothing() {
			f.marks = append(f.marks, marks[i])
		}
	}
	slices.SortFunc(f.marks, func(a, b decided.Mark) int {
		return strings.Compare(keyOf(a.Capture, a.Mark), keyOf(b.Capture, b.Mark))
	})
	f.sight()
	f.place()
	return Atlas{Sightings: f.sightings, Places: f.places}
}

// Top returns the n best places that are worth going to: where what they are gone to for is there at better than even odds.
func (a Atlas) Top(n int) []Place {
	var out []Place
	for _, p := range a.Places {
		if len(out) == n {
			break
		}
		if p.worthGoing() > 0 {
			out = append(out, p)
		}
	}
	return out
}

// worthGoing is 1 where what a place is gone to for is there at better than even odds, else 0. Such places rank before all others, so that
// a place has one number in every list.
func (p *Place) worthGoing() int {
	if p.Odds >= 0.5 && p.Kind != Clutter {
		return 1
	}
	return 0
}

// Sighting returns the sighting with that id, nil when there is none.
func (a Atlas) Sighting(id string) *Sighting {
	for i := range a.Sightings {
		if a.Sightings[i].ID == id {
			return &a.Sightings[i]
		}
	}
	return nil
}

type finder struct {
	opt       Options
	captures  map[string]*detect.CaptureRecord
	all       []decided.Mark
	marks     []decided.Mark // those that are something, sorted by capture and mark
	byKey     map[string]*decided.Mark
	sightings []Sighting
	places    []Place
}

func keyOf(capture, mark string) string { return capture + "\x00" + mark }

// worth is how much going to a thing of a class is worth when it is surely there: fish first, then what fish and searchers
// look for, then what lies flat. The order is the task's, the numbers are a choice without a source.
var worth = map[detect.Class]float64{detect.SuspendedTarget: 0.8, detect.RaisedStructure: 0.7, detect.BottomObject: 0.4, detect.Clutter: 0}

const (
	worthHold = 0.95 // of suspended targets near a hump or over rocks
	worthMore = 0.25 // how much of the rest counts what else is at the place
)

// sight makes the sightings.
func (f *finder) sight() {
	f.byKey = make(map[string]*decided.Mark, len(f.marks))
	records := make([]detect.MarkRecord, len(f.marks))
	for i := range f.marks {
		m := &f.marks[i]
		f.byKey[keyOf(m.Capture, m.Mark)] = m
		records[i] = m.MarkRecord
		records[i].Odds = m.Leaning()
	}
	for _, s := range survey.Merge(records) {
		f.sightings = append(f.sightings, f.merged(s))
	}
	f.sightings = append(f.sightings, f.singles(records)...)
	slices.SortFunc(f.sightings, func(a, b Sighting) int {
		return cmp.Or(cmp.Compare(b.Score, a.Score), cmp.Compare(b.Odds[b.Class], a.Odds[a.Class]), cmp.Compare(a.ID, b.ID))
	})
}

// spot is where a mark lies in which picture: the same in copies of a picture, byte for byte.
type spot struct {
	sha256 string
	panel  int
	side   detect.Side
	box    detect.Box
}

func spotOf(m *detect.MarkRecord) spot { return spot{m.SHA256, m.Panel, m.Side, m.Box} }

// singles are the things that one mark shows, or the same mark of a picture that is there more than once. What a person said of one of
// those holds for all.
func (f *finder) singles(records []detect.MarkRecord) []Sighting {
	same := f.copies(records)
	out := make([]Sighting, 0, len(same))
	for _, ms := range same {
		// What was decided comes first, the strongest first, then what has a place.
		id := survey.SightingID([]survey.Member{{Capture: ms[0].Capture, Mark: ms[0].Mark}})
		slices.SortStableFunc(ms, func(a, b *detect.MarkRecord) int {
			return cmp.Or(cmp.Compare(f.weight(b), f.weight(a)), cmp.Compare(placed(b), placed(a)))
		})
		lead := ms[0]
		s := Sighting{ID: id, Looks: 1, Class: lead.Class, Odds: lead.Odds, HeightM: lead.HeightM, OffBottomM: lead.OffBottomM}
		for _, m := range ms {
			s.Members = append(s.Members, survey.Member{Capture: m.Capture, Mark: m.Mark, Side: m.Side})
			s.Position = cmp.Or(s.Position, m.Position)
			s.HeightM, s.OffBottomM = cmp.Or(s.HeightM, m.HeightM), cmp.Or(s.OffBottomM, m.OffBottomM)
		}
		f.finish(&s, nil)
		for _, m := range ms {
			s.Time = cmp.Or(s.Time, m.Time)
		}
		if s.Decision != decided.Open {
			s.Open = 0
		}
		out = append(out, s)
	}
	return out
}

// copies are the marks that no sighting has, those that are one mark in copies of a picture together, unless they are placed apart. Without
// those that nobody decided on where a copy's was rejected.
func (f *finder) copies(records []detect.MarkRecord) [][]*detect.MarkRecord {
	rejected := map[spot]bool{}
	for i := range f.all {
		if m := &f.all[i]; m.Verdict == decided.Rejected && m.SHA256 != "" {
			rejected[spotOf(&m.MarkRecord)] = true
		}
	}
	var same [][]*detect.MarkRecord
	seen := map[spot]int{}
	for i := range records {
		m := &records[i]
		at := spotOf(m)
		if m.Sighting != nil || rejected[at] && f.weight(m) == 0 {
			continue
		}
		k, again := seen[at]
		if again && m.SHA256 != "" && m.Capture != same[k][0].Capture && (m.Position == nil || same[k][0].Position == nil) {
			same[k] = append(same[k], m)
			continue
		}
		seen[at], same = len(same), append(same, []*detect.MarkRecord{m})
	}
	return same
}

// weight is how much a person's word on a mark weighs against one on a copy of it.
func (f *finder) weight(m *detect.MarkRecord) int {
	k := f.byKey[keyOf(m.Capture, m.Mark)]
	switch {
	case k.ByHand():
		return 2
	case k.Verdict != decided.Open:
		return 1
	}
	return 0
}

func placed(m *detect.MarkRecord) int {
	if m.Position == nil {
		return 0
	}
	return 1
}

// merged is a thing that several marks show.
func (f *finder) merged(g survey.Sighting) Sighting {
	s := Sighting{
		ID: g.ID, Class: g.Class, Odds: g.Odds, Members: slices.Clone(g.Members), Looks: g.Looks,
		Position: &g.Position, HeightM: g.HeightM, OffBottomM: g.OffBottomM,
	}
	slices.SortStableFunc(s.Members, func(a, b survey.Member) int {
		return cmp.Compare(f.showing(b, s.Class), f.showing(a, s.Class))
	})
	f.finish(&s, g.Reasons)
	return s
}

// showing says how well a mark shows a thing of that class: its odds, then its contrast.
func (f *finder) showing(m survey.Member, c detect.Class) float64 {
	k := f.byKey[keyOf(m.Capture, m.Mark)]
	return k.Leaning()[c] + min(k.Contrast, 50)/1000
}

// finish fills in what a sighting takes from its marks, the best first.
func (f *finder) finish(s *Sighting, merging []string) {
	best := f.byKey[keyOf(s.Members[0].Capture, s.Members[0].Mark)]
	s.Time, s.AltitudeM, s.LengthM = best.Time, best.AltitudeM, best.LengthM
	verdicts := map[decided.Verdict]int{}
	for _, k := range s.Members {
		m := f.byKey[keyOf(k.Capture, k.Mark)]
		s.OnHump = s.OnHump || f.nearHump(m)
		s.Name, s.Note = cmp.Or(s.Name, m.Name), cmp.Or(s.Note, m.Note)
		s.LengthM = cmp.Or(s.LengthM, m.LengthM)
		s.AltitudeM = cmp.Or(s.AltitudeM, m.AltitudeM)
		if m.Verdict == decided.Open && m.Changed {
			verdicts[decided.Accepted]++
			continue
		}
		verdicts[m.Verdict]++
	}
	s.Open = verdicts[decided.Open]
	for _, v := range []decided.Verdict{decided.Rejected, decided.Unsure, decided.Drawn, decided.Accepted} {
		if verdicts[v] > 0 {
			s.Decision = v // the strongest one
		}
	}
	s.Doubt = doubt(s.Odds)
	if s.Decision != decided.Open {
		s.Doubt = 0
	}
	s.Score = features.Round4(worth[s.Class] * s.Odds[s.Class])
	s.Sentence = f.thing(s).Sentence(f.opt.Units)
	s.Why = words.Why(&best.MarkRecord, f.opt.Units)
	if len(merging) > 0 {
		s.Why = append(slices.Clone(merging[:1]), s.Why...)
	}
	switch s.Decision {
	case decided.Accepted, decided.Drawn, decided.Unsure:
		s.Why = append([]string{string(s.Decision) + " by a person"}, s.Why...)
	}
}

// thing is what the sentence about a sighting is made of.
func (f *finder) thing(s *Sighting) words.Thing {
	t := words.Of(&f.byKey[keyOf(s.Members[0].Capture, s.Members[0].Mark)].MarkRecord)
	t.Class, t.Odds, t.HeightM, t.OffBottomM, t.LengthM, t.AltitudeM = s.Class, s.Odds, s.HeightM, s.OffBottomM, s.LengthM, s.AltitudeM
	if s.Decision == decided.Accepted || s.Decision == decided.Drawn {
		t.Odds = nil // settled
	}
	if s.Looks > 1 {
		t.Side, t.GroundM = "", nil // another pass has it elsewhere abeam
	}
	return t
}

// nearHump says whether a mark lies beside a hump that its capture really shows.
func (f *finder) nearHump(m *decided.Mark) bool {
	c := f.captures[m.Capture]
	if !m.OnHump || c == nil || m.Panel < 0 || m.Panel >= len(c.Panels) {
		return false
	}
	return len(c.Panels[m.Panel].Humps) > 0
}

// doubt is one minus the lead of the likeliest class over the next.
func doubt(o detect.Odds) float64 {
	first, second := 0.0, 0.0
	for _, c := range detect.Classes {
		if p := o[c]; p > first {
			first, second = p, first
		} else if p > second {
			second = p
		}
	}
	return features.Round4(1 - (first - second))
}
