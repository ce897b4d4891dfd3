package review

import (
	"cmp"
	"image"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/survey"
	"shadowgap/internal/words"
)

// Rule lays the decisions over the marks of one capture: classes as decided, names and notes, and the marks that a person drew,
// measured like found ones and placed by what is known of the capture's way (nil: nothing). Decisions hold for a mark that a
// later triage finds a little elsewhere; one that it no longer finds stays as it was when it was accepted, renamed or classed.
// Marks come in the order given, then those no longer found, then the drawn ones, oldest first.
func (s *State) Rule(c detect.CaptureRecord, marks []detect.MarkRecord, way *survey.Scene) []decided.Mark {
	out := decided.Plain(marks)
	var gone []decided.Mark
	if decisions := s.of[c.Capture]; len(decisions) > 0 {
		gone = s.ruleFound(c, decisions, out)
	}
	out = append(out, gone...)
	for _, d := range s.missed {
		if d.Capture != c.Capture {
			continue
		}
		if m, ok := drawnMark(c, d, way); ok {
			out = append(out, m)
		}
	}
	return out
}

// ruleFound lays decisions over found marks and returns the marks that were decided on and are no longer found.
func (s *State) ruleFound(c detect.CaptureRecord, decisions []string, found []decided.Mark) (gone []decided.Mark) {
	s.follow(c, decisions, found, func(id string, i int) {
		lay(s.Mark(c.Capture, id), &found[i])
	}, func(id string, seen *detect.MarkRecord) {
		m := decided.Mark{MarkRecord: *seen}
		lay(s.Mark(c.Capture, id), &m)
		if m.ByHand() || m.Name != "" || m.Note != "" {
			m.Reasons = append(slices.Clone(m.Reasons), words.NoLongerFound)
			gone = append(gone, m)
		}
	})
	return gone
}

// follow tells of each mark that was decided on which of the found ones it is now, or that it is no longer found; how it was seen is
// then known. Marks still found under their id go first, so that none of them is taken for another one that moved.
func (s *State) follow(
	c detect.CaptureRecord, decisions []string, found []decided.Mark, is func(id string, i int), gone func(id string, seen *detect.MarkRecord),
) {
	free := make(map[string]int, len(found)) // marks that no decision names
	for i := range found {
		free[found[i].Mark] = i
	}
	var moved []string
	for _, id := range decisions {
		if i, ok := free[id]; ok {
			delete(free, id)
			is(id, i)
			continue
		}
		moved = append(moved, id)
	}
	for _, id := range moved {
		seen := s.seen[markKey{c.Capture, id}]
		if seen != nil && seen.SHA256 != c.SHA256 || seen == nil && !strings.HasPrefix(id, captureOf(found)) {
			continue // another picture under the same name
		}
		if i, ok := sameThing(id, seen, found, free); ok {
			delete(free, found[i].Mark)
			is(id, i)
		} else if seen != nil {
			gone(id, seen)
		}
	}
}

// captureOf is the part that the ids of a capture's marks share.
func captureOf(found []decided.Mark) string {
	if len(found) == 0 {
		return "\x00"
	}
	id, _, _ := strings.Cut(found[0].Mark, "-")
	return id
}

// lay sets a mark to where its decisions leave it.
func lay(st MarkState, m *decided.Mark) {
	m.Name, m.Note = st.Name, st.Note
	if st.Class != "" {
		m.Class, m.Changed = st.Class, true
	}
	switch st.Verdict {
	case Accept:
		m.Verdict = decided.Accepted
	case Reject:
		m.Verdict = decided.Rejected
	case Unsure:
		m.Verdict = decided.Unsure
	}
}

// markMiddle finds side and middle in the id of a mark: its row, then its column.
var markMiddle = regexp.MustCompile(`-p(\d+)-([ps])(\d+)-(\d+)(?:-\d+)?$`)

// sameThing finds, among the marks that nothing was decided on, the one that a decided mark has become: on the same side, and
// overlapping by a third of what both cover, or, where the decided mark is known by its id only, with its middle within.
func sameThing(id string, seen *detect.MarkRecord, found []decided.Mark, free map[string]int) (int, bool) {
	best, most := -1, 0.0
	middle := markMiddle.FindStringSubmatch(id)
	for _, i := range free {
		m := &found[i]
		var same float64
		switch {
		case seen != nil && seen.Side == m.Side && seen.Panel == m.Panel:
			if same = overlap(boxOf(seen), boxOf(&m.MarkRecord)); same < 1.0/3 {
				continue
			}
		case seen == nil && middle != nil && m.Side != "" && middle[2] == string(m.Side)[:1]:
			row, _ := strconv.Atoi(middle[3]) // digits, and few
			col, _ := strconv.Atoi(middle[4])
			d := math.Hypot(float64(col)-center(m.Box.X, m.Box.W), float64(row)-center(m.Box.Y, m.Box.H))
			if d > math.Max(4, float64(min(m.Box.W, m.Box.H))/2) {
				continue
			}
			same = 1 / (1 + d)
		default:
			continue
		}
		if same > most || same == most && best >= 0 && m.Mark < found[best].Mark {
			best, most = i, same
		}
	}
	return best, best >= 0
}

func center(from, size int) float64 { return float64(from) + float64(size)/2 }

// boxOf is where a mark's echo lies, or its shadow where it has none.
func boxOf(m *detect.MarkRecord) image.Rectangle {
	return cmp.Or(m.Highlight, m.Shadow, &m.Box).Rect()
}

// overlap is the share of what two boxes cover that both cover. A box counts a pixel larger all round: a shift of one pixel
// means nothing.
func overlap(a, b image.Rectangle) float64 {
	a, b = a.Inset(-1), b.Inset(-1)
	in := a.Intersect(b)
	both := in.Dx() * in.Dy()
	return float64(both) / float64(a.Dx()*a.Dy()+b.Dx()*b.Dy()-both)
}
