package places

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// place makes the places: the holds first, then around the best sighting that is left, again and again.
func (f *finder) place() {
	taken := make([]bool, len(f.sightings))
	near := newNeighbours(f.sightings, groupM)
	for _, h := range f.holds() {
		var in []int
		for i := range f.sightings {
			if !taken[i] && f.sightings[i].Class == detect.SuspendedTarget && h.marks[f.sightings[i].ID] {
				in = append(in, i)
			}
		}
		if len(in) == 0 {
			continue
		}
		for _, i := range in {
			taken[i] = true
		}
		in = near.gather(in, taken)
		f.addPlace(in, &h.Hold)
	}
	for i := range f.sightings {
		if taken[i] {
			continue
		}
		taken[i] = true
		f.addPlace(near.gather([]int{i}, taken), nil)
	}
	slices.SortFunc(f.places, func(a, b Place) int {
		return cmp.Or(b.worthGoing()-a.worthGoing(), cmp.Compare(b.Score, a.Score), cmp.Compare(b.Targets, a.Targets), cmp.Compare(a.ID, b.ID))
	})
	of := map[string]string{}
	for i := range f.places {
		f.places[i].Rank = i + 1
		for _, s := range f.places[i].Sightings {
			of[s] = f.places[i].ID
		}
	}
	for i := range f.sightings {
		f.sightings[i].Place = of[f.sightings[i].ID]
	}
}

// hold is a hold with the ids of the sightings that are in it.
type hold struct {
	survey.Hold
	marks map[string]bool
}

// holds ranks the run's holds and finds the sightings in each.
func (f *finder) holds() []hold {
	of := map[string]string{}
	for _, s := range f.sightings {
		for _, m := range s.Members {
			of[keyOf(m.Capture, m.Mark)] = s.ID
		}
	}
	names := make([]string, 0, len(f.captures))
	for name := range f.captures {
		names = append(names, name)
	}
	slices.Sort(names)
	caps := make([]detect.CaptureRecord, 0, len(names))
	for _, name := range names {
		caps = append(caps, *f.captures[name])
	}
	var out []hold
	for _, h := range RankHolds(caps, f.all) {
		in := hold{Hold: h, marks: map[string]bool{}}
		for _, ref := range h.Holds {
			for _, r := range f.captures[ref.Capture].Holds {
				if r.ID != ref.Hold {
					continue
				}
				for _, m := range r.Marks {
					if id, ok := of[keyOf(ref.Capture, m)]; ok {
						in.marks[id] = true
					}
				}
			}
		}
		out = append(out, in)
	}
	return out
}

// addPlace makes a place of sightings, given by index, the one it is gone to for first.
func (f *finder) addPlace(in []int, h *survey.Hold) {
	things := make([]*Sighting, len(in))
	for k, i := range in {
		things[k] = &f.sightings[i]
	}
	best := things[0]
	// What the place is gone to for comes before what else is there.
	slices.SortStableFunc(things[1:], func(a, b *Sighting) int { return cmp.Compare(is(b, best.Class), is(a, best.Class)) })
	p := Place{
		Kind: kindOf(best.Class), Odds: best.Odds[best.Class], Best: best.Members[0], Position: best.Position, Time: best.Time,
		AltitudeM: best.AltitudeM,
		Score:     best.Score,
	}
	var positions []detect.Position // of what the place is gone to for
	shown := 0                      // captures of that
	missing := 1.0
	targets := map[string]int{}
	for k, s := range things {
		p.Sightings = append(p.Sightings, s.ID)
		p.Looks = max(p.Looks, s.Looks)
		p.AltitudeM = cmp.Or(p.AltitudeM, s.AltitudeM)
		if s.Name != "" && p.Name == "" {
			p.Name = s.Name
		}
		if s.Note != "" && p.Note == "" {
			p.Note = s.Note
		}
		for _, m := range s.Members {
			if !slices.Contains(p.Captures, m.Capture) {
				p.Captures = append(p.Captures, m.Capture)
			}
		}
		if s.Class == detect.SuspendedTarget && s.Odds[s.Class] >= 0.5 {
			p.Targets = max(p.Targets, countOnce(s.Members, targets))
		}
		if s.Class == best.Class {
			shown = len(p.Captures)
			if s.Position != nil {
				positions = append(positions, *s.Position)
			}
		}
		if k > 0 {
			missing *= 1 - worthMore*s.Score
		}
	}
	if h != nil {
		switch h.Where {
		case survey.OnHump:
			p.Kind = HoldOnHump
		case survey.OnRockField:
			p.Kind = HoldOnRocks
		}
		p.Odds = h.Odds
		p.Score = math.Max(worthHold*h.Odds, best.Score)
	}
	if len(positions) > 1 {
		at := survey.Middle(positions)
		p.Position = &at
	}
	p.Score = features.Round4(1 - (1-p.Score)*missing)
	p.ID = "p" + best.ID[1:]
	p.Sentence, p.Why = f.tell(&p, things, shown)
	f.places = append(f.places, p)
}

