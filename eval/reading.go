package eval

import (
	"encoding/json"
	"image"
	"math"
	"slices"

	"shadowgap/detect"
)

// PictureReading tells how well captures are read, before anything is looked for in them, in measures that don't depend on how large a
// capture is shown.
type PictureReading struct {
	Swaths        int          `json:"swaths"`                  // labelled captures with nadir and both first returns
	Refused       Rate         `json:"refused"`                 // of the labelled captures
	FirstReturn   PointShare   `json:"first_return_near"`       // labelled points of whole swaths within 10/1024 of the panel's width
	Nadir         PointShare   `json:"nadir_near"`              // the same for the nadir, within 3/1024
	SidesWrong    Rate         `json:"sides_wrong"`             // of the sides of whole swaths that were read
	OneSideWrong  Rate         `json:"one_side_wrong"`          // of the pictures of one side in which a side was named
	Panel         Rate         `json:"panel_right"`             // of the screens, those whose panel overlaps the truth by 0.95 (IoU)
	PanelFilled   Rate         `json:"panel_right_as_filled"`   // the same, held against the rows of the truth that pings fill
	Photo         Rate         `json:"photo_right"`             // of the photographs, those overlapping by 0.9, by box
	PhotoOutline  Rate         `json:"photo_outline_right"`     // the same, by the outline through the corners
	VisibleReturn ProfileError `json:"first_return_visible_px"` // over rows that hold an echo and show it
	VisibleAbsent PointShare   `json:"first_return_absent"`     // of these rows, those without an answer
}

// What counts as near and as the same panel.
const (
	nearFirst = 10.0 / 1024 // of the panel's width
	nearNadir = 3.0 / 1024
	panelIoU  = 0.95
	photoIoU  = 0.9
)

// PointShare is a share of labelled points. Points of one capture are not independent, so its 95 % interval is by bootstrap over
// captures. A point without an answer is not in the share.
type PointShare struct {
	K, N int
	Estimate
}

// MarshalJSON writes {"k","n","value","low","high"}.
func (s PointShare) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		K     int      `json:"k"`
		N     int      `json:"n"`
		Value *float64 `json:"value"`
		Low   *float64 `json:"low"`
		High  *float64 `json:"high"`
	}{s.K, s.N, finite(s.Value), finite(s.Low), finite(s.High)})
}

// newPointShare sums hits of tries, one of each a capture.
func newPointShare(hits, tries []int, opt Options) PointShare {
	var s PointShare
	for i := range tries {
		s.K += hits[i]
		s.N += tries[i]
	}
	s.Estimate = bootstrap(len(tries), opt.Resamples, opt.Seed, func(times []int) float64 {
		k, n := 0, 0
		for i, t := range times {
			k += t * hits[i]
			n += t * tries[i]
		}
		return float64(k) / float64(n)
	})
	return s
}

// wholeSwath tells of a label whether its capture shows both sides, with lines to hold a reading against.
func (l *CaptureLabel) wholeSwath() bool {
	return l.Side == "" && len(l.Nadir) > 0 && len(l.FirstReturn.Port) > 0 && len(l.FirstReturn.Starboard) > 0
}

// panelWidth is the width that distances across the track are held against: the labelled panel's, else the picture's.
func (s *scored) panelWidth() float64 {
	if s.label.Panel != nil {
		return float64(s.label.Panel.W)
	}
	return float64(s.record.Width)
}

