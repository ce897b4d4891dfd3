package places

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/track"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// Day is what one run saw and where it looked.
type Day struct {
	Atlas  Atlas
	Looked func(detect.Position) bool // whether the run's captures cover a place; nil = not known
}

// Change says what became of a thing from one day to the other.
type Change string

// The changes. What does not swim is still there, gone or new; suspended targets come back to a place or don't.
const (
	StillThere   Change = "still-there"
	New          Change = "new"
	Gone         Change = "gone"
	NotAgain     Change = "not-looked-again"  // seen on the first day; the second did not look there
	NotBefore    Change = "not-looked-before" // seen on the second day; the first did not look there
	TargetsAgain Change = "targets-again"
	TargetsGone  Change = "targets-gone"
	TargetsNew   Change = "targets-new"
)

// Changes lists the changes in the order they are told.
var Changes = [...]Change{TargetsAgain, StillThere, New, Gone, TargetsNew, TargetsGone, NotAgain, NotBefore}

// Changed is a thing, or a spot where targets hang, on two days. Then or Now is nil where that day has none.
type Changed struct {
	Change    Change
	Then, Now []*Sighting // one each, or the targets of a spot, best first
	Position  detect.Position
	ApartM    float64 // between then and now; 0 unless there are both
	Sentence  string
}

// CompareOptions say what is compared. Zero fields take the defaults beside them.
type CompareOptions struct {
	Units   units.Lengths
	MinOdds float64 // only things that one day is this sure of; default 0.5
	TargetM float64 // suspended targets within this of each other, beyond their errors, are one spot; default 20 m
}

// Compare finds what is still there, what is new or gone, and where suspended targets come back. Two sightings that do not swim are
// one thing when they lie within their errors of each other, nearest first; anything seen without a position is left out.
func Compare(then, now Day, opt CompareOptions) []Changed {
	if opt.MinOdds <= 0 {
		opt.MinOdds = 0.5
	}
	if opt.TargetM <= 0 {
		opt.TargetM = 20
	}
	c := comparison{opt: opt, then: then, now: now}
	c.fixed()
	c.swimming()
	order := func(x Change) int { return slices.Index(Changes[:], x) }
	slices.SortStableFunc(c.out, func(a, b Changed) int {
		return cmp.Or(cmp.Compare(order(a.Change), order(b.Change)), cmp.Compare(score(b), score(a)),
			cmp.Compare(a.first().ID, b.first().ID))
	})
	return c.out
}

func (c Changed) first() *Sighting { return slices.Concat(c.Now, c.Then)[0] }

func score(c Changed) (best float64) {
	for _, s := range slices.Concat(c.Then, c.Now) {
		best = math.Max(best, s.Score)
	}
	return best
}

type comparison struct {
	opt       CompareOptions
	then, now Day
	out       []Changed
}

// placedThings are the sightings of one day that have a position and swim, or don't.
func placedThings(a Atlas, swim bool) []*Sighting {
	var out []*Sighting
	for i := range a.Sightings {
		s := &a.Sightings[i]
		if s.Position != nil && s.Class != detect.Clutter && (s.Class == detect.SuspendedTarget) == swim {
			out = append(out, s)
		}
	}
	return out
}

// chi95 is the 95 % point of chi-square with two degrees of freedom, halved because errors are root mean squares of both axes.
const chi95 = 5.991464547 / 2

// fixed pairs what does not swim.
func (c *comparison) fixed() {
	a, b := placedThings(c.then.Atlas, false), placedThings(c.now.Atlas, false)
	type pair struct {
		i, j int
		d    float64
	}
	var pairs []pair
	near := gridOf(b)
	for i, s := range a {
		for _, j := range near.around(*s.Position) {
			d := distance(*s.Position, *b[j].Position)
			if d*d <= chi95*(s.Position.ErrorM*s.Position.ErrorM+b[j].Position.ErrorM*b[j].Position.ErrorM) {
				pairs = append(pairs, pair{i, j, d})
			}
		}
	}
	slices.SortFunc(pairs, func(p, q pair) int {
		return cmp.Or(cmp.Compare(p.d, q.d), cmp.Compare(p.i, q.i), cmp.Compare(p.j, q.j))
	})
	usedA, usedB := make([]bool, len(a)), make([]bool, len(b))
	for _, p := range pairs {
		if usedA[p.i] || usedB[p.j] {
			continue
		}
		usedA[p.i], usedB[p.j] = true, true
		if c.sure(a[p.i]) || c.sure(b[p.j]) {
			c.add(StillThere, []*Sighting{a[p.i]}, []*Sighting{b[p.j]})
		}
	}
	for i, s := range a {
		if !usedA[i] && c.sure(s) {
			c.add(unlessLooked(c.now, s, Gone, NotAgain), []*Sighting{s}, nil)
		}
	}
	for j, s := range b {
		if !usedB[j] && c.sure(s) {
			c.add(unlessLooked(c.then, s, New, NotBefore), nil, []*Sighting{s})
		}
	}
}