// countOnce counts a target on every capture that shows it and returns the most on one: fish swim, so that one seen on two
// passes can't be told from two, and counts once.
func countOnce(members []survey.Member, targets map[string]int) int {
	most := 0
	for _, m := range members {
		targets[m.Capture]++
		most = max(most, targets[m.Capture])
	}
	return most
}

func is(s *Sighting, c detect.Class) int {
	if s.Class == c {
		return 1
	}
	return 0
}

func kindOf(c detect.Class) Kind {
	switch c {
	case detect.SuspendedTarget:
		return Targets
	case detect.RaisedStructure:
		return Structure
	case detect.Clutter:
		return Clutter
	}
	return OnBottom
}

// tell makes a place's sentence and its reasons; shown is how many captures show what it is gone to for.
func (f *finder) tell(p *Place, things []*Sighting, shown int) (sentence string, why []string) {
	u := f.opt.Units
	best := things[0]
	others := map[detect.Class]int{}
	for _, s := range things[1:] {
		if s.Odds[s.Class] >= 0.5 {
			others[s.Class]++
		}
	}
	thing := f.thing(best)
	thing.Where = Where(p.Kind)
	sentence = thing.Sentence(u)
	if best.Class == detect.SuspendedTarget && p.Targets > 1 {
		sentence = fmt.Sprintf("%d targets hanging%s", p.Targets, thing.Where)
		span, of := offBottom(things, u), " off the bottom"
		if span != "" && thing.Where != "" {
			span, of = ", "+span, " off the bottom,"
		} else if span != "" {
			span = " " + span
		}
		if span != "" {
			sentence += span + of
		}
		if water := deepest(things); water != nil {
			sentence += " in " + words.Depth(*water, u) + " of water"
		}
		sentence = strings.TrimSuffix(sentence, ",")
	}
	if best.Class == detect.SuspendedTarget {
		delete(others, detect.SuspendedTarget) // those on one capture are told; those on another may be the same
	}
	sentence += company(best.Class, others)
	if shown > 1 {
		why = append(why, fmt.Sprintf("%d captures show it", shown))
	}
	return sentence, append(why, best.Why...)
}

// company tells what else is at a place that is gone to for a class, "" for nothing.
func company(of detect.Class, others map[detect.Class]int) string {
	var list []string
	one, many := "a thing", "%d things"
	if of == detect.BottomObject {
		one, many = "one more thing", "%d more things"
	}
	for _, c := range []struct {
		class     detect.Class
		one, many string
	}{
		{detect.SuspendedTarget, "a target hanging by it", "%d targets hanging by it"},
		{detect.RaisedStructure, "something that stands up", "%d things that stand up"},
		{detect.BottomObject, one + " on the bottom", many + " on the bottom"},
	} {
		switch n := others[c.class]; {
		case n == 1:
			list = append(list, c.one)
		case n > 1:
			list = append(list, fmt.Sprintf(c.many, n))
		}
	}
	switch len(list) {
	case 0:
		return ""
	case 1:
		return "; with " + list[0]
	case 2:
		return "; with " + list[0] + " and " + list[1]
	}
	return "; with " + list[0] + ", " + list[1] + " and " + list[2]
}

