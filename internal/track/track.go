// Package track turns a boat's position log (GPX 1.1, NMEA 0183, CSV) into a position, course and speed at any time it
// covers, with errors, and refuses any time it doesn't.
package track

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"
)

// Errors that At wraps.
var (
	ErrOutside   = errors.New("outside the track's time")
	ErrGap       = errors.New("in a gap of the track")
	ErrAmbiguous = errors.New("covered twice by the track, at different places")
)

// Point is one logged fix. NaN stands for a quantity the log doesn't give.
type Point struct {
	Time      time.Time // UTC
	Lat, Lon  float64   // WGS84 decimal degrees
	CourseDeg float64   // course over ground, degrees true
	SpeedMS   float64   // speed over ground, metres a second
	DepthM    float64   // depth below the transducer, metres
	HDOP      float64   // horizontal dilution of precision
	ErrorM    float64   // root-mean-square horizontal distance from the truth, metres
}

// Fix is where the boat was at a time. NaN stands for what can't be known from the track.
type Fix struct {
	Time      time.Time
	Lat, Lon  float64 // WGS84 decimal degrees, longitude in [-180, 180)
	CourseDeg float64 // course over ground, degrees true
	CourseSD  float64 // one standard deviation, degrees
	SpeedMS   float64 // metres a second
	SpeedSD   float64 // one standard deviation, metres a second
	DepthM    float64 // depth below the transducer, metres
	ErrorM    float64 // root-mean-square horizontal distance from the truth, metres
}

// Options tune how a track is read. Zero fields take the defaults named beside them.
type Options struct {
	FixErrorM float64        // root-mean-square error of a fix that gives none and no HDOP; default 4 m (common practice, no source)
	Zone      *time.Location // of CSV times without an offset; default UTC
	MaxBytes  int64          // longest log read; default 256 MiB
	MaxPoints int            // most fixes read; default 2,000,000
}

const (
	maxSpeedMS      = 50.0 // a faster jump between fixes breaks the track
	courseBaseM     = 10.0 // distance over which a course is taken from positions
	accelerationMS2 = 0.1  // how hard the boat may turn or speed up between fixes, one standard deviation
	// Stretches between two fixes are bridged up to gapSpacings times the median spacing, within minGap and maxGap.
	gapSpacings = 5
	minGap      = 10 * time.Second
	maxGap      = 120 * time.Second
)

func (o Options) withDefaults() Options {
	if o.FixErrorM <= 0 {
		o.FixErrorM = 4
	}
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = 256 << 20
	}
	if o.MaxPoints <= 0 {
		o.MaxPoints = 2_000_000
	}
	return o
}

// leg is a run of fixes with strictly rising times and no gap, and the tangent of the way at each.
type leg struct {
	points []Point
	course []float64 // degrees true, NaN while the boat lies still
	sd     []float64 // its standard deviation, degrees
}

func (l leg) start() time.Time { return l.points[0].Time }
func (l leg) end() time.Time   { return l.points[len(l.points)-1].Time }

// Track is a boat's way. It is safe for use by several goroutines.
type Track struct {
	legs   []leg // by start time; may overlap after a clock jump
	opt    Options
	maxGap time.Duration
	notes  []string
	cut    string
}

// New builds a track from runs of fixes in the order they were logged. A run ends where the logger says so (a GPX
// segment). It takes the runs over. It returns an error when no usable fix is left or a coordinate is off the globe.
func New(runs [][]Point, opt Options) (*Track, error) {
	opt = opt.withDefaults()
	t := &Track{opt: opt}
	n := 0
	for _, run := range runs {
		for _, p := range run {
			if err := checkPoint(p); err != nil {
				return nil, err
			}
			n++
		}
	}
	if n == 0 {
		return nil, errors.New("no fix with a time and a position")
	}
	t.maxGap = min(max(gapSpacings*medianSpacing(runs), minGap), maxGap)
	if allZeroSpeeds(runs) {
		for _, run := range runs {
			for i := range run {
				run[i].SpeedMS, run[i].CourseDeg = math.NaN(), math.NaN()
			}
		}
	}
	for _, run := range runs {
		t.split(run)
	}
	slices.SortStableFunc(t.legs, func(a, b leg) int { return a.start().Compare(b.start()) })
	return t, nil
}

// Notes tells what was odd about the log: clock jumps, dropped sentences, impossible speeds.
func (t *Track) Notes() []string { return slices.Clone(t.notes) }

// Cut tells where a log breaks off in mid-word, "" where it doesn't. It is one of the notes, too.
func (t *Track) Cut() string { return t.cut }

