package export

import (
	"encoding/json"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/places"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// Options say how maps and tables are written. The zero value writes metres and names of up to 30 characters.
type Options struct {
	Units      units.Lengths
	NameLength int // most characters of a waypoint's name; 0 = 30
}

// Point is one line of a table and one spot on a map: a mark, a thing, a hold or a place.
type Point struct {
	id       string
	names    []string // what it may be called, the longest first; each begins with what it is
	class    detect.Class
	kind     string
	position *detect.Position // nil: in no GPX or KML, a null geometry in GeoJSON
	time     *time.Time
	brief    string // a sentence
	detail   []string
	facts    []fact
}

// Points yields points in the order they are to be written; it stops after the first error.
type Points = iter.Seq2[*Point, error]

// fact is one property of a point: text, a number, a truth value, or nil for what is unknown.
type fact struct {
	name  string
	value any
}

// MarshalJSON writes facts as one object in their order.
func (p *Point) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, f := range p.facts {
		if i > 0 {
			b = append(b, ',')
		}
		value, err := json.Marshal(f.value)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.name, err)
		}
		b = append(append(append(b, '"'), f.name...), '"', ':')
		b = append(b, value...)
	}
	return append(b, '}'), nil
}

// table collects the facts of a point.
type table struct {
	unit  units.Lengths
	facts []fact
}

func (t *table) add(name string, value any) { t.facts = append(t.facts, fact{name, value}) }

// length adds a measured length and its error.
func (t *table) length(name string, m *features.Measured) {
	if m == nil {
		t.measured(name+"_"+t.unit.Symbol(), name+"_sd_"+t.unit.Symbol(), nil)
		return
	}
	v := m.Scale(t.unit.FromMetres(1))
	t.measured(name+"_"+t.unit.Symbol(), name+"_sd_"+t.unit.Symbol(), &v)
}

func (t *table) measured(value, sd string, m *features.Measured) {
	if m == nil {
		t.add(value, nil)
		t.add(sd, nil)
		return
	}
	t.add(value, features.Round4(m.Value))
	t.add(sd, features.Round4(m.SD))
}

// place adds how well a position is known.
func (t *table) place(p *detect.Position) {
	if p == nil {
		t.add("position_error_"+t.unit.Symbol(), nil)
		return
	}
	t.add("position_error_"+t.unit.Symbol(), features.Round4(t.unit.FromMetres(p.ErrorM)))
}

