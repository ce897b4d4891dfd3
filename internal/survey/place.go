package survey

import (
	"errors"
	"fmt"
	"math"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/track"
)

// How well the boat's instruments are set up: common practice without a source.
const (
	crabSD    = 5.0  // degrees by which the boat points off its course in wind and current, one standard deviation
	antennaM  = 1.0  // unknown distance from the antenna to the transducer, root mean square
	turnLagS  = 2.0  // seconds by which the transducer's direction and a course over ground disagree in a turn
	turnToSay = 15.0 // degrees of course change inside a capture from which reasons speak of a turn
)

// Scene is what is known of one capture's time, way and rows.
type Scene struct {
	Time           *CaptureTime       // nil = unknown
	Track          *track.Track       // nil = none
	Entry          *Entry             // the manifest's line; nil = none
	RowRate        *features.Measured // rows a second
	RowSpacingM    *features.Measured // metres made good between two rows
	NewestAtBottom bool
	SlantCorrected bool // columns are ground range

	way []track.Fix // what ReadScene knows of the track
}

// boat tells the boat's fix at a time.
type boat func(time.Time) (track.Fix, error)

// boat picks the source of positions: the track, else the manifest's own place, course and speed as dead reckoning.
func (s Scene) boat() (boat, time.Time, string) {
	e := s.Entry
	switch {
	case s.Track != nil && s.Time == nil:
		return nil, time.Time{}, "the time of the capture is unknown"
	case s.Track != nil:
		return s.Track.At, s.Time.Time, ""
	case len(s.way) > 0 && s.Time != nil:
		return keptWay(s.way), s.Time.Time, ""
	case e == nil || e.Lat == nil:
		return nil, time.Time{}, "no track and no position in a manifest"
	}
	var at time.Time // any moment will do when the time is unknown: rows count from it
	if s.Time != nil {
		at = s.Time.Time
	}
	course, speed := math.NaN(), math.NaN()
	if e.CourseDeg != nil {
		course = *e.CourseDeg
	}
	if e.SpeedMS != nil {
		speed = *e.SpeedMS
	}
	return func(when time.Time) (track.Fix, error) {
		since := when.Sub(at).Seconds()
		fix := track.Fix{Time: when, Lat: *e.Lat, Lon: track.NormaliseLon(*e.Lon), CourseDeg: course, CourseSD: manifestCourseSD,
			SpeedMS: speed,
			SpeedSD: manifestSpeedSD, DepthM: math.NaN(), ErrorM: manifestErrorM}
		if !math.IsNaN(course) && !math.IsNaN(speed) {
			fix.Lat, fix.Lon, fix.CourseDeg = track.Direct(fix.Lat, fix.Lon, course, speed*since)
			fix.ErrorM = math.Hypot(fix.ErrorM, manifestSpeedSD*since)
		}
		return fix, nil
	}, at, ""
}

// How well a person reads position, course and speed off an instrument (common practice, no source).
const (
	manifestErrorM   = 5.0
	manifestCourseSD = 5.0
	manifestSpeedSD  = 0.2
)

// rowLag returns how long before the newest row a row was recorded, in seconds, with its error, and a sentence when the
// rate had to be guessed. rows is how many rows lie between; columnM is the slant range of one column, 0 when unknown.
func (s Scene) rowLag(rows, panelRows, speedMS, columnM float64) (lag features.Measured, guess string) {
	switch {
	case s.RowRate != nil && s.RowRate.Value > 0:
		v := rows / s.RowRate.Value
		return features.Measured{Value: v, SD: v * s.RowRate.SD / s.RowRate.Value}, ""
	case s.Entry != nil && s.Entry.RowRate != nil:
		v := rows / *s.Entry.RowRate
		return features.Measured{Value: v, SD: 0.02 * v}, ""
	case s.Entry != nil && s.Entry.DurationS != nil && panelRows > 0:
		v := rows / panelRows * *s.Entry.DurationS
		return features.Measured{Value: v, SD: 0.02 * v}, ""
	}
	moving := speedMS >= 0.3
	if sp := s.spacing(); sp != nil && moving {
		v := rows * sp.Value / speedMS
		return features.Measured{Value: v, SD: v * sp.SD / sp.Value}, ""
	}
	if columnM > 0 && moving {
		v := rows * columnM / speedMS
		return features.Measured{Value: v, SD: v},
			"the row rate is unknown: rows were taken to lie as far apart as columns, and the error widened by all of that"
	}
	return features.Measured{}, "the row rate is unknown: the whole capture was taken to be recorded at once"
}

