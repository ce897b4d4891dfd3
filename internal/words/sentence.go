package words

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/units"
)

// Thing is what a sentence is made of. A nil length is unknown.
type Thing struct {
	Class      detect.Class
	Odds       detect.Odds // nil: settled, nothing is hedged
	Side       detect.Side // "": not told, as for a thing seen from several sides
	LengthM    *features.Measured
	HeightM    *features.Measured // of its top over the bottom
	OffBottomM *features.Measured // of its underside
	GroundM    *features.Measured // from the boat's track
	SlantM     *features.Measured // bounds the distance where GroundM is unknown
	AltitudeM  *features.Measured // of the transducer over the bottom
	Where      string             // what it keeps to, as " near a hump of the bottom"; may be empty
	Off, Tall  float64            // underside and top over the bottom, as shares of the water under the boat; 0 = unknown
	RowsTall   int                // of the picture
}

// Of is what a sentence about a mark is made of.
func Of(m *detect.MarkRecord) Thing {
	tall := m.Evidence["height-share"]
	if m.Evidence["cut"] > 0 {
		tall = 0 // its shadow may go on beyond the picture
	}
	return Thing{
		Class: m.Class, Odds: m.Odds, Side: m.Side, LengthM: m.LengthM, HeightM: m.HeightM, OffBottomM: m.OffBottomM,
		GroundM: m.GroundM, SlantM: m.SlantM, AltitudeM: m.AltitudeM,
		Off: m.Evidence["underside-share"], Tall: tall, RowsTall: m.Rows[1] - m.Rows[0],
	}
}

// Mark says in one sentence what a mark is, how large, where it is and in how much water, such as "About 0.6 m long, hanging
// 1.2 m off the bottom in 7 m of water, 6 m to port". It ends without a full stop.
func Mark(m *detect.MarkRecord, u units.Lengths) string { return Of(m).Sentence(u) }

// Sentence says what the thing is; see Mark.
func (t Thing) Sentence(u units.Lengths) string {
	parts := []string{t.size(u)}
	parts = append(parts, strings.Join(nonEmpty(t.posture(u), t.water(u)), " in "), t.abeam(u))
	s := capital(strings.Join(nonEmpty(parts...), ", "))
	return s + t.hedge()
}

// scaled says whether any length is known; without, shares of the depth and rows of the picture stand in for lengths.
func (t Thing) scaled() bool {
	for _, m := range []*features.Measured{t.LengthM, t.HeightM, t.OffBottomM, t.GroundM, t.SlantM, t.AltitudeM} {
		if m != nil {
			return true
		}
	}
	return false
}

// size tells length and height, "" when neither is known: "about 0.6 m long and 0.3 m high". Without a range it tells rows of the
// picture.
func (t Thing) size(u units.Lengths) string {
	if !t.scaled() && t.RowsTall > 0 {
		return Count(t.RowsTall, "row") + " of the picture long"
	}
	var sizes []string
	height := t.HeightM
	if t.Class == detect.SuspendedTarget || t.Class == detect.Clutter {
		height = nil // how high its top is over the bottom is not how large it is
	}
	add := func(m *features.Measured, what string) {
		if m != nil {
			sizes = append(sizes, Length(*m, u)+" "+what)
		}
	}
	if t.Class == detect.RaisedStructure {
		add(height, "high")
		add(t.LengthM, "long")
	} else {
		add(t.LengthM, "long")
		add(height, "high")
	}
	if len(sizes) == 0 {
		return ""
	}
	s := strings.Join(sizes, " and ")
	if strings.HasPrefix(s, "under ") {
		return s
	}
	return "about " + s
}

// posture tells how the thing lies: "hanging 1.2 m off the bottom".
func (t Thing) posture(u units.Lengths) string {
	switch t.Class {
	case detect.SuspendedTarget:
		o := t.OffBottomM
		s := "hanging " + offBottom(o, u)
		if o == nil && !t.scaled() && t.Off > 0.03 {
			s = "hanging off the bottom by " + share(t.Off) + " of the depth"
		}
		return s + t.Where
	case detect.RaisedStructure:
		s := "standing up from the bottom"
		if !t.scaled() && t.Tall > 0.03 {
			s += " by " + share(t.Tall) + " of the depth"
		}
		return s + t.Where
	case detect.Clutter:
		return "most likely nothing but texture or interference"
	}
	return "lying on the bottom" + t.Where
}

