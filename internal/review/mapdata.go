package review

import (
	"cmp"
	"math"
	"slices"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/track"
)

// pageMap is what the page's map is drawn from. Places are metres east and north of the origin along the geodesic.
type pageMap struct {
	Lat    float64        `json:"lat"` // of the origin, decimal degrees
	Lon    float64        `json:"lon"`
	Track  [][][2]float64 `json:"track"` // runs of the boat's way
	Known  bool           `json:"known"` // the way is a track that was given, not pieced together from marks
	Strips []pageStrip    `json:"strips"`
}

// pageStrip is the bottom one capture covers: the boat's way through it, newest row first, and how far it reaches to the sides.
type pageStrip struct {
	Capture int          `json:"c"`
	Way     [][4]float64 `json:"way"`   // east, north, course in degrees true, picture row
	Reach   [2]float64   `json:"reach"` // ground range in metres to port and starboard
	Guessed bool         `json:"guess"` // the spacing of its rows is a guess
	PerPx   float64      `json:"k"`     // metres of slant range a column
}

// maxWayPoints bounds what is drawn of a track; a longer one is thinned.
const maxWayPoints = 6000

// stripRows is in how many places the boat's way through one capture is told.
const stripRows = 9

// surveyed works out where captures lie: from the boat's track where there is one, else from where their marks lie.
type surveyed struct {
	way   *track.Track
	rates map[string]rowLag // by capture
	usual float64           // seconds a row, the median; 0 = unknown
}

// rowLag is how much earlier each row away from the newest was recorded.
type rowLag struct {
	secondsPerRow float64
	newestAtTop   bool
}

// mapOf lays out captures and things on a plane that touches the earth in their midst; nil when nothing has a place. caps are those
// of the page in its order.
func mapOf(caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord, way *track.Track) *pageMap {
	s := surveyed{way: way, rates: map[string]rowLag{}}
	var rates []float64
	for _, c := range caps {
		if lag, ok := lagOf(c, byCapture[c.Capture]); ok {
			s.rates[c.Capture] = lag
			rates = append(rates, lag.secondsPerRow)
		}
	}
	if len(rates) > 0 {
		slices.Sort(rates)
		s.usual = rates[len(rates)/2]
	}
	o, ok := origin(caps, byCapture, way)
	if !ok {
		return nil
	}
	m := &pageMap{Lat: o[0], Lon: o[1], Known: way != nil, Track: [][][2]float64{}, Strips: []pageStrip{}}
	for i, c := range caps {
		if strip, ok := s.strip(c, byCapture[c.Capture], m); ok {
			strip.Capture = i
			m.Strips = append(m.Strips, strip)
		}
	}
	if way != nil {
		m.Track = m.wayOf(way)
	} else {
		m.Track = m.joined(caps)
	}
	return m
}

// plane turns a place into metres east and north of the map's origin.
func (m *pageMap) plane(lat, lon float64) [2]float64 {
	d, azi, _ := track.Inverse(m.Lat, m.Lon, lat, lon)
	sin, cos := math.Sincos(azi * math.Pi / 180)
	return [2]float64{math.Round(d*sin*100) / 100, math.Round(d*cos*100) / 100}
}

func origin(caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord, way *track.Track) (o [2]float64, ok bool) {
	for _, c := range caps {
		for _, m := range byCapture[c.Capture] {
			if m.Position != nil {
				return [2]float64{m.Position.Lat, m.Position.Lon}, true
			}
		}
	}
	if way == nil {
		return o, false
	}
	first, _ := way.Span()
	fix, err := way.At(first)
	return [2]float64{fix.Lat, fix.Lon}, err == nil
}

// lagOf reads off a capture's marks, whose times were worked out from its row rate, how long a row took and which row is the
// newest.
func lagOf(c detect.CaptureRecord, marks []detect.MarkRecord) (rowLag, bool) {
	if c.Time == nil || len(c.Panels) == 0 {
		return rowLag{}, false
	}
	top, bottom := lagFit{}, lagFit{}
	for _, m := range marks {
		if m.Time == nil || m.Panel < 0 || m.Panel >= len(c.Panels) {
			continue
		}
		lag := c.Time.Sub(*m.Time).Seconds()
		row := float64(m.Rows[0]+m.Rows[1]) / 2
		box := c.Panels[m.Panel].Box
		top.add(row-float64(box.Y), lag)
		bottom.add(float64(box.Y+box.H)-row, lag)
	}
	if top.n == 0 || top.lags == 0 {
		return rowLag{}, false
	}
	best := rowLag{top.slope(), true}
	if top.n > 1 && bottom.rest() < top.rest() {
		best = rowLag{bottom.slope(), false}
	}
	return best, best.secondsPerRow > 0
}