func (s Scene) spacing() *features.Measured {
	if s.RowSpacingM != nil && s.RowSpacingM.Value > 0 {
		return s.RowSpacingM
	}
	if s.Entry != nil && s.Entry.RowSpacingM != nil {
		return &features.Measured{Value: *s.Entry.RowSpacingM, SD: 0.02 * *s.Entry.RowSpacingM}
	}
	return nil
}

// rowSpacing returns the distance made good between two rows in metres when it is known and not guessed: given, or from the
// row rate and the boat's speed at the newest row. panelRows is the height of the panel.
func (s Scene) rowSpacing(panelRows int) (features.Measured, bool) {
	if sp := s.spacing(); sp != nil {
		return *sp, true
	}
	at, when, why := s.boat()
	if why != "" {
		return features.Measured{}, false
	}
	fix, err := at(when)
	if err != nil || math.IsNaN(fix.SpeedMS) || fix.SpeedMS < 0.3 {
		return features.Measured{}, false
	}
	lag, guess := s.rowLag(1, float64(panelRows), fix.SpeedMS, 0)
	if guess != "" || lag.Value <= 0 {
		return features.Measured{}, false
	}
	return features.Product(features.Measured{Value: fix.SpeedMS, SD: fix.SpeedSD}, lag), true
}

// Place gives each mark of a capture its time, course and position with an error radius, and a sentence in its reasons
// for whatever widens the error or keeps the position out. Marks with a known row spacing get their along-track length where
// they have none, and so do the panels' regions their area. A mark lands abeam of the boat's course at the time of its own row, at its
// ground range.
func Place(s Scene, panels []detect.PanelRecord, marks []detect.MarkRecord) {
	at, newest, why := s.boat()
	for i := range panels {
		sp, ok := s.rowSpacing(panels[i].Box.H)
		for k := range panels[i].Regions {
			if area, has := RegionArea(panels[i], panels[i].Regions[k], sp); ok && has && !s.SlantCorrected {
				panels[i].Regions[k].AreaM2 = &area
			}
		}
	}
	for i := range marks {
		m := &marks[i]
		if m.Panel < 0 || m.Panel >= len(panels) {
			m.Reasons = append(m.Reasons, "no position: the mark's panel is missing")
			continue
		}
		panel := panels[m.Panel].Box
		if sp, ok := s.rowSpacing(panel.H); ok && m.LengthM == nil {
			m.LengthM = alongTrackLength(*m, sp)
		}
		if why != "" {
			m.Reasons = append(m.Reasons, "no position: "+why)
			continue
		}
		placeOne(s, at, newest, panel, m)
		if sp, ok := s.rowSpacing(panel.H); ok {
			m.AxisDeg = axisBearing(*m, sp, s.NewestAtBottom)
		}
	}
}

// leastElongation is how much longer than wide a highlight must be for its direction to mean something.
const leastElongation = 2.0

// axisBearing returns the bearing of a mark's long axis over the ground in degrees true, 0 to 180 (an axis has no front),
// from its axis in the picture, the course and the scales of rows and columns. Columns are taken as ground range through the
// mark's own grazing triangle: ground range grows by slant / ground per pixel of slant. It is nil for a highlight less than
// twice as long as wide, or without course, range or ground range. The error is that of two pixels across the axis's length
// and of the row spacing, first order.
func axisBearing(m detect.MarkRecord, spacing features.Measured, newestAtBottom bool) *features.Measured {
	if m.Axis == nil || m.CourseDeg == nil || m.SlantM == nil || m.GroundM == nil || m.SlantPx.Value <= 0 || m.GroundM.Value <= 0 ||
		m.Axis.LengthPx < leastElongation*m.Axis.WidthPx || m.Axis.LengthPx <= 2 {
		return nil
	}
	column := m.SlantM.Value / m.SlantPx.Value * m.SlantM.Value / m.GroundM.Value
	angle := m.Axis.AngleDeg * math.Pi / 180
	right, ahead := math.Cos(angle)*column, -math.Sin(angle)*spacing.Value
	if newestAtBottom {
		ahead = -ahead
	}
	bearing := math.Mod(*m.CourseDeg+math.Atan2(right, ahead)*180/math.Pi, 180)
	if bearing < 0 {
		bearing += 180
	}
	// turning by the pixel error, and by the row spacing's: d atan2(x, y) = x dy / (x² + y²)
	turn := 2 / m.Axis.LengthPx
	skew := right * ahead / (right*right + ahead*ahead) * spacing.SD / spacing.Value
	return &features.Measured{Value: bearing, SD: math.Hypot(turn, skew) * 180 / math.Pi}
}