// justOffM is how far off the bottom a thing may hang, its error twice added, to hang just off it; a choice without a source.
const justOffM = 0.5

// OffBottom writes how far off the bottom a thing hangs: "1.2 m", or "up to 1.1 m" where its error leaves open whether it hangs at all.
func OffBottom(o features.Measured, u units.Lengths) string {
	if top, open := TopOff(o); open {
		return "up to " + Length(features.Measured{Value: top, SD: o.SD}, u)
	}
	return Length(o, u)
}

// TopOff is how far off the bottom a thing hangs, metres; open says that its error leaves that open, and top is then the most it may be.
func TopOff(o features.Measured) (top float64, open bool) {
	if o.Value < 2*o.SD || o.Value < 0.05 {
		return max(o.Value, 0) + 2*o.SD, true
	}
	return o.Value, false
}

func offBottom(o *features.Measured, u units.Lengths) string {
	if o == nil {
		return "off the bottom"
	}
	if top, open := TopOff(*o); open && top <= justOffM {
		return "just off the bottom"
	}
	return OffBottom(*o, u) + " off the bottom"
}

// share writes a part of a whole: "about 15 %".
func share(v float64) string {
	if v > 0.2 {
		return fmt.Sprintf("about %.0f %%", 10*math.Round(10*v))
	}
	return fmt.Sprintf("about %.0f %%", math.Max(5*math.Round(20*v), 5))
}

// mountedM is how far below the surface the transducer may hang, which nobody told: water is deeper than the altitude by that.
// One standard deviation (common practice, no source).
const mountedM = 0.3

// water tells the depth, "" when it is unknown: "7 m of water".
func (t Thing) water(u units.Lengths) string {
	if t.AltitudeM == nil {
		return ""
	}
	return Depth(*t.AltitudeM, u) + " of water"
}

// Depth writes the depth of water under an altitude of the transducer over the bottom, rounded to its error and to that of
// the transducer's own depth.
func Depth(altitude features.Measured, u units.Lengths) string {
	return Length(features.Measured{Value: altitude.Value, SD: math.Max(math.Hypot(altitude.SD, mountedM), u.ToMetres(1))}, u)
}

// abeam tells how far off the boat's track to which side, "" without a side: "6 m to port".
func (t Thing) abeam(u units.Lengths) string {
	switch {
	case t.Side == "":
		return ""
	case t.GroundM != nil:
		far := features.Measured{Value: t.GroundM.Value, SD: math.Max(t.GroundM.SD, 0.5)}
		if far.Value < far.SD {
			return "right under the boat's track"
		}
		return Length(far, u) + " to " + string(t.Side)
	case t.SlantM != nil:
		return "within " + Length(features.Measured{Value: t.SlantM.Value, SD: 0.5}, u) + " to " + string(t.Side)
	}
	return "to " + string(t.Side)
}

// doubtful is from which odds on another reading is told beside the likeliest.
const doubtful = 0.3

// hedge names the other reading where the odds leave it open.
func (t Thing) hedge() string {
	other, most := detect.Class(""), doubtful
	for _, c := range detect.Classes {
		if c != t.Class && t.Odds[c] >= most {
			other, most = c, t.Odds[c]
		}
	}
	switch other {
	case detect.SuspendedTarget:
		return "; it may hang just above the bottom"
	case detect.BottomObject:
		return "; it may lie on the bottom"
	case detect.RaisedStructure:
		return "; it may be part of something larger that stands up"
	case detect.Clutter:
		return "; it may be nothing"
	}
	return ""
}

func nonEmpty(list ...string) []string {
	var out []string
	for _, s := range list {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}

// capital makes the first letter a large one.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// Count writes a number of things: "1 target", "3 targets".
func Count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// Odds writes odds for a person: whole percents, never a flat 0 or 100 that would claim certainty.
func Odds(p float64) string {
	switch v := math.Round(100 * p); {
	case math.IsNaN(p):
		return "unknown"
	case v < 1:
		return "under 1 %"
	case v > 99:
		return "over 99 %"
	default:
		return fmt.Sprintf("%.0f %%", v)
	}
}
