package review

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/track"
)

// pageMain is the data the page needs at once; everything about one capture that is only seen when it is opened is in its
// own block behind it.
type pageMain struct {
	Run      string          `json:"run"`
	Name     string          `json:"name"`
	Total    int             `json:"total"`
	From     int             `json:"from"` // number of the page's first capture among all pages'
	Unit     string          `json:"unit"`
	Classes  []pageClass     `json:"classes"`
	Cautions []string        `json:"cautions"`
	Captures []pageCapture   `json:"captures"`
	Things   []pageThing     `json:"things"`   // the best first, what is likeliest clutter last
	Places   []pagePlace     `json:"places"`   // where to go, the best first
	PlacesOf int             `json:"placesOf"` // how many there are to go to, on the page or not
	Map      *pageMap        `json:"map"`
	Checks   []Check         `json:"checks"`
	Notes    []noteCount     `json:"notes"`
	TrackLog []string        `json:"trackLog"`
	Layouts  []detect.Layout `json:"layouts"`
	Again    string          `json:"again"` // the command that reads captures again with the layouts kept
}

type pageClass struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Short string `json:"short"`
	Line  string `json:"line"`
}

// pageCapture is a capture in the list. Marks are [id, class, side, odds of its class, on hump, in a hold, likeliest clutter].
type pageCapture struct {
	Name     string        `json:"name"`
	Status   detect.Status `json:"status"`
	Interest float64       `json:"interest"`
	Thumb    string        `json:"thumb"`
	Marks    [][7]any      `json:"marks"`
	Time     string        `json:"time,omitempty"`
	Depth    string        `json:"depth,omitempty"` // of the bottom below the boat
	W        int           `json:"w,omitempty"`     // of those that could not be read
	H        int           `json:"h,omitempty"`
	Plain    string        `json:"plain,omitempty"`
	Help     string        `json:"help,omitempty"` // what to do about it
}

type pageDetail struct {
	Why    string              `json:"why,omitempty"`
	W      int                 `json:"w"`
	H      int                 `json:"h"`
	Plain  string              `json:"plain"`
	Drawn  string              `json:"drawn"`
	Head   []fact              `json:"head"` // time, depth, range and place
	Notes  []string            `json:"notes"`
	Holds  []detect.HoldRecord `json:"holds"`
	Panels []pagePanel         `json:"panels"`
	Marks  []pageMark          `json:"marks"`
}

// pagePanel holds profiles thinned to about a hundred points; altitudes are in the unit named.
type pagePanel struct {
	Box     detect.Box      `json:"box"`
	Nadir   [][2]float64    `json:"nadir"`
	Port    [][2]float64    `json:"port"`
	Star    [][2]float64    `json:"star"`
	Alt     [][3]float64    `json:"alt"`   // row, altitude, sd in AltUnit
	AltPx   [][3]float64    `json:"altPx"` // the same in pixels of slant range, for the slant-corrected view
	AltUnit string          `json:"altUnit"`
	Humps   []detect.Hump   `json:"humps"`
	Regions []detect.Region `json:"regions"`
}

type pageMark struct {
	ID      string      `json:"id"`
	Class   string      `json:"class"`
	Verdict string      `json:"verdict"`
	Odds    [4]float64  `json:"odds"`
	Box     detect.Box  `json:"box"`
	High    *detect.Box `json:"high"`
	Shadow  *detect.Box `json:"shadow"`
	Gap     *[3]float64 `json:"gap"` // from x, to x, row
	Chip    string      `json:"chip"`
	Alt     string      `json:"alt"`
	Facts   []fact      `json:"facts"`
	Reasons []string    `json:"reasons"`
	Doubts  []string    `json:"doubts"`
}

func summary(c detect.CaptureRecord, ms []detect.MarkRecord) pageCapture {
	pc := pageCapture{
		Name: c.Capture, Status: c.Status, Interest: round3(c.Interest), Thumb: media.Of(c.Capture, c.SHA256).Thumb, Marks: [][7]any{},
	}
	pc.Time = timeWords(c.Time)
	if c.Status != detect.StatusRead {
		pc.W, pc.H, pc.Plain, pc.Help = c.Width, c.Height, media.Of(c.Capture, c.SHA256).Plain, whyUnread(c)
	}
	for _, m := range decided.Plain(ms) {
		pc.Marks = append(pc.Marks, [7]any{
			m.Mark, slices.Index(detect.Classes[:], m.Class), m.Side, round3(m.Odds[m.Class]), m.OnHump, m.Hold != nil, m.Nothing(),
		})
	}
	return pc
}

