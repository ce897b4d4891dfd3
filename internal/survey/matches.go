package survey

import (
	"cmp"
	"errors"
	"fmt"
	"image"
	"maps"
	"path"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/track"
)

// Matches finds out whether what a user gave speaks of any of the captures: a table with other names, a track of another day and a
// layout of another screen all change nothing, and whoever gave them should hear it; so should who set by hand what the pictures show
// otherwise, or let a clock's zone be guessed.
type Matches struct {
	Manifest *Manifest    // nil = none was given
	Track    *track.Track // nil = none was given
	Layouts  []detect.Layout

	TrackName, LayoutName string // their files; "" = none was given
	ZoneGuessed           bool   // nobody said in which zone the captures' clock was
	ClockOffset           time.Duration
	Panel                 image.Rectangle // set by hand; empty = none was
	NadirX                float64         // set by hand; 0 = none was

	captures, read                int
	inManifest, onTrack, ofScreen bool
	inGaps                        int // captures between two of the track's fixes that lie too far apart
	names                         []string
	timed                         int
	first, last                   time.Time // of captures
	screens                       map[image.Point]int
	asManifest                    int    // captures whose time the manifest gives
	zoneless                      int    // captures whose time names no zone
	outside                       int    // captures that what was set by hand lies outside of
	otherwise                     int    // captures that show otherwise what was set by hand
	shown                         string // what the first of them shows
}

// told is how many names or sizes are told at most of each list.
const told = 3

// See takes a capture into account.
func (m *Matches) See(c *detect.CaptureRecord) {
	m.captures++
	entry := m.Manifest.Lookup(c.Capture)
	m.inManifest = m.inManifest || entry != nil
	if entry != nil && entry.Time != nil {
		m.asManifest++
	}
	if len(m.names) <= told {
		m.names = append(m.names, fmt.Sprintf("%q", path.Base(c.Capture)))
	}
	if c.Status == detect.StatusUnreadable {
		return
	}
	m.read++
	if slices.ContainsFunc(c.Notes, func(n string) bool { return strings.Contains(n, noOffset) }) {
		m.zoneless++
	}
	m.seePanels(c)
	if m.misses(image.Rect(0, 0, c.Width, c.Height)) {
		m.outside++
	}
	if c.Time != nil {
		if m.timed++; m.timed == 1 || c.Time.Before(m.first) {
			m.first = *c.Time
		}
		if c.Time.After(m.last) {
			m.last = *c.Time
		}
		if m.Track != nil && !m.onTrack {
			_, err := m.Track.At(*c.Time)
			m.onTrack = err == nil
			if errors.Is(err, track.ErrGap) {
				m.inGaps++
			}
		}
	}
	if m.screens == nil {
		m.screens = map[image.Point]int{}
	}
	m.screens[image.Pt(c.Width, c.Height)]++
	m.ofScreen = m.ofScreen || slices.ContainsFunc(m.Layouts, func(l detect.Layout) bool { return l.Width == c.Width && l.Height == c.Height })
}

// misses says whether what was set by hand lies outside of a picture.
func (m *Matches) misses(picture image.Rectangle) bool {
	return !m.Panel.Empty() && !m.Panel.Overlaps(picture) || m.NadirX > 0 && m.NadirX >= float64(picture.Dx())
}

// Outside says whether what was set by hand lies outside of every picture, which nobody can have meant.
func (m *Matches) Outside() (sentence string, all bool) {
	if m.outside == 0 {
		return "", false
	}
	set := fmt.Sprintf("--nadir %g", m.NadirX)
	if p := m.Panel; !p.Empty() {
		set = fmt.Sprintf("--panel %d,%d,%d,%d", p.Min.X, p.Min.Y, p.Dx(), p.Dy())
	}
	const mend = "nothing was looked for there. Both are in pixels of the pictures as they are stored"
	if m.outside < m.read {
		return fmt.Sprintf("%s lies outside of %d of %d pictures: %s", set, m.outside, m.read, mend), false
	}
	return fmt.Sprintf("%s lies outside of every picture: %s. The pictures have %s", set, mend, m.sizes()), true
}

