package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/survey"
	"shadowgap/internal/words"
)

// pageThing is a sighting on the page: what a person decides about once. Marks are [number of the capture, number of the mark in
// it], the best look first.
type pageThing struct {
	ID    string      `json:"id"`
	Marks [][2]int    `json:"m"`
	Class int         `json:"c"`
	Dull  bool        `json:"dull,omitempty"` // likeliest clutter, shown only on request
	Odds  [4]float64  `json:"odds"`
	Doubt float64     `json:"doubt"`
	Say   string      `json:"say"`
	Facts []fact      `json:"facts"`
	Why   []string    `json:"why"`
	Where string      `json:"where,omitempty"`
	Pos   *[3]float64 `json:"pos,omitempty"` // latitude, longitude, error in metres
	XY    *[2]float64 `json:"xy,omitempty"`  // on the map
	When  string      `json:"when,omitempty"`
	Chip  string      `json:"chip"`
	Alt   string      `json:"alt"`
}

// pagePlace is a spot to go to.
type pagePlace struct {
	Things []int       `json:"things"` // numbers of the page's things there, the best first; those drawn by hand are not among them
	Class  int         `json:"c"`
	Say    string      `json:"say"`
	Facts  []fact      `json:"facts"`
	Why    []string    `json:"why"`
	Where  string      `json:"where,omitempty"`
	Pos    *[3]float64 `json:"pos,omitempty"`
	XY     *[2]float64 `json:"xy,omitempty"`
	When   string      `json:"when,omitempty"`
	Seen   int         `json:"seen"`           // captures that show it
	In     string      `json:"in"`             // the one with the picture, without its folder
	Name   string      `json:"name,omitempty"` // given by a person
	Note   string      `json:"note,omitempty"`
	Chip   string      `json:"chip"`
	Spare  string      `json:"spare"` // picture where there is no close-up
	Alt    string      `json:"alt"`
}

// laid knows where on the page each mark is.
type laid struct {
	caps      []detect.CaptureRecord
	byCapture map[string][]detect.MarkRecord
	at        map[markKey][2]int
	chart     *pageMap
	units     overlay.Units
}

func layOut(caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord, chart *pageMap, u overlay.Units) laid {
	l := laid{caps, byCapture, map[markKey][2]int{}, chart, u}
	for i, c := range caps {
		for j, m := range byCapture[c.Capture] {
			l.at[markKey{m.Capture, m.Mark}] = [2]int{i, j}
		}
	}
	return l
}

// things are the run's sightings before anything was decided, so that a decision taken back leaves what was there. What is
// likeliest clutter comes last: the page shows it only on request.
func (l laid) things(list []places.Sighting) []pageThing {
	out := []pageThing{}
	for _, s := range list {
		t := pageThing{
			ID: s.ID, Class: slices.Index(detect.Classes[:], s.Class), Doubt: s.Doubt, Say: s.Sentence + ".",
			Facts: sightingFacts(s, l.units), Why: s.Why,
		}
		for _, m := range s.Members {
			if n, ok := l.at[markKey{m.Capture, m.Mark}]; ok {
				t.Marks = append(t.Marks, n)
				mark := decided.Mark{MarkRecord: l.byCapture[m.Capture][n[1]]}
				t.Dull = (t.Dull || len(t.Marks) == 1) && mark.Nothing()
			}
		}
		if len(t.Marks) == 0 {
			continue
		}
		best := t.Marks[0]
		mark := l.byCapture[l.caps[best[0]].Capture][best[1]]
		t.Chip, t.Alt = media.ChipOf(mark.Capture, mark.Mark), describe(best[1]+1, mark)
		for j, cl := range detect.Classes {
			t.Odds[j] = round3(s.Odds[cl])
		}
		t.Where, t.Pos, t.XY = l.where(s.Position)
		t.When = timeWords(s.Time)
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(a, b pageThing) int {
		switch {
		case !a.Dull && b.Dull:
			return -1
		case a.Dull && !b.Dull:
			return 1
		}
		return 0
	})
	return out
}

