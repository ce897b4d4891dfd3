package survey

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/track"
)

const (
	maxGateM   = 40.0             // marks farther apart never merge, however large their errors; metres
	passTime   = 2 * time.Minute  // looks from one side on one course within this are one pass, not two looks
	targetTime = 10 * time.Minute // suspended targets seen longer apart never merge: they swim
)

// Member is one mark of a sighting.
type Member struct {
	Capture string      `json:"capture"`
	Mark    string      `json:"mark"`
	Side    detect.Side `json:"side"`
}

// Sighting is one thing seen in several captures.
type Sighting struct {
	ID         string             `json:"id"`
	Members    []Member           `json:"members"`
	Looks      int                `json:"looks"` // independent ones: another pass, side or course
	Class      detect.Class       `json:"class"`
	Odds       detect.Odds        `json:"odds"`
	Position   detect.Position    `json:"position"`
	HeightM    *features.Measured `json:"height_m"`
	OffBottomM *features.Measured `json:"off_bottom_m"`
	Reasons    []string           `json:"reasons"`
}

// chi95 is the 95 % point of chi-square with two degrees of freedom. Errors here are root-mean-square distances e, which
// is √2 of one axis, so two looks at one thing lie within sqrt(chi95/2 (e1²+e2²)) of each other in 95 of 100 cases.
const chi95 = 5.991464547

// Merge finds the marks of different captures that fall together within their errors and whose odds don't speak against
// it, writes each sighting's id into its marks, and returns the sightings with two or more members, by id. Two marks of
// one capture never merge, nor does clutter. The result depends on the marks alone, not on their order.
func Merge(marks []detect.MarkRecord) []Sighting {
	var idx []int
	for i := range marks {
		marks[i].Sighting = nil
		if marks[i].Position != nil && marks[i].Class != detect.Clutter {
			idx = append(idx, i)
		}
	}
	slices.SortFunc(idx, func(a, b int) int {
		return strings.Compare(marks[a].Capture+"\x00"+marks[a].Mark, marks[b].Capture+"\x00"+marks[b].Mark)
	})
	groups := cluster(marks, idx)
	var out []Sighting
	for _, g := range groups {
		if len(g) < 2 {
			continue
		}
		s := combine(marks, g)
		for _, i := range g {
			id := s.ID
			marks[i].Sighting = &id
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b Sighting) int { return strings.Compare(a.ID, b.ID) })
	return out
}

type pair struct {
	a, b int // places in idx
	cost float64
}

// cluster joins marks pair by pair, nearest first, as long as every member of one group fits every member of the other.
func cluster(marks []detect.MarkRecord, idx []int) [][]int {
	xyz := make([][3]float64, len(idx))
	cells := map[[3]int32][]int{}
	var pairs []pair
	for n, i := range idx {
		xyz[n] = track.EarthCentred(marks[i].Position.Lat, marks[i].Position.Lon)
		c := cellOf(xyz[n], maxGateM)
		for dx := int32(-1); dx <= 1; dx++ {
			for dy := int32(-1); dy <= 1; dy++ {
				for dz := int32(-1); dz <= 1; dz++ {
					for _, o := range cells[[3]int32{c[0] + dx, c[1] + dy, c[2] + dz}] {
						if cost, ok := fits(&marks[idx[o]], &marks[i], xyz[o], xyz[n]); ok {
							pairs = append(pairs, pair{o, n, cost})
						}
					}
				}
			}
		}
		cells[c] = append(cells[c], n)
	}
	sort.Slice(pairs, func(i, j int) bool {
		p, q := pairs[i], pairs[j]
		if p.cost != q.cost {
			return p.cost < q.cost
		}
		if p.a != q.a {
			return p.a < q.a
		}
		return p.b < q.b
	})
	group := make([]int, len(idx))
	members := make([][]int, len(idx))
	for n := range idx {
		group[n], members[n] = n, []int{n}
	}
	for _, p := range pairs {
		ga, gb := group[p.a], group[p.b]
		if ga == gb || !allFit(marks, idx, xyz, members[ga], members[gb]) {
			continue
		}
		for _, n := range members[gb] {
			group[n] = ga
		}
		members[ga] = append(members[ga], members[gb]...)
		members[gb] = nil
	}
	var out [][]int
	for _, g := range members {
		if len(g) == 0 {
			continue
		}
		slices.Sort(g)
		of := make([]int, len(g))
		for k, n := range g {
			of[k] = idx[n]
		}
		out = append(out, of)
	}
	return out
}