// Missed returns a sentence for each thing given that speaks of none of the captures seen: what it holds, what was looked for, and what
// may mend it. Nothing is missed while no capture was seen.
func (m *Matches) Missed() []string {
	var out []string
	if m.Manifest != nil && m.captures > 0 && !m.inManifest {
		out = append(out, m.missedManifest())
	}
	if m.Track != nil && m.read > 0 && !m.onTrack {
		out = append(out, m.missedTrack())
	}
	if m.LayoutName != "" && m.read > 0 && !m.ofScreen {
		out = append(out, m.missedLayout())
	}
	if m.Track != nil && m.onTrack && m.ZoneGuessed && m.zoneless > 0 {
		out = append(out, fmt.Sprintf("the times of %d of %d captures name no zone and were taken for UTC: places along the track are hours off "+
			"where the clock was in another; --zone says which, such as --zone Europe/Berlin, or --zone UTC", m.zoneless, m.read))
	}
	if m.Track != nil && m.captures > 0 && m.Track.Cut() != "" {
		out = append(out, fmt.Sprintf("the track %s: %s", m.TrackName, m.Track.Cut()))
	}
	if m.ClockOffset != 0 && m.asManifest > 0 {
		out = append(out, fmt.Sprintf("--clock-offset %s was not added to the times of %d of %d captures, which the manifest %s gives: its "+
			"times are taken as they stand. Where they come from the same clock, leave its column time out or correct it there", m.ClockOffset,
			m.asManifest, m.captures, m.Manifest.Name))
	}
	if m.otherwise > 0 {
		out = append(out, fmt.Sprintf("%d of %d captures show otherwise what was set by hand: %s", m.otherwise, m.read, m.shown))
	}
	return out
}

// seePanels takes into account what a capture's panels show against what was set by hand.
func (m *Matches) seePanels(c *detect.CaptureRecord) {
	for _, p := range c.Panels {
		if said := p.ShowsOtherwise(); said != "" {
			if m.otherwise++; m.otherwise == 1 {
				m.shown = path.Base(c.Capture) + ": set was " + said
			}
			return
		}
	}
}

func (m *Matches) missedManifest() string {
	entries := m.Manifest.entries
	if len(entries) == 0 {
		return fmt.Sprintf("the manifest %s holds no line but its header, so nothing is known from it", m.Manifest.Name)
	}
	var has []string
	for _, e := range entries[:min(len(entries), told+1)] {
		has = append(has, fmt.Sprintf("%q", e.Capture))
	}
	return fmt.Sprintf("the manifest %s speaks of no capture here, so nothing is known from it: its lines are for %s; the captures are %s. "+
		"Its column \"capture\" must hold the captures' file names, with their endings", m.Manifest.Name,
		some(has, len(entries)), some(m.names, m.captures))
}

func (m *Matches) missedTrack() string {
	from, to := m.Track.Span()
	has := fmt.Sprintf("the track %s covers no capture here, so nothing gets a position from it: it runs from %s to %s", m.TrackName,
		stamp(from), stamp(to))
	if m.timed == 0 {
		return has + "; no capture's time is known. Times are looked for in the manifest, in the pictures' EXIF and in file names such as " +
			"scan_20250601_143015.png"
	}
	if m.inGaps > 0 {
		return fmt.Sprintf("%s, and %d of %d captures were taken in its gaps: fixes more than %s apart are not joined. Log them more often, "+
			"every few seconds if the unit can", has, m.inGaps, m.timed, m.Track.MaxGap())
	}
	there := ""
	if m.asManifest > 0 {
		there = "; what the manifest gives is mended there"
	}
	return fmt.Sprintf("%s; the captures were taken from %s to %s. Where the captures' clock was wrong, --clock-offset mends it; where it "+
		"ran on local time, --zone%s", has, stamp(m.first), stamp(m.last), there)
}

func (m *Matches) missedLayout() string {
	if len(m.Layouts) == 0 {
		return fmt.Sprintf("the layout %s holds nothing that was set by hand", m.LayoutName)
	}
	var has []string
	for _, l := range m.Layouts {
		has = append(has, fmt.Sprintf("%d × %d", l.Width, l.Height))
	}
	return fmt.Sprintf("the layout %s fits no capture here, so nothing was set by it: it is for pictures of %s pixels; the captures have %s. "+
		"Set one by hand on one of these with \"shadowgap explain CAPTURE --panel X,Y,W,H --layout FILE\"", m.LayoutName, some(has, len(has)),
		m.sizes())
}

// sizes tells the pictures' sizes, the most frequent first.
func (m *Matches) sizes() string {
	var are []string
	sizes := slices.SortedFunc(maps.Keys(m.screens), func(a, b image.Point) int {
		return cmp.Or(cmp.Compare(m.screens[b], m.screens[a]), cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y))
	})
	for _, s := range sizes {
		are = append(are, fmt.Sprintf("%d × %d", s.X, s.Y))
	}
	return some(are, len(are))
}

// some tells the first of n things.
func some(list []string, n int) string {
	if n > told {
		return fmt.Sprintf("%s and %d more", strings.Join(list[:told], ", "), n-told)
	}
	return strings.Join(list, ", ")
}