// breakOff notes the line in which a log breaks off and how many of what (points, lines) came before that, the last at a time.
func (t *Track) breakOff(line int, inside, what string, n int, last time.Time) {
	t.cut = fmt.Sprintf("the file breaks off in line %d%s, as a recorder that lost power leaves it: the %s before that, %d of them, are "+
		"used, the last at %s", line, inside, what, n, last.UTC().Format(time.RFC3339))
	t.notes = append(t.notes, t.cut)
}

// Span returns the times of the first and the last fix.
func (t *Track) Span() (first, last time.Time) {
	first, last = t.legs[0].start(), t.legs[0].end()
	for _, l := range t.legs[1:] {
		if l.end().After(last) {
			last = l.end()
		}
	}
	return first, last
}

// Points returns how many fixes the track holds.
func (t *Track) Points() int {
	n := 0
	for _, l := range t.legs {
		n += len(l.points)
	}
	return n
}

func checkPoint(p Point) error {
	switch {
	case p.Time.IsZero():
		return errors.New("a fix without a time")
	case math.IsNaN(p.Lat) || p.Lat < -90 || p.Lat > 90:
		return fmt.Errorf("fix at %s: latitude %v is outside -90 to 90", p.Time.Format(time.RFC3339), p.Lat)
	case math.IsNaN(p.Lon) || p.Lon < -180 || p.Lon > 180:
		return fmt.Errorf("fix at %s: longitude %v is outside -180 to 180", p.Time.Format(time.RFC3339), p.Lon)
	}
	return nil
}

// allZeroSpeeds says whether a log has speeds and all are 0: converters fill in zeros for what they don't know, and a boat
// that truly lies still has no course from its positions either.
func allZeroSpeeds(runs [][]Point) bool {
	some := false
	for _, run := range runs {
		for _, p := range run {
			if !math.IsNaN(p.SpeedMS) && p.SpeedMS != 0 {
				return false
			}
			some = some || p.SpeedMS == 0
		}
	}
	return some
}