// lagFit is a least squares line through the origin.
type lagFit struct {
	n                int
	xx, xy, yy, lags float64
}

func (f *lagFit) add(x, y float64) {
	f.n++
	f.xx, f.xy, f.yy, f.lags = f.xx+x*x, f.xy+x*y, f.yy+y*y, f.lags+math.Abs(y)
}

func (f *lagFit) slope() float64 {
	if f.xx == 0 {
		return 0
	}
	return f.xy / f.xx
}

func (f *lagFit) rest() float64 { return f.yy - f.slope()*f.xy }

// strip places one capture's rows; false when they can't be placed.
func (s surveyed) strip(c detect.CaptureRecord, marks []detect.MarkRecord, m *pageMap) (pageStrip, bool) {
	if len(c.Panels) == 0 {
		return pageStrip{}, false
	}
	p := c.Panels[0]
	perPx, altitude := panelScale(p)
	if perPx == 0 {
		return pageStrip{}, false
	}
	x, ok := nearest(p.Nadir, float64(p.Box.Y)+float64(p.Box.H)/2)
	if !ok {
		x = float64(p.Box.X) + float64(p.Box.W)/2
	}
	out := pageStrip{PerPx: perPx, Reach: [2]float64{
		groundOf((x-float64(p.Box.X))*perPx, altitude), groundOf((float64(p.Box.X+p.Box.W)-x)*perPx, altitude),
	}}
	if s.way != nil && c.Time != nil {
		out.Way, out.Guessed = s.alongTrack(c, p, perPx, m)
	} else {
		out.Way, out.Guessed = besideMarks(p, marks, perPx, m)
	}
	return out, len(out.Way) > 1
}

// alongTrack tells where the track puts the boat at rows of a panel.
func (s surveyed) alongTrack(c detect.CaptureRecord, p detect.PanelRecord, perPx float64, m *pageMap) (way [][4]float64, guessed bool) {
	lag, ok := s.rates[c.Capture]
	if !ok {
		lag, guessed = rowLag{s.usual, true}, true
	}
	if lag.secondsPerRow == 0 {
		fix, err := s.way.At(*c.Time)
		if err != nil || math.IsNaN(fix.SpeedMS) || fix.SpeedMS < 0.3 {
			return nil, true
		}
		lag.secondsPerRow = perPx / fix.SpeedMS
	}
	for i := range stripRows {
		rows := float64(p.Box.H) * float64(i) / (stripRows - 1)
		fix, err := s.way.At(c.Time.Add(-time.Duration(rows * lag.secondsPerRow * float64(time.Second))))
		if err != nil || math.IsNaN(fix.CourseDeg) {
			continue
		}
		row := float64(p.Box.Y) + rows
		if !lag.newestAtTop {
			row = float64(p.Box.Y+p.Box.H) - rows
		}
		e := m.plane(fix.Lat, fix.Lon)
		way = append(way, [4]float64{e[0], e[1], round1(fix.CourseDeg), math.Round(row)})
	}
	return way, guessed
}

// besideMarks tells where the boat was from where its marks lie: each lies abeam of it at its ground range.
func besideMarks(p detect.PanelRecord, marks []detect.MarkRecord, perPx float64, m *pageMap) (way [][4]float64, guessed bool) {
	var at [][4]float64
	for _, k := range marks {
		if k.Position == nil || k.CourseDeg == nil || k.GroundM == nil || k.Panel != 0 {
			continue
		}
		back := 90.0
		if k.Side == detect.Starboard {
			back = -90
		}
		lat, lon, _ := track.Direct(k.Position.Lat, k.Position.Lon, *k.CourseDeg+back, k.GroundM.Value)
		e := m.plane(lat, lon)
		at = append(at, [4]float64{e[0], e[1], *k.CourseDeg, float64(k.Rows[0]+k.Rows[1]) / 2})
	}
	if len(at) == 0 {
		return nil, false
	}
	slices.SortFunc(at, func(a, b [4]float64) int { return cmp.Compare(a[3], b[3]) })
	at = anchors(at)
	for i := range stripRows {
		row := float64(p.Box.Y) + float64(p.Box.H)*float64(i)/(stripRows-1)
		way = append(way, between(at, row, perPx))
	}
	return way, len(at) == 1
}

