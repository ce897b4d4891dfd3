package track

import "math"

// How well a receiver knows differences: neighbouring fixes share most of their error, and the course and speed it logs
// come from Doppler shift. All are common practice, no source.
const (
	relativeErrorM  = 0.5 // between fixes seconds apart, one standard deviation
	recordedSpeedSD = 0.1 // m/s
	stillMS         = 0.3 // below this a course over ground means nothing
	oneSidedSD      = 5.0 // degrees, of a course taken from one side only, at the end of a leg
)

// newLeg works out the tangent of the way at each fix: the logged course where the boat moves, else the mean of the
// azimuths to fixes at least CourseBaseM behind and ahead.
func (t *Track) newLeg(points []Point) leg {
	l := leg{points: points, course: make([]float64, len(points)), sd: make([]float64, len(points))}
	place := make([][3]float64, len(points))
	for i, p := range points {
		place[i] = EarthCentred(p.Lat, p.Lon)
	}
	for i, p := range points {
		l.course[i], l.sd[i] = math.NaN(), math.NaN()
		if !math.IsNaN(p.CourseDeg) && !math.IsNaN(p.SpeedMS) && p.SpeedMS >= stillMS {
			l.course[i] = Normalise(p.CourseDeg)
			l.sd[i] = math.Hypot(1, degrees(math.Atan2(recordedSpeedSD, p.SpeedMS)))
			continue
		}
		if math.IsNaN(p.SpeedMS) || p.SpeedMS >= stillMS {
			l.course[i], l.sd[i] = t.tangent(points, place, i)
		}
	}
	return l
}

// tangent estimates the course at fix i from positions; NaN when the boat covers less than half the base within 30 s
// either way.
func (t *Track) tangent(points []Point, place [][3]float64, i int) (course, sd float64) {
	in, inM := t.chord(points, place, i, -1)
	out, outM := t.chord(points, place, i, +1)
	total := inM + outM
	if total < courseBaseM/2 {
		return math.NaN(), math.NaN()
	}
	switch half := courseBaseM / 2; {
	case math.IsNaN(in) || inM < half && outM >= half:
		course, sd = out, oneSidedSD
	case math.IsNaN(out) || outM < half && inM >= half:
		course, sd = in, oneSidedSD
	default: // each chord points along the way at its own middle
		course = Normalise(in + inM/total*AngleBetween(in, out))
		// A real turn makes the two chords disagree; what is left of it after averaging is counted as error.
		sd = math.Abs(AngleBetween(in, out)) / 4
	}
	return course, math.Hypot(sd, degrees(math.Atan2(math.Sqrt2*relativeErrorM, total)))
}

// chord returns the azimuth of travel at fix i, from the fix at least CourseBaseM behind it (step -1) or to the one ahead
// (step +1), looking at most 30 s away, and the chord's length in metres. NaN and 0 where there is no such fix or it
// coincides.
func (t *Track) chord(points []Point, place [][3]float64, i, step int) (azimuth, lengthM float64) {
	end := -1
	for j := i + step; j >= 0 && j < len(points); j += step {
		if points[j].Time.Sub(points[i].Time).Abs().Seconds() > 30 && j != i+step {
			break
		}
		d := chordM(place[i], place[j])
		if d > 0.05 {
			end = j
		}
		if d >= courseBaseM {
			break
		}
	}
	if end < 0 {
		return math.NaN(), 0
	}
	a, b := points[min(i, end)], points[max(i, end)]
	d, azi1, azi2 := Inverse(a.Lat, a.Lon, b.Lat, b.Lon)
	if step < 0 {
		return azi2, d
	}
	return azi1, d
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
