// Package units reads quantities as people write them, with the unit beside the number or in a column's header, and turns
// them into SI: metres, metres a second, degrees Celsius.
package units

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Dimension says what a quantity measures, and so which units may stand beside it.
type Dimension int

// The dimensions a manifest, a track or an option can hold.
const (
	Length      Dimension = iota // metres
	Speed                        // metres a second
	Temperature                  // degrees Celsius
	Salinity                     // practical salinity
	Angle                        // degrees
	Duration                     // seconds
	Rate                         // a second
)

// Exact definitions: the international foot is 0.3048 m, the nautical mile 1852 m, the fathom six feet.
const (
	metresPerFoot  = 0.3048
	metresPerKnot  = 1852.0 / 3600
	metresPerMile  = 1609.344
	secondsPerHour = 3600.0
)

// ErrNoUnit is wrapped by errors about a number that needs a unit and has none.
var ErrNoUnit = errors.New("unit missing")

// linear is value*scale + offset, from a unit to the dimension's SI unit.
type linear struct{ scale, offset float64 }

func table(d Dimension) (name, si string, units map[string]linear) {
	switch d {
	case Length:
		return "length", "m", map[string]linear{
			"m": {1, 0}, "metre": {1, 0}, "metres": {1, 0}, "meter": {1, 0}, "meters": {1, 0}, "cm": {0.01, 0}, "km": {1000, 0},
			"ft": {metresPerFoot, 0}, "foot": {metresPerFoot, 0}, "feet": {metresPerFoot, 0}, "'": {metresPerFoot, 0},
			"fathom": {6 * metresPerFoot, 0}, "fathoms": {6 * metresPerFoot, 0}, "ftm": {6 * metresPerFoot, 0},
		}
	case Speed:
		return "speed", "m/s", map[string]linear{
			"m/s": {1, 0}, "ms": {1, 0}, "mps": {1, 0}, "kn": {metresPerKnot, 0}, "kt": {metresPerKnot, 0}, "kts": {metresPerKnot, 0},
			"knot": {metresPerKnot, 0}, "knots": {metresPerKnot, 0}, "km/h": {1000 / secondsPerHour, 0}, "kmh": {1000 / secondsPerHour, 0},
			"kph": {1000 / secondsPerHour, 0}, "mph": {metresPerMile / secondsPerHour, 0},
		}
	case Temperature:
		return "temperature", "°C", map[string]linear{
			"c": {1, 0}, "°c": {1, 0}, "degc": {1, 0}, "celsius": {1, 0}, "k": {1, -273.15},
			"f": {5.0 / 9, -160.0 / 9}, "°f": {5.0 / 9, -160.0 / 9}, "degf": {5.0 / 9, -160.0 / 9}, "fahrenheit": {5.0 / 9, -160.0 / 9},
		}
	case Salinity:
		return "salinity", "psu", map[string]linear{"psu": {1, 0}, "ppt": {1, 0}, "g/kg": {1, 0}, "pss": {1, 0}, "‰": {1, 0}}
	case Angle:
		return "angle", "°", map[string]linear{"°": {1, 0}, "deg": {1, 0}, "degrees": {1, 0}, "t": {1, 0}, "°t": {1, 0},
			"rad": {180 / math.Pi, 0}}
	case Duration:
		return "duration", "s", map[string]linear{
			"s": {1, 0}, "sec": {1, 0}, "seconds": {1, 0}, "ms": {0.001, 0}, "min": {60, 0}, "minutes": {60, 0}, "h": {secondsPerHour, 0},
		}
	default:
		return "rate", "1/s", map[string]linear{"1/s": {1, 0}, "hz": {1, 0}, "s": {1, 0}, "/s": {1, 0}, "rows/s": {1, 0},
			"1/min": {1.0 / 60, 0}, "/min": {1.0 / 60, 0}}
	}
}

// String names the dimension in plain words.
func (d Dimension) String() string { name, _, _ := table(d); return name }

// Known says whether unit belongs to the dimension; case and blanks don't matter.
func (d Dimension) Known(unit string) bool {
	_, _, units := table(d)
	_, ok := units[strings.ToLower(strings.TrimSpace(unit))]
	return ok
}