// anchors joins places of the boat, sorted by row, that are too near each other for the way between them to mean anything: each
// is off by its mark's error.
func anchors(at [][4]float64) [][4]float64 {
	const near, bend = 60, 20 // rows, degrees
	var out [][4]float64
	var sum [3]float64
	n, from := 0.0, 0
	flush := func() {
		if n > 0 {
			out = append(out, [4]float64{sum[0] / n, sum[1] / n, at[from][2], sum[2] / n})
		}
		sum, n = [3]float64{}, 0
	}
	for i, a := range at {
		if n > 0 && (a[3]-at[from][3] > near || math.Abs(track.AngleBetween(a[2], at[from][2])) > bend) {
			flush()
		}
		if n == 0 {
			from = i
		}
		sum[0], sum[1], sum[2], n = sum[0]+a[0], sum[1]+a[1], sum[2]+a[3], n+1
	}
	flush()
	return out
}

// between puts the boat at a row on the line through the anchors around it. Beyond them it goes on along the course there, with rows as
// far apart as between the anchors, or as columns where there is only one.
func between(at [][4]float64, row, perPx float64) [4]float64 {
	for i := range len(at) - 1 {
		if a, z := at[i], at[i+1]; row >= a[3] && row <= z[3] {
			f := (row - a[3]) / max(z[3]-a[3], 1)
			course := track.Normalise(a[2] + f*track.AngleBetween(a[2], z[2]))
			return [4]float64{round2(a[0] + f*(z[0]-a[0])), round2(a[1] + f*(z[1]-a[1])), round1(course), math.Round(row)}
		}
	}
	end := at[len(at)-1]
	if row < at[0][3] {
		end = at[0]
	}
	spacing, newestLow := perPx, false
	if first, last := at[0], at[len(at)-1]; len(at) > 1 {
		spacing = math.Hypot(last[0]-first[0], last[1]-first[1]) / max(last[3]-first[3], 1)
		sin, cos := math.Sincos(first[2] * math.Pi / 180)
		newestLow = (last[0]-first[0])*sin+(last[1]-first[1])*cos > 0 // the boat goes down the picture
	}
	step := (end[3] - row) * spacing // ahead
	if newestLow {
		step = -step
	}
	sin, cos := math.Sincos(end[2] * math.Pi / 180)
	return [4]float64{round2(end[0] + step*sin), round2(end[1] + step*cos), round1(end[2]), math.Round(row)}
}

// wayOf thins a track to what a map shows.
func (m *pageMap) wayOf(way *track.Track) [][][2]float64 {
	step := max(1, (way.Points()+maxWayPoints-1)/maxWayPoints)
	out := [][][2]float64{}
	for leg := range way.Legs() {
		var line [][2]float64
		for i, p := range leg {
			if i%step == 0 || i == len(leg)-1 {
				line = append(line, m.plane(p.Lat, p.Lon))
			}
		}
		out = append(out, line)
	}
	return out
}

// joined strings the strips of captures taken soon after one another together.
func (m *pageMap) joined(caps []detect.CaptureRecord) [][][2]float64 {
	const soon = 5 * time.Minute
	strips := slices.DeleteFunc(slices.Clone(m.Strips), func(s pageStrip) bool { return caps[s.Capture].Time == nil })
	slices.SortStableFunc(strips, func(a, b pageStrip) int { return caps[a.Capture].Time.Compare(*caps[b.Capture].Time) })
	out := [][][2]float64{}
	for i, s := range strips {
		if i == 0 || caps[s.Capture].Time.Sub(*caps[strips[i-1].Capture].Time) > soon {
			out = append(out, nil)
		}
		last := &out[len(out)-1]
		*last = append(*last, [2]float64{s.Way[0][0], s.Way[0][1]})
	}
	return out
}

// panelScale returns the metres of slant range a column and the median altitude in metres; 0 where the scale is unknown.
func panelScale(p detect.PanelRecord) (perPx, altitudeM float64) {
	var k, h []float64
	for i := range min(len(p.AltitudeM), len(p.AltitudePx)) {
		if px, m := p.AltitudePx[i][1], p.AltitudeM[i][1]; px > 0 && m > 0 {
			k, h = append(k, m/px), append(h, m)
		}
	}
	if len(k) > 0 {
		slices.Sort(k)
		slices.Sort(h)
		return k[len(k)/2], h[len(h)/2]
	}
	if p.RangeM == nil || p.Box.W == 0 {
		return 0, 0
	}
	side := float64(p.Box.W) / 2
	if x, ok := nearest(p.Nadir, float64(p.Box.Y)+float64(p.Box.H)/2); ok {
		side = max(x-float64(p.Box.X), float64(p.Box.X+p.Box.W)-x)
	}
	return *p.RangeM / side, 0
}

// groundOf is the ground range of a slant range, both in metres, over a flat bottom.
func groundOf(slantM, altitudeM float64) float64 {
	if slantM <= altitudeM {
		return 0
	}
	return round2(math.Sqrt(slantM*slantM - altitudeM*altitudeM))
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }
