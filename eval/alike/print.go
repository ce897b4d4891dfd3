package alike

import (
	"fmt"
	"io"
	"maps"
	"slices"
)

// Print writes a report for a person: the counts, what differs at all and by how much, and what goes against the tolerance.
func (r *Report) Print(w io.Writer, first, second string) error {
	p := printer{w: w}
	p.line("%d captures; %d marks in %s, %d in %s, %d in both; %d differ in more than the evidence.",
		r.Captures, r.Marks[0], first, r.Marks[1], second, r.Paired, r.Differ)
	if len(r.Fields) > 0 {
		p.line("\n%-14s %6s %s", "field", "marks", "largest difference: of lengths a share, of odds, contrast and evidence as they are")
	}
	for _, name := range slices.Sorted(maps.Keys(r.Fields)) {
		s := r.Fields[name]
		if s.Largest > 0 {
			p.line("%-14s %6d %.2g", name, s.Marks, s.Largest)
		} else {
			p.line("%-14s %6d", name, s.Marks)
		}
	}
	if len(r.Where) > 0 {
		p.line("\n%6s %s", "marks", "differ in more than the evidence in; 0 where only what is said of the capture as a whole differs")
	}
	for _, capture := range slices.Sorted(maps.Keys(r.Where)) {
		p.line("%6d %s", r.Where[capture], capture)
	}
	if r.Agree() {
		p.line("\nThey agree.")
		return p.err
	}
	p.line("\nThey don't agree (%s | %s):", first, second)
	for _, d := range r.Against {
		where := d.Capture
		if d.Mark != "" {
			where += " " + d.Mark
		}
		p.line("  %s: %s: %s | %s", where, d.What, d.A, d.B)
	}
	return p.err
}

// printer keeps the first error of its lines.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}