func medianSpacing(runs [][]Point) time.Duration {
	var d []time.Duration
	for _, run := range runs {
		for i := 1; i < len(run); i++ {
			if dt := run[i].Time.Sub(run[i-1].Time); dt > 0 {
				d = append(d, dt)
			}
		}
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// split cuts a run into legs where its clock jumps back, where it falls silent and where the boat would have had to fly.
func (t *Track) split(run []Point) {
	var cur []Point
	flush := func() {
		if len(cur) > 0 {
			t.legs = append(t.legs, t.newLeg(cur))
		}
		cur = nil
	}
	for _, p := range run {
		if len(cur) == 0 {
			cur = append(cur, p)
			continue
		}
		last := cur[len(cur)-1]
		dt := p.Time.Sub(last.Time)
		at := p.Time.UTC().Format(time.RFC3339)
		if dt == 0 {
			continue // the same epoch logged twice
		}
		if dt < 0 {
			t.notes = append(t.notes, fmt.Sprintf("the clock jumps back %s at %s", -dt, at))
			flush()
		} else if dt > t.maxGap {
			flush()
		} else if d := chordM(EarthCentred(last.Lat, last.Lon), EarthCentred(p.Lat, p.Lon)); d-last.errorRadius(t.opt)-
			p.errorRadius(t.opt) > maxSpeedMS*dt.Seconds() {
			t.notes = append(t.notes, fmt.Sprintf("%.0f m in %s at %s is faster than %.0f m/s: a false fix or a clock jump", d, dt, at,
				maxSpeedMS))
			flush()
		}
		cur = append(cur, p)
	}
	flush()
}

// errorRadius returns the fix's own root-mean-square error in metres: as logged, from its HDOP, or the default.
func (p Point) errorRadius(opt Options) float64 {
	base := opt.withDefaults().FixErrorM
	switch {
	case p.ErrorM > 0:
		return p.ErrorM
	case p.HDOP > 0:
		return base * max(p.HDOP, 0.5)
	}
	return base
}

// MaxGap is the longest time between two fixes that the way between them is told for.
func (t *Track) MaxGap() time.Duration { return t.maxGap }

// At returns the boat's fix at a time: the position along the geodesic between the fixes around it, the course along the
// boat's way, the speed made good. It returns an error that wraps ErrOutside, ErrGap or ErrAmbiguous when the track can't
// tell.
func (t *Track) At(when time.Time) (Fix, error) {
	var found []Fix
	var before, after time.Time
	for _, l := range t.legs {
		if l.start().After(when) {
			if after.IsZero() {
				after = l.start()
			}
			break // legs are sorted by start
		}
		if l.end().Before(when) {
			if l.end().After(before) {
				before = l.end()
			}
			continue
		}
		found = append(found, t.within(l, when))
	}
	stamp := when.UTC().Format(time.RFC3339)
	switch {
	case len(found) == 0 && before.IsZero():
		return Fix{}, fmt.Errorf("%s is before the first fix at %s: %w", stamp, after.UTC().Format(time.RFC3339), ErrOutside)
	case len(found) == 0 && after.IsZero():
		return Fix{}, fmt.Errorf("%s is after the last fix at %s: %w", stamp, before.UTC().Format(time.RFC3339), ErrOutside)
	case len(found) == 0:
		return Fix{}, fmt.Errorf("%s lies between fixes at %s and %s, more than %s apart or broken off: %w", stamp,
			before.UTC().Format(time.RFC3339), after.UTC().Format(time.RFC3339), t.maxGap, ErrGap)
	}
	for _, f := range found[1:] {
		if d, _, _ := Inverse(found[0].Lat, found[0].Lon, f.Lat, f.Lon); d > 2*math.Hypot(found[0].ErrorM, f.ErrorM) {
			return Fix{}, fmt.Errorf("%s: two places %.0f m apart: %w", stamp, d, ErrAmbiguous)
		}
	}
	return found[0], nil
}

// within interpolates inside a leg that covers when.
func (t *Track) within(l leg, when time.Time) Fix {
	j := sort.Search(len(l.points), func(i int) bool { return !l.points[i].Time.Before(when) })
	if len(l.points) == 1 {
		p := l.points[0]
		return Fix{Time: when, Lat: p.Lat, Lon: NormaliseLon(p.Lon), CourseDeg: l.course[0], CourseSD: l.sd[0], SpeedMS: p.SpeedMS,
			SpeedSD: recordedSpeedSD, DepthM: p.DepthM, ErrorM: p.errorRadius(t.opt)}
	}
	i := max(j-1, 0)
	j = i + 1
	a, b := l.points[i], l.points[j]
	span := b.Time.Sub(a.Time).Seconds()
	since := when.Sub(a.Time).Seconds()
	f := since / span
	d, azi1, azi2 := Inverse(a.Lat, a.Lon, b.Lat, b.Lon)
	lat, lon, azi := Direct(a.Lat, a.Lon, azi1, f*d)
	fix := Fix{Time: when, Lat: lat, Lon: lon, CourseDeg: math.NaN(), CourseSD: math.NaN(), SpeedSD: recordedSpeedSD,
		DepthM: nearestDepth(l, i, when)}

	// The way between two fixes bends by at most a τ (T-τ) / 2 under a steady acceleration a; both axes may.
	bend := math.Sqrt2 * accelerationMS2 * since * (span - since) / 2
	fix.ErrorM = math.Hypot((1-f)*a.errorRadius(t.opt)+f*b.errorRadius(t.opt), bend)

	fix.SpeedMS = d / span
	fix.SpeedSD = math.Hypot(math.Sqrt2*relativeErrorM/span, accelerationMS2*span/2)
	if !math.IsNaN(a.SpeedMS) && !math.IsNaN(b.SpeedMS) {
		fix.SpeedMS, fix.SpeedSD = (1-f)*a.SpeedMS+f*b.SpeedMS, recordedSpeedSD
	}
	ca, cb := l.course[i], l.course[j]
	if math.IsNaN(ca) || math.IsNaN(cb) {
		return fix
	}
	if d < 0.05 { // no direction between coinciding fixes: turn steadily from one course to the other
		fix.CourseDeg = Normalise(ca + f*AngleBetween(ca, cb))
	} else { // courses against the geodesic's own azimuth, which swings fast near the poles
		da, db := AngleBetween(azi1, ca), AngleBetween(azi2, cb)
		fix.CourseDeg = Normalise(azi + da + f*AngleBetween(da, db))
	}
	fix.CourseSD = math.Hypot((1-f)*l.sd[i]+f*l.sd[j], turnWithin(ca, cb, azi1, azi2)*f*(1-f))
	return fix
}

// turnWithin returns by how many degrees the boat turned between two fixes, the geodesic's own swing left out.
func turnWithin(ca, cb, azi1, azi2 float64) float64 {
	return math.Abs(AngleBetween(AngleBetween(azi1, ca), AngleBetween(azi2, cb)))
}

// nearestDepth returns the depth of the closer of the two fixes around when that has one and is at most 5 s away.
func nearestDepth(l leg, i int, when time.Time) float64 {
	best, depth := 5*time.Second, math.NaN()
	for _, p := range l.points[i : i+2] {
		if d := p.Time.Sub(when).Abs(); !math.IsNaN(p.DepthM) && d <= best {
			best, depth = d, p.DepthM
		}
	}
	return depth
}
