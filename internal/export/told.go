package export

import (
	"fmt"
	"strings"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// decision says what a person made of a mark, "" where nobody decided.
func decision(m *decided.Mark) string {
	if m.Changed {
		if m.Verdict == decided.Open {
			return "class set"
		}
		return string(m.Verdict) + ", class set"
	}
	return string(m.Verdict)
}

// told is a mark's record as a sentence needs it: what a person settled is not hedged.
func told(m *decided.Mark) *detect.MarkRecord {
	if !m.ByHand() {
		return &m.MarkRecord
	}
	r := m.MarkRecord
	r.Odds = nil
	return &r
}

// sentence says what a mark is, with the odds of it or who settled it, and how well its position is known.
func sentence(m *decided.Mark, u units.Lengths) string {
	s := words.Mark(told(m), u) + "."
	switch {
	case m.ByHand() || m.Verdict == decided.Unsure:
		s += " " + capital(decision(m)) + " by a person."
	default:
		s += fmt.Sprintf(" %s: odds %s.", capital(strings.ReplaceAll(string(m.Class), "-", " ")), words.Odds(m.Odds[m.Class]))
	}
	if m.Position != nil {
		s += " Position within about " + words.Distance(m.Position.ErrorM, u) + "."
	}
	return s
}

// note is what a person wrote about a mark, as a sentence.
func note(text string) string {
	if text == "" {
		return ""
	}
	return "Note: " + strings.TrimSuffix(text, ".") + "."
}

// because joins reasons into a sentence.
func because(why []string) string {
	if len(why) == 0 {
		return ""
	}
	return "Why: " + strings.Join(why, "; ") + "."
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