// Parse reads a number with an optional unit, such as "30m", "100 ft" or "5,5 kn", and returns it in the dimension's SI
// unit. defaultUnit is what a bare number is in; with defaultUnit "" a bare number is an error that wraps ErrNoUnit. Not
// finite numbers, unknown units and units of another dimension are errors.
func Parse(text string, d Dimension, defaultUnit string) (float64, error) {
	name, _, units := table(d)
	s := strings.TrimSpace(text)
	end := numberEnd(s)
	if end == 0 {
		return 0, fmt.Errorf("%s %q: no number", name, text)
	}
	if i := strings.IndexByte(s[:end], ','); i >= 0 && end-i == 4 && !strings.HasPrefix(strings.TrimLeft(s, "+-"), "0,") {
		return 0, fmt.Errorf("%s %q: the comma may mean thousands or decimals, write it without", name, text)
	}
	v, err := strconv.ParseFloat(strings.Replace(s[:end], ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s %q: not a number", name, text)
	}
	unit := strings.ToLower(strings.TrimSpace(s[end:]))
	if unit == "" {
		unit = strings.ToLower(strings.TrimSpace(defaultUnit))
	}
	if unit == "" {
		return 0, fmt.Errorf("%s %q: %w (write for example %s)", name, text, ErrNoUnit, example(d))
	}
	u, ok := units[unit]
	if !ok {
		return 0, fmt.Errorf("%s %q: unit %q is not a unit of %s", name, text, unit, name)
	}
	return v*u.scale + u.offset, nil
}

// mostRangeM is beyond every range that a side-scan display is set to (common practice, no source).
const mostRangeM = 1000

// ParseRange reads a range setting per side, which must have a unit and be positive and at most a kilometre, in metres.
func ParseRange(text string) (float64, error) {
	v, err := Parse(text, Length, "")
	if err != nil {
		return 0, err
	}
	if v <= 0 {
		return 0, fmt.Errorf("range %q: must be more than zero", text)
	}
	if v > mostRangeM {
		return 0, fmt.Errorf("range %q: side-scan reaches %d m at most", text, mostRangeM)
	}
	return v, nil
}

// SplitHeader takes a column header such as "Speed (kn)", "speed_kn", "speed [km/h]" or "water temperature" apart into a
// name in lower case with single blanks and the unit, which is "" when the header has none of dimension d.
func SplitHeader(header string, d Dimension) (name, unit string) {
	h := strings.ToLower(strings.TrimSpace(header))
	for _, pair := range []string{"()", "[]"} {
		if i := strings.IndexByte(h, pair[0]); i >= 0 {
			if j := strings.IndexByte(h[i:], pair[1]); j > 0 {
				return headerName(h[:i] + " " + h[i+j+1:]), strings.TrimSpace(h[i+1 : i+j])
			}
		}
	}
	name = headerName(h)
	if i := strings.LastIndexByte(name, ' '); i > 0 && d.Known(name[i+1:]) {
		return name[:i], name[i+1:]
	}
	return name, ""
}

// headerName puts a header in lower case, with every run of blanks, underscores and hyphens as one blank, so that
// "Water-Temperature" and "water_temperature" are one column.
func headerName(header string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(header), func(r rune) bool {
		return r == ' ' || r == '_' || r == '-' || r == '\t' || r == '\u00a0' || r == '\ufeff'
	}), " ")
}

// numberEnd returns the length of the leading number of s: sign, digits, one decimal point or comma, exponent.
func numberEnd(s string) int {
	i, digits, point := 0, 0, false
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	for ; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
		case (c == '.' || c == ',') && !point:
			point = true
		default:
			return exponentEnd(s, i, digits)
		}
	}
	return exponentEnd(s, i, digits)
}

func exponentEnd(s string, i, digits int) int {
	if digits == 0 {
		return 0
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		if k := j; j < len(s) && s[j] >= '0' && s[j] <= '9' {
			for k < len(s) && s[k] >= '0' && s[k] <= '9' {
				k++
			}
			return k
		}
	}
	return i
}

func example(d Dimension) string {
	switch d {
	case Length:
		return "30m or 100ft"
	case Speed:
		return "5kn or 2.5m/s"
	case Temperature:
		return "18C or 64F"
	default:
		_, si, _ := table(d)
		return "1" + si
	}
}
