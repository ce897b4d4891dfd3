// Package words says what was measured on marks and places the way one person tells another: a sentence, lengths rounded to
// what their errors allow, and reasons without the detector's own terms.
package words

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"shadowgap/features"
	"shadowgap/internal/units"
)

// Length writes a measured length in metres or feet, rounded to its error, such as "1.2 m". A length that its own error
// swallows, or that came out below zero, is told by its bound: "under 0.3 m". It never writes a negative length.
func Length(m features.Measured, u units.Lengths) string {
	v, sd := u.FromMetres(m.Value), math.Abs(u.FromMetres(m.SD))
	text, bound := rounded(v, sd)
	if bound {
		text = "under " + text
	}
	return text + " " + u.Symbol()
}

// Pixels writes a length in pixels of the picture like Length.
func Pixels(m features.Measured) string {
	text, bound := rounded(m.Value, math.Max(math.Abs(m.SD), 1))
	if bound {
		text = "under " + text
	}
	return text + " px"
}

// inMetres finds a length in a sentence that was put down in metres; speeds in m/s are left alone.
var inMetres = regexp.MustCompile(`(\d+(?:\.\d+)?) m([^/\w]|$)`)

// inUnits turns the lengths of a sentence that was put down in metres, such as a capture's notes, into u, with as many decimals as
// they had.
func inUnits(sentence string, u units.Lengths) string {
	if u != units.Feet {
		return sentence
	}
	return inMetres.ReplaceAllStringFunc(sentence, func(found string) string {
		part := inMetres.FindStringSubmatch(found)
		v, err := strconv.ParseFloat(part[1], 64)
		if err != nil {
			return found // more digits than a number holds
		}
		_, decimals, _ := strings.Cut(part[1], ".")
		return strconv.FormatFloat(u.FromMetres(v), 'f', len(decimals), 64) + " " + u.Symbol() + part[2]
	})
}

// stepOf is the step that a value with one standard deviation sd is rounded to: the power of ten, or five times it, at or below
// sd, and never under a tenth.
func stepOf(sd float64) float64 {
	if !(sd > 0.1) || math.IsInf(sd, 0) {
		return 0.1
	}
	step := math.Pow(10, math.Floor(math.Log10(sd)+1e-9))
	if sd >= 5*step {
		step *= 5
	}
	return step
}

// rounded writes v to its error's step; bound says that v is no more than its error, and the text is then an upper bound.
func rounded(v, sd float64) (text string, bound bool) {
	step := stepOf(sd)
	if v >= 10 {
		step = math.Max(step, 1) // two digits are as many as a person keeps in mind
	}
	if bound = v < sd || v < step/2; bound {
		v = step * math.Max(1, math.Ceil((math.Max(v, 0)+sd)/step-1e-9))
	}
	digits := 0
	if step < 1 {
		digits = 1
	}
	text = strconv.FormatFloat(math.Round(v/step)*step, 'f', digits, 64)
	if digits == 1 && text[len(text)-2:] == ".0" { // "2 m" rather than "2.0 m": a sentence, not a table
		text = text[:len(text)-2]
	}
	return text, bound
}