// alongTrackLength returns the length along the track of a mark's highlight in metres from the row spacing, nil without a
// highlight. Half a row at either end may be off. The beam's own width is in it: a thing shorter than the beam still fills it.
func alongTrackLength(m detect.MarkRecord, spacing features.Measured) *features.Measured {
	if m.Highlight == nil || m.Highlight.H <= 0 {
		return nil
	}
	l := features.Product(features.Measured{Value: float64(m.Highlight.H), SD: math.Sqrt(2.0 / 12)}, spacing)
	return &l
}

func placeOne(s Scene, at boat, newest time.Time, panel detect.Box, m *detect.MarkRecord) {
	fail := func(err error) { m.Reasons = append(m.Reasons, "no position: "+err.Error()) }
	speed := math.NaN()
	first, errNewest := at(newest)
	if errNewest == nil {
		speed = first.SpeedMS
	}
	columnM := 0.0
	if m.SlantM != nil && m.SlantPx.Value > 0 {
		columnM = m.SlantM.Value / m.SlantPx.Value
	}
	row := (float64(m.Rows[0]) + float64(m.Rows[1])) / 2
	if m.Highlight != nil {
		row = float64(m.Highlight.Y) + float64(m.Highlight.H)/2
	}
	rows := row - float64(panel.Y)
	if s.NewestAtBottom {
		rows = float64(panel.Y+panel.H) - row
	}
	lag, guess := s.rowLag(max(rows, 0), float64(panel.H), speed, columnM)
	if errNewest != nil && guess != "" {
		fail(errNewest)
		return
	}
	when := newest.Add(-seconds(lag.Value))
	fix, err := at(when)
	if err != nil {
		fail(fmt.Errorf("its row: %w", err))
		return
	}
	if guess != "" {
		m.Reasons = append(m.Reasons, "position: "+guess)
	}
	if s.Time != nil {
		utc := when.UTC().Round(time.Millisecond)
		m.Time = &utc
	}
	timeSD := lag.SD
	if (s.Track != nil || len(s.way) > 0) && s.Time != nil {
		timeSD = math.Hypot(timeSD, s.Time.SD.Seconds())
	}
	ground, note, ok := groundRange(*m)
	if !ok {
		fail(errors.New(note))
		return
	}
	if note != "" {
		m.Reasons = append(m.Reasons, "position: "+note)
	}
	sp := Spot{Fix: fix, Side: m.Side, GroundM: ground, TimeSD: timeSD, AntennaM: antennaM, CrabSD: crabSD}
	sp.TurnRate, sp.TurnInCapture = turn(at, newest, when, lag.Value*float64(panel.H)/max(rows, 1))
	sp.TurnSD = math.Abs(sp.TurnRate) * math.Hypot(turnLagS, timeSD)
	pos := sp.Position()
	m.Position = &pos
	switch {
	case math.IsNaN(fix.CourseDeg):
		m.Reasons = append(m.Reasons, fmt.Sprintf("position: the boat lay still or its course is unknown, so the mark is anywhere within "+
			"%.0f m of the boat", pos.ErrorM))
	default:
		c := math.Round(fix.CourseDeg*10) / 10
		m.CourseDeg = &c
		if math.Abs(sp.TurnInCapture) >= turnToSay {
			straight := sp
			straight.TurnSD = 0
			m.Reasons = append(m.Reasons, turnWords(sp.TurnInCapture, straight.Position().ErrorM, pos.ErrorM))
		}
	}
}

// turnWords tells of a turn inside a capture and what it does to the error.
func turnWords(turnDeg, straightM, turningM float64) string {
	s := fmt.Sprintf("position: the boat turned %.0f° within this capture, ", math.Abs(turnDeg))
	if turningM-straightM < 0.1 {
		return s + "slowly enough here that the error grows by less than 0.1 m"
	}
	return s + fmt.Sprintf("which widens the error from %.1f m to %.1f m", straightM, turningM)
}

// Spot is what a position is made of.
type Spot struct {
	Fix           track.Fix
	Side          detect.Side
	GroundM       features.Measured
	TimeSD        float64 // seconds
	AntennaM      float64 // root mean square
	CrabSD        float64 // degrees
	TurnSD        float64 // degrees
	TurnRate      float64 // degrees a second
	TurnInCapture float64 // degrees
}