// headOf tells when and where a capture was taken, over what depth and at what range.
func headOf(c detect.CaptureRecord, strip *pageStrip, m *pageMap, u overlay.Units) []fact {
	out := []fact{}
	if c.Time != nil {
		out = append(out, fact{"Time", timeWords(c.Time)})
	}
	if len(c.Panels) == 0 {
		return out
	}
	if d := depthWords(c.Panels[0], u); d != "" {
		out = append(out, fact{"Bottom below the boat", d})
	}
	if r := c.Panels[0].RangeM; r != nil {
		out = append(out, fact{"Range", fmt.Sprintf("%.4g %s to each side", u.FromMetres(*r), u.Symbol())})
	}
	if strip != nil && m != nil {
		w := strip.Way[0]
		lat, lon, _ := track.Direct(m.Lat, m.Lon, math.Atan2(w[0], w[1])*180/math.Pi, math.Hypot(w[0], w[1]))
		out = append(out, fact{"Boat at its newest row", fmt.Sprintf("%.5f, %.5f, heading about %.0f°", lat, lon, w[2])})
	}
	return out
}

// depthWords is the altitude over a panel's rows: one number, or two where the bottom rises or falls.
func depthWords(p detect.PanelRecord, u overlay.Units) string {
	var h []float64
	for _, a := range p.AltitudeM {
		if finite(a[1]) && a[1] > 0 {
			h = append(h, u.FromMetres(a[1]))
		}
	}
	if len(h) == 0 {
		return ""
	}
	slices.Sort(h)
	lo, hi := fmt.Sprintf("%.1f", h[len(h)/20]), fmt.Sprintf("%.1f", h[len(h)-1-len(h)/20])
	if lo == hi {
		return lo + " " + u.Symbol()
	}
	return lo + " to " + hi + " " + u.Symbol()
}

func detail(c detect.CaptureRecord, ms []detect.MarkRecord, u overlay.Units) pageDetail {
	pics := media.Of(c.Capture, c.SHA256)
	d := pageDetail{W: c.Width, H: c.Height, Plain: pics.Plain, Drawn: pics.Drawn, Notes: slices.Clone(c.Notes), Marks: []pageMark{}}
	d.Holds = places.Held(c.Capture, c.Holds, decided.Plain(ms)) // without what is likeliest clutter
	if c.Why != nil {
		d.Why = *c.Why
	}
	for _, p := range c.Panels {
		d.Notes = append(d.Notes, p.Notes...)
		pp := pagePanel{
			Box: p.Box, Nadir: thin(p.Nadir), Port: thin(p.FirstReturn.Port), Star: thin(p.FirstReturn.Starboard),
			AltPx: thinAltitude(p.AltitudePx, 1), AltUnit: "px", Humps: p.Humps, Regions: p.Regions,
		}
		pp.Alt = pp.AltPx
		if len(p.AltitudeM) > 0 {
			pp.Alt, pp.AltUnit = thinAltitude(p.AltitudeM, u.FromMetres(1)), u.Symbol()
		}
		d.Panels = append(d.Panels, pp)
	}
	for i, m := range ms {
		pm := pageMark{
			ID: m.Mark, Class: string(m.Class), Verdict: Verdict(m), Box: m.Box, High: m.Highlight, Shadow: m.Shadow,
			Chip: media.ChipOf(c.Capture, m.Mark), Alt: describe(i+1, m), Facts: factsOf(m, u), Reasons: m.Reasons, Doubts: doubtsOf(c, m),
		}
		for j, cl := range detect.Classes {
			pm.Odds[j] = round3(m.Odds[cl])
		}
		if from, to, row, ok := overlay.GapSpan(m); ok {
			pm.Gap = &[3]float64{from, to, row}
		}
		d.Marks = append(d.Marks, pm)
	}
	return d
}

const profilePoints = 110

func thin(line []detect.RowX) [][2]float64 {
	step := max(1, len(line)/profilePoints)
	out := make([][2]float64, 0, len(line)/step+1)
	for i := 0; i < len(line); i += step {
		if p := line[i]; finite(p[0]) && finite(p[1]) {
			out = append(out, [2]float64{math.Round(p[0]), round1(p[1])})
		}
	}
	return out
}

func thinAltitude(line []detect.RowAltitude, k float64) [][3]float64 {
	step := max(1, len(line)/profilePoints)
	out := make([][3]float64, 0, len(line)/step+1)
	for i := 0; i < len(line); i += step {
		p := line[i]
		if !finite(p[0]) || !finite(p[1]) {
			continue
		}
		if !finite(p[2]) {
			p[2] = 0
		}
		out = append(out, [3]float64{math.Round(p[0]), round3(p[1] * k), round3(p[2] * k)})
	}
	return out
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }
func round3(v float64) float64 {
	if !finite(v) {
		return 0
	}
	return math.Round(v*1000) / 1000
}
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