func allFit(marks []detect.MarkRecord, idx []int, xyz [][3]float64, a, b []int) bool {
	for _, i := range a {
		for _, j := range b {
			if _, ok := fits(&marks[idx[i]], &marks[idx[j]], xyz[i], xyz[j]); !ok {
				return false
			}
		}
	}
	return true
}

// fits says whether two marks can be looks at one thing, and their distance in units of its error, squared.
func fits(a, b *detect.MarkRecord, pa, pb [3]float64) (cost float64, ok bool) {
	if a.Capture == b.Capture {
		return 0, false
	}
	d := sq(pa[0]-pb[0]) + sq(pa[1]-pb[1]) + sq(pa[2]-pb[2])
	variance := sq(a.Position.ErrorM) + sq(b.Position.ErrorM)
	if d > sq(maxGateM) || d > chi95/2*variance {
		return 0, false
	}
	agree := 0.0
	for _, c := range detect.Classes {
		agree += a.Odds[c] * b.Odds[c]
	}
	if agree < 0.15 {
		return 0, false
	}
	if a.Class == detect.SuspendedTarget || b.Class == detect.SuspendedTarget {
		if a.Time != nil && b.Time != nil && a.Time.Sub(*b.Time).Abs() > targetTime {
			return 0, false
		}
	}
	if h, k := a.HeightM, b.HeightM; h != nil && k != nil && math.Abs(h.Value-k.Value) > 4*math.Hypot(h.SD, k.SD)+0.1 {
		return 0, false
	}
	return d / variance, true
}

// combine makes a sighting of its marks. Marks of one pass share most of their errors, so each pass counts once, by its
// best mark; passes count as independent.
func combine(marks []detect.MarkRecord, group []int) Sighting {
	var s Sighting
	var passes []*detect.MarkRecord
	for _, i := range group {
		m := &marks[i]
		s.Members = append(s.Members, Member{m.Capture, m.Mark, m.Side})
		known := false
		for k, p := range passes {
			if samePass(p, m) {
				known = true
				if m.Position.ErrorM < p.Position.ErrorM {
					passes[k] = m
				}
			}
		}
		if !known {
			passes = append(passes, m)
		}
	}
	s.Looks = len(passes)
	s.ID = SightingID(s.Members)
	s.Position = meanPosition(passes)
	s.Odds = productOdds(passes)
	for _, c := range detect.Classes {
		if s.Class == "" || s.Odds[c] > s.Odds[s.Class] {
			s.Class = c
		}
	}
	s.Reasons = append(s.Reasons, fmt.Sprintf("seen in %d captures, %s", len(s.Members), looksWords(passes)))
	var note string
	if s.HeightM, note = weightedMean(passes, func(m *detect.MarkRecord) *features.Measured { return m.HeightM }); note != "" {
		s.Reasons = append(s.Reasons, "height: "+note)
	}
	if s.OffBottomM, note = weightedMean(passes, func(m *detect.MarkRecord) *features.Measured { return m.OffBottomM }); note != "" {
		s.Reasons = append(s.Reasons, "height off bottom: "+note)
	}
	return s
}

func looksWords(passes []*detect.MarkRecord) string {
	if len(passes) == 1 {
		return "all in one pass: not an independent second look, so nothing is sharpened"
	}
	for _, p := range passes[1:] {
		if p.Side != passes[0].Side {
			return fmt.Sprintf("%d independent looks, from both sides of the boat", len(passes))
		}
	}
	return fmt.Sprintf("%d independent looks", len(passes))
}

func samePass(a, b *detect.MarkRecord) bool {
	if a.Side != b.Side {
		return false
	}
	if a.Time != nil && b.Time != nil && a.Time.Sub(*b.Time).Abs() > passTime {
		return false
	}
	return a.CourseDeg == nil || b.CourseDeg == nil || math.Abs(track.AngleBetween(*a.CourseDeg, *b.CourseDeg)) < 30
}