// offBottom tells how high over the bottom the targets hang: "0.8 m to 1.6 m", one length, or "up to 1.6 m" where one of them may hang
// anywhere below that.
func offBottom(things []*Sighting, u units.Lengths) string {
	var told []features.Measured
	open, top := false, features.Measured{}
	for _, s := range things {
		o := s.OffBottomM
		if o == nil || s.Class != detect.SuspendedTarget {
			continue
		}
		most, unsure := words.TopOff(*o)
		if open = open || unsure; most > top.Value {
			top = features.Measured{Value: most, SD: o.SD}
		}
		told = append(told, *o)
	}
	if open {
		return "up to " + words.Length(top, u)
	}
	if len(told) == 0 {
		return ""
	}
	byValue := func(a, b features.Measured) int { return cmp.Compare(a.Value, b.Value) }
	a, b := words.Length(slices.MinFunc(told, byValue), u), words.Length(slices.MaxFunc(told, byValue), u)
	if a == b {
		return a
	}
	return a + " to " + b
}

// deepest is the altitude over the deepest of what hangs, nil where none is known: what hangs higher there must not be told in the water
// over something else.
func deepest(things []*Sighting) *features.Measured {
	var most *features.Measured
	for _, s := range things {
		if a := s.AltitudeM; a != nil && s.Class == detect.SuspendedTarget && (most == nil || a.Value > most.Value) {
			most = a
		}
	}
	return most
}

// Where tells what a place of that kind keeps to, "" for nothing: " near a hump of the bottom".
func Where(k Kind) string {
	switch k {
	case HoldOnHump:
		return " near a hump of the bottom"
	case HoldOnRocks:
		return " over a rock field"
	}
	return ""
}

// neighbours finds sightings close together: by position, or, where they have none, by capture.
type neighbours struct {
	of      []Sighting
	groupM  float64
	xyz     [][3]float64
	cells   map[[3]int32][]int
	capture map[string][]int
}

// reachM bounds how far errors can stretch a place, metres.
const reachM = 40.0

func newNeighbours(s []Sighting, groupM float64) *neighbours {
	n := &neighbours{of: s, groupM: groupM, xyz: make([][3]float64, len(s)), cells: map[[3]int32][]int{}, capture: map[string][]int{}}
	for i := range s {
		if p := s[i].Position; p != nil {
			n.xyz[i] = track.EarthCentred(p.Lat, p.Lon)
			c := n.cell(i)
			n.cells[c] = append(n.cells[c], i)
			continue
		}
		c := home(&s[i])
		n.capture[c] = append(n.capture[c], i)
	}
	return n
}

// home is the capture that a thing without a position is at: of copies of one picture the first by name.
func home(s *Sighting) string {
	return slices.MinFunc(s.Members, func(a, b survey.Member) int { return strings.Compare(a.Capture, b.Capture) }).Capture
}

func (n *neighbours) cell(i int) (c [3]int32) {
	for k, v := range n.xyz[i] {
		c[k] = int32(math.Floor(v / reachM))
	}
	return c
}

// gather adds to the sightings of a place those that are near its first one and not taken, and takes them. The order stays
// best first, but for the first.
func (n *neighbours) gather(in []int, taken []bool) []int {
	first := in[0]
	var more []int
	add := func(i int) {
		if !taken[i] {
			taken[i] = true
			more = append(more, i)
		}
	}
	if n.of[first].Position == nil {
		for _, i := range n.capture[home(&n.of[first])] {
			add(i)
		}
	} else {
		c := n.cell(first)
		for k := range int32(27) {
			for _, i := range n.cells[[3]int32{c[0] + k%3 - 1, c[1] + k/3%3 - 1, c[2] + k/9 - 1}] {
				if n.together(first, i) {
					add(i)
				}
			}
		}
	}
	slices.Sort(more)
	return append(in, more...)
}

func (n *neighbours) together(a, b int) bool {
	d := 0.0
	for k := range 3 {
		d += (n.xyz[a][k] - n.xyz[b][k]) * (n.xyz[a][k] - n.xyz[b][k])
	}
	return math.Sqrt(d) <= math.Min(reachM, n.groupM+math.Hypot(n.of[a].Position.ErrorM, n.of[b].Position.ErrorM)/2)
}