func reading(caps []scored, opt Options) PictureReading {
	var r PictureReading
	var refused int
	var swathSides, oneSides struct{ wrong, of int }
	var panels, photos, outlines struct{ right, of int }
	var filled int // of the panels, those right as far as pings fill them
	var absent, seen []int
	var firstHits, firstTries, nadirHits, nadirTries []int
	var visible gatherer
	for i := range caps {
		s := &caps[i]
		panel := panelOf(s)
		if panel == nil {
			refused++
			panel = &detect.PanelRecord{}
		}
		switch l := s.label; {
		case l.Panel == nil:
		case len(l.Quad) == 4:
			photos.of++
			outlines.of++
			if IoU(*l.Panel, boxOnScreen(panel)) >= photoIoU {
				photos.right++
			}
			if outlineIoU(l.Quad, outlineOf(panel)) >= photoIoU {
				outlines.right++
			}
		default:
			panels.of++
			if IoU(*l.Panel, boxOnScreen(panel)) >= panelIoU {
				panels.right++
			}
			if IoU(filledPart(l), panel.Box) >= panelIoU {
				filled++
			}
		}
		if wrong, named := oneSideWrong(s, panel); named {
			oneSides.of++
			if wrong {
				oneSides.wrong++
			}
		}
		answered, unanswered := len(visible.list), visible.absent
		s.visibleReturn(&visible, panel, i)
		absent, seen = append(absent, visible.absent-unanswered), append(seen, len(visible.list)-answered+visible.absent-unanswered)
		if !s.label.wholeSwath() {
			continue
		}
		r.Swaths++
		wrong, named := sidesWrong(s, panel)
		swathSides.wrong, swathSides.of = swathSides.wrong+wrong, swathSides.of+named
		port, ofPort := meets(s.label.FirstReturn.Port, panel.FirstReturn.Port, nearFirst*s.panelWidth())
		star, ofStar := meets(s.label.FirstReturn.Starboard, panel.FirstReturn.Starboard, nearFirst*s.panelWidth())
		firstHits, firstTries = append(firstHits, port+star), append(firstTries, ofPort+ofStar)
		hits, tries := meets(s.label.Nadir, panel.Nadir, nearNadir*s.panelWidth())
		nadirHits, nadirTries = append(nadirHits, hits), append(nadirTries, tries)
	}
	r.Refused = NewRate(refused, len(caps))
	r.SidesWrong, r.OneSideWrong = NewRate(swathSides.wrong, swathSides.of), NewRate(oneSides.wrong, oneSides.of)
	r.Panel, r.PanelFilled = NewRate(panels.right, panels.of), NewRate(filled, panels.of)
	r.Photo, r.PhotoOutline = NewRate(photos.right, photos.of), NewRate(outlines.right, outlines.of)
	r.FirstReturn, r.Nadir = newPointShare(firstHits, firstTries, opt), newPointShare(nadirHits, nadirTries, opt)
	r.VisibleAbsent = newPointShare(absent, seen, opt)
	const withinPx = 2
	r.VisibleReturn = visible.sum(len(caps), withinPx, opt)
	return r
}

// meets counts the true points and those of them that the found profile meets within tol pixels.
func meets(truth, got []detect.RowX, tol float64) (hits, tries int) {
	for _, q := range truth {
		if x, ok := atRow(got, q[0]); ok && math.Abs(x-q[1]) <= tol {
			hits++
		}
	}
	return hits, len(truth)
}

// sidesWrong counts the sides of a whole swath that a reading gives a first return, and those of them whose line lies on the other
// side of the true nadir for the most part.
func sidesWrong(s *scored, panel *detect.PanelRecord) (wrong, named int) {
	for _, side := range []struct {
		line []detect.RowX
		sign float64
	}{{panel.FirstReturn.Port, -1}, {panel.FirstReturn.Starboard, 1}} {
		if len(side.line) == 0 {
			continue
		}
		off := 0
		for _, q := range side.line {
			if n, ok := atRow(s.label.Nadir, q[0]); ok && side.sign*(q[1]-n) < 0 {
				off++
			}
		}
		named++
		if 2*off > len(side.line) {
			wrong++
		}
	}
	return wrong, named
}

// oneSideWrong tells of a picture of one side only whether it was called the other one, by the points and marks that carry a side's
// name; named is false where none does.
func oneSideWrong(s *scored, panel *detect.PanelRecord) (wrong, named bool) {
	if s.label.Side == "" {
		return false, false
	}
	port, starboard := len(panel.FirstReturn.Port), len(panel.FirstReturn.Starboard)
	for _, m := range s.all {
		switch m.Side {
		case detect.Port:
			port++
		case detect.Starboard:
			starboard++
		}
	}
	own, other := port, starboard
	if s.label.Side == detect.Starboard {
		own, other = starboard, port
	}
	return other > own, own+other > 0
}

// visibleReturn gathers the first return's errors at rows where a person could see it: rows that were not lost, at places that nothing
// opaque covers.
func (s *scored) visibleReturn(g *gatherer, panel *detect.PanelRecord, capture int) {
	for _, side := range []struct {
		truth, got []detect.RowX
		sign       float64
	}{{s.label.FirstReturn.Port, panel.FirstReturn.Port, -1}, {s.label.FirstReturn.Starboard, panel.FirstReturn.Starboard, 1}} {
		for _, q := range side.truth {
			if s.label.shows(q) {
				x, ok := atRow(side.got, q[0])
				g.add(x, ok, q[1], side.sign, capture)
			}
		}
	}
}