// places are where to go, as decisions leave them.
func (l laid) places(list []places.Place, atlas places.Atlas, things []pageThing) []pagePlace {
	number := map[string]int{} // of the thing that a mark shows
	for i, t := range things {
		for _, at := range t.Marks {
			number[fmt.Sprint(at)] = i
		}
	}
	out := []pagePlace{}
	for _, p := range list {
		best := atlas.Sighting(p.Sightings[0])
		q := pagePlace{
			Things: []int{}, Class: slices.Index(detect.Classes[:], best.Class), Say: p.Sentence + ".", Why: p.Why,
			Seen: len(p.Captures), In: memberNames(best.Members[:1]), Name: p.Name, Note: p.Note,
			Facts: placeFacts(p, *best, l.units), When: timeWords(p.Time), Chip: media.ChipOf(p.Best.Capture, p.Best.Mark),
			Alt: fmt.Sprintf("Close-up in %s, %s side.", p.Best.Capture, p.Best.Side),
		}
		for _, id := range p.Sightings {
			for _, m := range atlas.Sighting(id).Members {
				at, ok := l.at[markKey{m.Capture, m.Mark}]
				if n, known := number[fmt.Sprint(at)]; ok && known && !slices.Contains(q.Things, n) {
					q.Things = append(q.Things, n)
				}
			}
		}
		for _, c := range l.caps {
			if c.Capture == p.Best.Capture {
				q.Spare = media.Of(c.Capture, c.SHA256).Drawn
				break
			}
		}
		q.Where, q.Pos, q.XY = l.where(p.Position)
		out = append(out, q)
	}
	return out
}

// where writes a position, gives it in numbers and puts it on the map.
func (l laid) where(p *detect.Position) (text string, pos *[3]float64, xy *[2]float64) {
	if p == nil {
		return "", nil, nil
	}
	if l.chart != nil {
		e := l.chart.plane(p.Lat, p.Lon)
		xy = &e
	}
	return placeWords(*p, l.units), &[3]float64{p.Lat, p.Lon, p.ErrorM}, xy
}

// sightingFacts are the few numbers a person asks for: how deep, how high, how large.
func sightingFacts(s places.Sighting, u overlay.Units) []fact {
	out := []fact{}
	add := func(name string, m *features.Measured, write func(features.Measured, overlay.Units) string) {
		if m != nil {
			out = append(out, fact{name, write(*m, u)})
		}
	}
	add("Depth", s.AltitudeM, words.Depth)
	if s.Class == detect.SuspendedTarget {
		add("Off the bottom", s.OffBottomM, words.OffBottom)
	} else {
		add("Height", s.HeightM, words.Length)
	}
	add("Length", s.LengthM, words.Length)
	return out
}

func placeFacts(p places.Place, best places.Sighting, u overlay.Units) []fact {
	best.AltitudeM = cmp.Or(p.AltitudeM, best.AltitudeM)
	facts := sightingFacts(best, u)
	if len(p.Sightings) > 1 {
		facts = append(facts, fact{"Things there", fmt.Sprint(len(p.Sightings))})
	}
	if p.Looks > 1 {
		facts = append(facts, fact{"Independent looks", fmt.Sprint(p.Looks)})
	}
	return facts
}

// placeWords writes a position with its error: six decimals are a decimetre.
func placeWords(p detect.Position, u overlay.Units) string {
	return fmt.Sprintf("%.6f, %.6f ± %s", p.Lat, p.Lon, words.Distance(p.ErrorM, u))
}

func timeWords(t *time.Time) string {
	if t == nil {
		return ""
	}
	return t.UTC().Format("2006-01-02 15:04:05 UTC")
}

// atlasOf ranks what a run shows. Decisions count where marks were decided on.
func atlasOf(caps []detect.CaptureRecord, marks []decided.Mark, u overlay.Units, clutter bool) places.Atlas {
	return places.Find(caps, marks, places.Options{Units: u, Clutter: clutter})
}

// memberNames lists the captures that show a sighting, without their folders.
func memberNames(list []survey.Member) string {
	var names []string
	for _, m := range list {
		name := m.Capture[strings.LastIndexAny(m.Capture, `/\`)+1:]
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return strings.Join(names, ", ")
}