// Position returns the place abeam of the course at the ground range, by geodesic, and the root-mean-square distance it may
// be off by. With independent parts the squares add: the fix; the ground range; the antenna; speed times the time error along the
// track; and a turn of the beam by an angle of standard deviation a, which moves the mark by 2g sin(a/2), of mean square
// 2g²(1-exp(-a²/2)) for a normal angle. Without a course the mark is somewhere on a circle around the boat.
func (s Spot) Position() detect.Position {
	g := s.GroundM
	square := sq(s.Fix.ErrorM) + sq(g.SD) + sq(s.AntennaM)
	if !math.IsNaN(s.Fix.SpeedMS) {
		square += sq(s.Fix.SpeedMS * s.TimeSD)
	}
	if math.IsNaN(s.Fix.CourseDeg) {
		return detect.Position{Lat: round7(s.Fix.Lat), Lon: roundLon(s.Fix.Lon), ErrorM: round2(math.Sqrt(square + sq(g.Value)))}
	}
	angle := (sq(s.Fix.CourseSD) + sq(s.CrabSD) + sq(s.TurnSD)) * sq(math.Pi/180)
	square += 2 * sq(g.Value) * -math.Expm1(-angle/2)
	abeam := 90.0
	if s.Side == detect.Port {
		abeam = -90
	}
	lat, lon, _ := track.Direct(s.Fix.Lat, s.Fix.Lon, s.Fix.CourseDeg+abeam, g.Value)
	return detect.Position{Lat: round7(lat), Lon: roundLon(lon), ErrorM: round2(math.Sqrt(square))}
}

// groundRange returns a mark's ground range for placing it. A thing that hangs off the bottom lies farther out than the flat
// formula says; the difference counts as error. Inside the water column anything from below the boat out to the slant range
// is possible.
func groundRange(m detect.MarkRecord) (g features.Measured, note string, ok bool) {
	if m.GroundM != nil {
		g = *m.GroundM
		if m.OffBottomM != nil && m.AltitudeM != nil && m.SlantM != nil {
			h, s, z := m.AltitudeM.Value, m.SlantM.Value, m.OffBottomM.Value
			if z > 0 && z < h && s > h {
				g.SD = math.Hypot(g.SD, math.Sqrt(sq(s)-sq(h-z))-math.Sqrt(sq(s)-sq(h)))
			}
		}
		return g, "", true
	}
	if m.SlantM != nil {
		s := m.SlantM.Value
		return features.Measured{Value: s / 2, SD: s / math.Sqrt(12)},
			fmt.Sprintf("inside the water column the distance abeam can be anything from 0 to %.1f m", s), true
	}
	return g, "its distance from the boat is unknown: no range was given, or no nadir is in view", false
}

// turn returns the turn rate around a row in degrees a second and the course change over the whole capture in degrees, 0
// where the track can't tell.
func turn(at boat, newest, row time.Time, spanS float64) (rate, total float64) {
	change := func(from, to time.Time) (deg, secs float64) {
		a, errA := at(from)
		b, errB := at(to)
		if errA != nil || errB != nil || math.IsNaN(a.CourseDeg) || math.IsNaN(b.CourseDeg) {
			return 0, 0
		}
		return track.AngleBetween(a.CourseDeg, b.CourseDeg), to.Sub(from).Seconds()
	}
	for _, w := range [][2]float64{{-3, 3}, {-3, 0}, {0, 3}} { // at the ends of a track one side is missing
		if d, secs := change(row.Add(seconds(w[0])), row.Add(seconds(w[1]))); secs > 0 {
			rate = d / secs
			break
		}
	}
	const steps = 16 // add up the turns, so that a full circle isn't none
	for i := range steps {
		d, _ := change(newest.Add(-seconds(spanS*float64(i+1)/steps)), newest.Add(-seconds(spanS*float64(i)/steps)))
		total += d
	}
	return rate, total
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
func sq(v float64) float64            { return v * v }
func round2(v float64) float64        { return math.Round(v*100) / 100 }

// round7 rounds to seven decimals of a degree, a centimetre, the most GeoJSON should carry.
func round7(v float64) float64 { return math.Round(v*1e7) / 1e7 }

// roundLon does so for a longitude and keeps it in [-180, 180).
func roundLon(lon float64) float64 {
	if lon = round7(track.NormaliseLon(lon)); lon == 180 {
		return -180
	}
	return lon
}