// optional turns a nil pointer into a plain nil.
func optional[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

// OfMarks are the points of marks.
func OfMarks(marks Marks, opt Options) Points {
	return func(yield func(*Point, error) bool) {
		count := map[detect.Class]int{}
		for m, err := range marks {
			if err != nil {
				yield(nil, err)
				return
			}
			count[m.Class]++
			if !yield(pointOfMark(m, count[m.Class], opt), nil) {
				return
			}
		}
	}
}

func pointOfMark(m *decided.Mark, n int, opt Options) *Point {
	t := table{unit: opt.Units}
	t.add("capture", m.Capture)
	t.add("mark", m.Mark)
	t.add("class", string(m.Class))
	t.add("odds", m.Odds[m.Class])
	for _, c := range detect.Classes {
		t.add("odds_"+strings.ReplaceAll(string(c), "-", "_"), m.Odds[c])
	}
	t.add("side", string(m.Side))
	t.add("time", optional(m.Time))
	t.add("course_deg", optional(m.CourseDeg))
	t.place(m.Position)
	t.length("ground", m.GroundM)
	t.length("altitude", m.AltitudeM)
	t.length("gap", m.GapM)
	t.length("height", m.HeightM)
	t.length("off_bottom", m.OffBottomM)
	t.length("length", m.LengthM)
	t.measured("axis_deg", "axis_sd_deg", m.AxisDeg)
	t.add("on_hump", m.OnHump)
	t.add("hold", optional(m.Hold))
	t.add("sighting", optional(m.Sighting))
	t.add("decision", decision(m))
	t.add("name", m.Name)
	t.add("note", m.Note)
	t.add("summary", words.Mark(told(m), opt.Units))
	why := words.Why(&m.MarkRecord, opt.Units)
	t.add("reasons", strings.Join(why, "; "))
	what := className(m.Class)
	p := &Point{
		id: m.Mark, class: m.Class, kind: string(m.Class),
		names:    []string{fmt.Sprintf("%s %04d", what, n), fmt.Sprintf("%.4s %04d", what, n), fmt.Sprintf("%.1s%04d", what, n)},
		position: m.Position, time: m.Time, brief: sentence(m, opt.Units), facts: t.facts,
		detail: []string{note(m.Note), because(why), "Capture " + m.Capture + "."},
	}
	if ascii(m.Name) != "" {
		p.names = append([]string{m.Name}, p.names...)
	}
	return p
}

// className names a class in one word.
func className(c detect.Class) string {
	switch c {
	case detect.BottomObject:
		return "Bottom"
	case detect.SuspendedTarget:
		return "Suspended"
	case detect.RaisedStructure:
		return "Raised"
	case detect.Clutter:
		return "Clutter"
	}
	return "Mark"
}

// inOrder are the points of what a list holds, which are counted from 1.
func inOrder[T any](list []T, opt Options, point func(*T, int, Options) *Point) Points {
	return func(yield func(*Point, error) bool) {
		for i := range list {
			if !yield(point(&list[i], i+1, opt), nil) {
				return
			}
		}
	}
}

// OfSightings are the points of things, in the order given.
func OfSightings(sightings []places.Sighting, opt Options) Points {
	return inOrder(sightings, opt, pointOfSighting)
}

func pointOfSighting(s *places.Sighting, n int, opt Options) *Point {
	captures := capturesOf(s.Members)
	t := table{unit: opt.Units}
	t.add("sighting", s.ID)
	t.add("place", s.Place)
	t.add("class", string(s.Class))
	t.add("odds", s.Odds[s.Class])
	t.add("looks", s.Looks)
	t.add("marks", len(s.Members))
	t.add("captures", strings.Join(captures, "; "))
	t.add("time", optional(s.Time))
	t.place(s.Position)
	t.length("altitude", s.AltitudeM)
	t.length("height", s.HeightM)
	t.length("off_bottom", s.OffBottomM)
	t.length("length", s.LengthM)
	t.add("on_hump", s.OnHump)
	t.add("decision", string(s.Decision))
	t.add("name", s.Name)
	t.add("note", s.Note)
	t.add("summary", s.Sentence)
	t.add("reasons", strings.Join(s.Why, "; "))
	what := className(s.Class)
	return &Point{
		id: s.ID, class: s.Class, kind: string(s.Class), position: s.Position, time: s.Time, brief: withError(s.Sentence, s.Position, opt),
		names: named(s.Name, s.AltitudeM, opt, fmt.Sprintf("%s %03d", what, n), fmt.Sprintf("%.1s%03d", what, n)),
		facts: t.facts, detail: []string{note(s.Note), because(s.Why), lookedAt(captures)},
	}
}

// OfPlaces are the points of places, in the order given.
func OfPlaces(list []places.Place, opt Options) Points { return inOrder(list, opt, pointOfPlace) }

func pointOfPlace(p *places.Place, _ int, opt Options) *Point {
	t := table{unit: opt.Units}
	t.add("rank", p.Rank)
	t.add("place", p.ID)
	t.add("kind", string(p.Kind))
	t.add("odds", p.Odds)
	t.add("score", p.Score)
	t.add("targets", p.Targets)
	t.add("sightings", len(p.Sightings))
	t.add("looks", p.Looks)
	t.add("captures", strings.Join(p.Captures, "; "))
	t.add("time", optional(p.Time))
	t.place(p.Position)
	t.length("altitude", p.AltitudeM)
	t.add("name", p.Name)
	t.add("note", p.Note)
	t.add("summary", p.Sentence)
	t.add("reasons", strings.Join(p.Why, "; "))
	long, short, class := kindName(p.Kind)
	many := ""
	if p.Targets > 1 {
		many = fmt.Sprintf(" x%d", p.Targets)
	}
	number := fmt.Sprintf("%02d ", p.Rank)
	names := named("", p.AltitudeM, opt, number+long+many, number+short+many, number+short, fmt.Sprintf("%s%.4s", number, short),
		fmt.Sprintf("%02d%.2s", p.Rank, short))
	if ascii(p.Name) != "" {
		names = append(named("", p.AltitudeM, opt, number+p.Name), names...)
	}
	return &Point{
		id: p.ID, class: class, kind: string(p.Kind), position: p.Position, time: p.Time, brief: withError(p.Sentence, p.Position, opt),
		names: names,
		facts: t.facts, detail: []string{note(p.Note), because(p.Why), lookedAt(p.Captures)},
	}
}

// kindName says what a place is, at length and in a word, and the class it is drawn as.
func kindName(k places.Kind) (long, short string, class detect.Class) {
	switch k {
	case places.HoldOnHump:
		return "Hold on hump", "Hold", detect.SuspendedTarget
	case places.HoldOnRocks:
		return "Hold on rocks", "Hold", detect.SuspendedTarget
	case places.Targets:
		return "Hanging", "Hang", detect.SuspendedTarget
	case places.Structure:
		return "Raised", "Raised", detect.RaisedStructure
	case places.Clutter:
		return "Clutter", "Clutter", detect.Clutter
	}
	return "Bottom", "Bottom", detect.BottomObject
}

// OfHolds are the points of holds, in the order given.
func OfHolds(holds []survey.Hold, opt Options) Points { return inOrder(holds, opt, pointOfHold) }

func pointOfHold(h *survey.Hold, n int, opt Options) *Point {
	var captures []string
	for _, r := range h.Holds {
		captures = append(captures, r.Capture)
	}
	t := table{unit: opt.Units}
	t.add("hold", h.ID)
	t.add("odds", h.Odds)
	t.add("targets", h.Targets)
	t.add("where", string(h.Where))
	t.place(h.Position)
	t.length("relief", h.ReliefM)
	t.add("captures", strings.Join(captures, "; "))
	brief := words.Count(h.Targets, "target") + " hanging" + HoldWhere(h) + "; odds " + words.Odds(h.Odds)
	t.add("summary", brief)
	return &Point{
		id: h.ID, class: detect.SuspendedTarget, kind: "hold", position: h.Position, brief: withError(brief, h.Position, opt),
		facts:  t.facts,
		names:  []string{fmt.Sprintf("Hold %02d x%d", n, h.Targets), fmt.Sprintf("Hold %02d", n), fmt.Sprintf("H%02d", n)},
		detail: []string{lookedAt(captures)},
	}
}

// HoldWhere says what a hold keeps to, "" where its capture shows nothing of the kind.
func HoldWhere(h *survey.Hold) string {
	switch h.Where {
	case survey.OnHump:
		return places.Where(places.HoldOnHump)
	case survey.OnRockField:
		return places.Where(places.HoldOnRocks)
	}
	return ""
}

// named adds the depth to names, and puts the name a person gave before them, if a waypoint can show anything of it.
func named(own string, altitude *features.Measured, opt Options, names ...string) []string {
	depth := ""
	if altitude != nil {
		depth = " " + strings.ReplaceAll(words.Depth(*altitude, opt.Units), " ", "")
	}
	var out []string
	if ascii(own) != "" {
		out = append(out, own+depth, own)
	}
	for i, n := range names {
		if i == len(names)-1 && len(names) > 1 { // the shortest goes without a blank
			depth = strings.TrimSpace(depth)
		}
		out = append(out, n+depth)
	}
	return append(out, names[len(names)-1])
}

func withError(s string, p *detect.Position, opt Options) string {
	s += "."
	if p != nil {
		s += " Position within about " + words.Distance(p.ErrorM, opt.Units) + "."
	}
	return s
}

// lookedAt says which captures a point comes from.
func lookedAt(captures []string) string { return "Captures: " + strings.Join(captures, ", ") + "." }

func capturesOf(members []survey.Member) []string {
	var out []string
	for _, m := range members {
		if !slices.Contains(out, m.Capture) {
			out = append(out, m.Capture)
		}
	}
	return out
}

// OfChanges are the points of what two days differ and agree in, in the order given.
func OfChanges(list []places.Changed, opt Options) Points { return inOrder(list, opt, pointOfChange) }

func pointOfChange(c *places.Changed, n int, opt Options) *Point {
	t := table{unit: opt.Units}
	t.add("change", string(c.Change))
	side := func(day string, list []*places.Sighting) {
		if len(list) == 0 {
			t.add(day, nil)
			t.add(day+"_count", 0)
			t.add(day+"_captures", nil)
			return
		}
		var members []survey.Member
		for _, s := range list {
			members = append(members, s.Members...)
		}
		t.add(day, list[0].Sentence)
		t.add(day+"_count", len(list))
		t.add(day+"_captures", strings.Join(capturesOf(members), "; "))
	}
	side("then", c.Then)
	side("now", c.Now)
	best := slices.Concat(c.Now, c.Then)[0]
	t.add("class", string(best.Class))
	t.add("apart_"+opt.Units.Symbol(), features.Round4(opt.Units.FromMetres(c.ApartM)))
	t.place(&c.Position)
	t.add("summary", c.Sentence)
	return &Point{
		id: fmt.Sprintf("change-%04d", n), class: best.Class, kind: string(c.Change), position: &c.Position, time: best.Time,
		brief: withError(c.Sentence, &c.Position, opt), names: []string{fmt.Sprintf("%s %03d", c.Change, n), fmt.Sprintf("C%03d", n)},
		facts: t.facts,
	}
}