func (c *comparison) sure(s *Sighting) bool { return s.Odds[s.Class] >= c.opt.MinOdds }

// unlessLooked is seen where the other day looked at the place, else not.
func unlessLooked(other Day, s *Sighting, seen, not Change) Change {
	if other.Looked != nil && other.Looked(*s.Position) {
		return seen
	}
	return not
}

// swimming groups the targets of both days into spots: around the best target that is in none yet, again and again.
func (c *comparison) swimming() {
	a, b := placedThings(c.then.Atlas, true), placedThings(c.now.Atlas, true)
	all := slices.Concat(a, b)
	order := make([]int, 0, len(all))
	for i, s := range all {
		if c.sure(s) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		return cmp.Or(cmp.Compare(all[j].Score, all[i].Score), cmp.Compare(all[i].ID, all[j].ID))
	})
	near := gridOf(all)
	used := make([]bool, len(all))
	for _, i := range order {
		if used[i] {
			continue
		}
		var then, now []*Sighting
		for _, j := range near.around(*all[i].Position) {
			gate := c.opt.TargetM + math.Hypot(all[i].Position.ErrorM, all[j].Position.ErrorM)
			if used[j] || !c.sure(all[j]) || distance(*all[i].Position, *all[j].Position) > gate {
				continue
			}
			used[j] = true
			if j < len(a) {
				then = append(then, all[j])
			} else {
				now = append(now, all[j])
			}
		}
		switch {
		case len(then) > 0 && len(now) > 0:
			c.add(TargetsAgain, then, now)
		case len(then) > 0:
			c.add(unlessLooked(c.now, then[0], TargetsGone, NotAgain), then, nil)
		default:
			c.add(unlessLooked(c.then, now[0], TargetsNew, NotBefore), nil, now)
		}
	}
}

// add writes down a change.
func (c *comparison) add(change Change, then, now []*Sighting) {
	out := Changed{Change: change, Then: then, Now: now}
	newest := out.first()
	out.Position = *newest.Position
	out.Sentence = newest.Sentence
	if newest.Class == detect.SuspendedTarget {
		out.Sentence = c.targets(then, now)
	}
	if len(then) > 0 && len(now) > 0 {
		out.ApartM = distance(*then[0].Position, *now[0].Position)
	}
	c.out = append(c.out, out)
}

// targets tells how many targets hang at a spot, and on which day.
func (c *comparison) targets(then, now []*Sighting) string {
	s := slices.Concat(now, then)[0]
	where := ""
	if s.OnHump {
		where = Where(HoldOnHump)
	}
	if s.AltitudeM != nil {
		where += " in " + words.Depth(*s.AltitudeM, c.opt.Units) + " of water"
	}
	switch {
	case len(now) == 0:
		return words.Count(mostAtOnce(then), "target") + " hanging" + where
	case len(then) == 0:
		return words.Count(mostAtOnce(now), "target") + " hanging" + where
	}
	return fmt.Sprintf("%s hanging then, %d now%s", words.Count(mostAtOnce(then), "target"), mostAtOnce(now), where)
}

// mostAtOnce is the most of the targets on one capture: one fish may show on several.
func mostAtOnce(list []*Sighting) int {
	n, most := map[string]int{}, 0
	for _, s := range list {
		most = max(most, countOnce(s.Members, n))
	}
	return most
}

func distance(a, b detect.Position) float64 {
	d, _, _ := track.Inverse(a.Lat, a.Lon, b.Lat, b.Lon)
	return d
}

// grid finds sightings near a place.
type grid struct {
	cells map[[3]int32][]int
}

// gridM is how far apart sightings that are compared may lie at most, metres.
const gridM = 60.0

func gridCell(p detect.Position) (c [3]int32) {
	for k, v := range track.EarthCentred(p.Lat, p.Lon) {
		c[k] = int32(math.Floor(v / gridM))
	}
	return c
}

func gridOf(list []*Sighting) grid {
	g := grid{map[[3]int32][]int{}}
	for i, s := range list {
		c := gridCell(*s.Position)
		g.cells[c] = append(g.cells[c], i)
	}
	return g
}

// around are the sightings within gridM of a place, and some farther off, in their order.
func (g grid) around(p detect.Position) []int {
	var out []int
	c := gridCell(p)
	for k := range int32(27) {
		out = append(out, g.cells[[3]int32{c[0] + k%3 - 1, c[1] + k/3%3 - 1, c[2] + k/9 - 1}]...)
	}
	slices.Sort(out)
	return out
}