// SightingID names a sighting by its members, in the order of capture and mark.
func SightingID(members []Member) string {
	h := sha256.New()
	for _, m := range members {
		fmt.Fprintf(h, "%s\x00%s\x00", m.Capture, m.Mark)
	}
	return "s" + hex.EncodeToString(h.Sum(nil))[:11]
}

// meanPosition weighs the looks by the inverse squares of their errors, in the plane that touches the earth at the first.
func meanPosition(looks []*detect.MarkRecord) detect.Position {
	o := looks[0].Position
	var e, n, w float64
	for _, m := range looks {
		d, azi, _ := track.Inverse(o.Lat, o.Lon, m.Position.Lat, m.Position.Lon)
		k := 1 / sq(max(m.Position.ErrorM, 0.01))
		e, n, w = e+k*d*math.Sin(azi*math.Pi/180), n+k*d*math.Cos(azi*math.Pi/180), w+k
	}
	lat, lon, _ := track.Direct(o.Lat, o.Lon, math.Atan2(e, n)*180/math.Pi, math.Hypot(e, n)/w)
	return detect.Position{Lat: round7(lat), Lon: roundLon(lon), ErrorM: round2(math.Sqrt(1 / w))}
}

// Middle is the place amid positions, each weighed by the inverse square of its error; its error is the largest of theirs
// together with how far they lie from it, root mean square. There must be one at least.
func Middle(positions []detect.Position) detect.Position {
	looks := make([]*detect.MarkRecord, len(positions))
	worst := 0.0
	for i := range positions {
		looks[i] = &detect.MarkRecord{Position: &positions[i]}
		worst = max(worst, positions[i].ErrorM)
	}
	p := meanPosition(looks)
	at, spread := track.EarthCentred(p.Lat, p.Lon), 0.0
	for _, q := range positions {
		o := track.EarthCentred(q.Lat, q.Lon)
		spread += sq(at[0]-o[0]) + sq(at[1]-o[1]) + sq(at[2]-o[2])
	}
	p.ErrorM = round2(math.Hypot(worst, math.Sqrt(spread/float64(len(positions)))))
	return p
}

// productOdds multiplies the odds of independent looks, each kept away from zero so that one look can't rule a class out
// for good. The classes are taken as equally common beforehand.
func productOdds(looks []*detect.MarkRecord) detect.Odds {
	const least = 0.005
	odds, sum := detect.Odds{}, 0.0
	for _, c := range detect.Classes {
		p := 1.0
		for _, m := range looks {
			p *= max(m.Odds[c], least)
		}
		odds[c], sum = p, sum+p
	}
	for _, c := range detect.Classes {
		odds[c] /= sum
	}
	return odds
}

// weightedMean is the inverse-variance mean of the looks that have the value. When they scatter more than their errors
// allow, the error is widened by the square root of chi-square over its degrees of freedom (the Birge ratio), with a note.
func weightedMean(looks []*detect.MarkRecord, of func(*detect.MarkRecord) *features.Measured) (mean *features.Measured, note string) {
	var values []features.Measured
	for _, m := range looks {
		if v := of(m); v != nil {
			values = append(values, *v)
		}
	}
	if len(values) == 0 {
		return nil, ""
	}
	var sum, w float64
	for _, v := range values {
		k := 1 / sq(max(v.SD, 1e-3))
		sum, w = sum+k*v.Value, w+k
	}
	r := features.Measured{Value: sum / w, SD: math.Sqrt(1 / w)}
	if len(values) < 2 {
		return &r, ""
	}
	chi := 0.0
	for _, v := range values {
		chi += sq((v.Value - r.Value) / max(v.SD, 1e-3))
	}
	note = fmt.Sprintf("%.2f ± %.2f m from %d looks", r.Value, r.SD, len(values))
	if birge := math.Sqrt(chi / float64(len(values)-1)); birge > 1 {
		r.SD *= birge
		note = fmt.Sprintf("%.2f ± %.2f m from %d looks, which differ by more than their errors", r.Value, r.SD, len(values))
	}
	return &r, note
}

func cellOf(p [3]float64, size float64) [3]int32 {
	return [3]int32{int32(math.Floor(p[0] / size)), int32(math.Floor(p[1] / size)), int32(math.Floor(p[2] / size))}
}