// shows tells whether the picture shows the record at a point.
func (l *CaptureLabel) shows(q detect.RowX) bool {
	if slices.ContainsFunc(l.LostRows, func(r [2]int) bool { return q[0] >= float64(r[0])-0.5 && q[0] < float64(r[1])-0.5 }) {
		return false
	}
	at := image.Pt(int(math.Round(q[1])), int(math.Round(q[0])))
	return !slices.ContainsFunc(l.Furniture, func(f FurnitureLabel) bool {
		return (f.Kind == "plate" || f.Kind == "bar") && at.In(f.Box.Rect())
	})
}

// filledPart is the part of a labelled panel that pings fill, where its nadir is labelled: a record begun lately does not reach the foot
// of its panel yet. Rows up to one label's distance from the first and the last labelled one are taken to be filled too.
func filledPart(l *CaptureLabel) detect.Box {
	b := *l.Panel
	if len(l.Nadir) < 2 {
		return b
	}
	first, last := l.Nadir[0][0], l.Nadir[len(l.Nadir)-1][0]
	step := l.Nadir[1][0] - first
	top, foot := max(b.Y, int(math.Ceil(first-step))), min(b.Y+b.H, int(last+step)+1)
	b.Y, b.H = top, max(0, foot-top)
	return b
}

// boxOnScreen is the box around a panel as the screen shows it, with what its record has not filled yet.
func boxOnScreen(p *detect.PanelRecord) detect.Box {
	if p.Whole == nil {
		return p.Box
	}
	lo, hi := p.Whole[0], p.Whole[0]
	for _, q := range p.Whole {
		lo = [2]float64{min(lo[0], q[0]), min(lo[1], q[1])}
		hi = [2]float64{max(hi[0], q[0]), max(hi[1], q[1])}
	}
	at := func(v float64) int { return int(math.Round(v + 0.5)) }
	return detect.Box{X: at(lo[0]), Y: at(lo[1]), W: at(hi[0]) - at(lo[0]), H: at(hi[1]) - at(lo[1])}
}

// outlineOf are a panel's corners as the screen shows it, clockwise from the upper left, whole numbers being pixel centres as in labels.
func outlineOf(p *detect.PanelRecord) [][2]float64 {
	switch {
	case p.Whole != nil:
		return p.Whole[:]
	case p.Corners != nil:
		return p.Corners[:]
	}
	x0, y0 := float64(p.Box.X)-0.5, float64(p.Box.Y)-0.5
	x1, y1 := x0+float64(p.Box.W), y0+float64(p.Box.H)
	return [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// outlineIoU is the area that two convex outlines share over the area they cover together. The second goes clockwise as seen in the
// picture.
func outlineIoU(a, b [][2]float64) float64 {
	shared := a
	for i, q := range b {
		shared = cutBy(shared, b[(i+len(b)-1)%len(b)], q)
	}
	both := area(shared)
	all := area(a) + area(b) - both
	if all <= 0 {
		return 0
	}
	return both / all
}

// cutBy keeps of an outline what lies to the right of the way from one point to another, seen with rows going down.
func cutBy(outline [][2]float64, from, to [2]float64) [][2]float64 {
	right := func(p [2]float64) float64 {
		return (to[0]-from[0])*(p[1]-from[1]) - (to[1]-from[1])*(p[0]-from[0])
	}
	var out [][2]float64
	for i, q := range outline {
		p := outline[(i+len(outline)-1)%len(outline)]
		dp, dq := right(p), right(q)
		if (dp < 0) != (dq < 0) {
			t := dp / (dp - dq)
			out = append(out, [2]float64{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])})
		}
		if dq >= 0 {
			out = append(out, q)
		}
	}
	return out
}

// area of a polygon, whichever way round.
func area(outline [][2]float64) float64 {
	sum := 0.0
	for i, q := range outline {
		p := outline[(i+len(outline)-1)%len(outline)]
		sum += p[0]*q[1] - q[0]*p[1]
	}
	return math.Abs(sum) / 2
}
