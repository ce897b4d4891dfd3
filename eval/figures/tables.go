package figures

import (
	"fmt"
	"strings"
)

// none stands where nothing was measured.
const none = "–"

// earlier marks a figure that was measured on a detector which has changed since.
const earlier = "†"

// tables are the tables by the names that a README's blocks use.
func (s *Summary) tables(b *Bounds) map[string]string {
	return map[string]string{"bounds": s.BoundsTable(b), "sets": s.SetsTable(b), "peers": s.PeersTable(b)}
}

// BoundsTable has a row for each bound: what it is, what it is held to, and in each column the figure, its interval, and whether it is
// met. Columns of which nothing was measured are left out.
func (s *Summary) BoundsTable(b *Bounds) string {
	var columns []Named
	for _, c := range b.Columns {
		for _, x := range b.Bounds {
			if _, ok := s.Values[key(x.Key, c.Key)]; ok {
				columns = append(columns, c)
				break
			}
		}
	}
	head := []string{"", "bound"}
	for _, c := range columns {
		head = append(head, c.Name)
	}
	rows := [][]string{head}
	for _, x := range b.Bounds {
		cells := []string{x.What, x.limit()}
		some := false
		for _, c := range columns {
			v, ok := s.Values[key(x.Key, c.Key)]
			some = some || ok
			if !ok {
				cells = append(cells, none)
				continue
			}
			cells = append(cells, strings.TrimSpace(s.text(v, x.Digits)+" "+x.verdict(v)))
		}
		if some {
			rows = append(rows, cells)
		}
	}
	return s.table(rows)
}

// limit words what a bound is held to.
func (x *Bound) limit() string {
	switch {
	case x.Least != nil:
		return fmt.Sprintf("≥ %g", *x.Least)
	case x.Most != nil:
		return fmt.Sprintf("≤ %g", *x.Most)
	}
	return none
}

// verdict judges the figure itself, not its interval, unrounded.
func (x *Bound) verdict(v Value) string {
	switch {
	case x.Least == nil && x.Most == nil:
		return ""
	case x.Least != nil && v.Value < *x.Least, x.Most != nil && v.Value > *x.Most:
		return "**MISSED**"
	}
	return "met"
}

// SetsTable has a row for each set of captures.
func (s *Summary) SetsTable(b *Bounds) string {
	rows := [][]string{{"", "captures", "recall", "false or other marks a capture", "class right", "first return, px: median, 95 %"}}
	for _, set := range b.Sets {
		n, ok := s.Values[key(set.Key, measureCaptures)]
		if !ok {
			continue
		}
		edge := none
		if m, ok := s.Values[key(set.Key, measureMedian)]; ok {
			edge = fmt.Sprintf("%.1f, %.1f", m.Value, s.Values[key(set.Key, measureP95)].Value)
		}
		rows = append(rows, []string{set.Name, fmt.Sprintf("%.0f", n.Value), s.cell(set.Key, measureRecall, 2), s.cell(set.Key, measureFalse, 1),
			s.cell(set.Key, measureRight, 2), edge})
	}
	return s.table(rows)
}

// PeersTable sets recall and false marks beside those of plain detectors on the same pictures.
func (s *Summary) PeersTable(b *Bounds) string {
	head := []string{"recall; false or other marks a picture; recall at up to 1 false mark"}
	for _, set := range b.Peers.Sets {
		head = append(head, set.Name)
	}
	rows := [][]string{head}
	for _, m := range b.Peers.Methods {
		cells, some := []string{m.Name}, false
		for _, set := range b.Peers.Sets {
			of := peerKey(m, set)
			if _, ok := s.Values[key(of, measureRecall)]; !ok {
				cells = append(cells, none)
				continue
			}
			some = true
			cell := s.cell(of, measureRecall, 2) + "; " + s.cell(of, measureFalse, 1)
			if set.Tiles == "" {
				cell += "; " + s.cell(of, measureAtOne, 2)
			}
			cells = append(cells, cell)
		}
		if some {
			rows = append(rows, cells)
		}
	}
	return s.table(rows)
}

func (s *Summary) cell(of, what string, digits int) string {
	v, ok := s.Values[key(of, what)]
	if !ok {
		return none
	}
	return s.text(v, digits)
}

func (s *Summary) text(v Value, digits int) string {
	out := fmt.Sprintf("%.*f", digits, v.Value)
	if v.Low != nil && v.High != nil {
		out += fmt.Sprintf(" [%.*f, %.*f]", digits, *v.Low, digits, *v.High)
	}
	if v.Detector != s.Detector {
		out += " " + earlier
	}
	return out
}

// table writes Markdown; its first row is the head. "" without any other row.
func (s *Summary) table(rows [][]string) string {
	if len(rows) < 2 {
		return ""
	}
	var b strings.Builder
	line := func(cells []string) { fmt.Fprintf(&b, "| %s |\n", strings.Join(cells, " | ")) }
	line(rows[0])
	fmt.Fprintf(&b, "|%s\n", strings.Repeat("---|", len(rows[0])))
	old := false
	for _, cells := range rows[1:] {
		line(cells)
		old = old || strings.Contains(strings.Join(cells, "\n"), " "+earlier)
	}
	if old {
		fmt.Fprintf(&b, "\n%s measured before the detector's last change.\n", earlier)
	}
	return b.String()
}
