package review

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// paper is a document in the pages' one font. A character that the font lacks is printed as its code point in brackets, so that two
// names in another script can be told apart: the font would show both as boxes, and fpdf panics at one past U+FFFF.
type paper struct {
	*fpdf.Fpdf
	font *sfnt.Font
	buf  sfnt.Buffer
}

// newPaper starts an A4 document.
func newPaper(title string) (*paper, error) {
	font, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("the printed pages' font: %w", err)
	}
	pdf := fpdf.New("P", "mm", "A4", "")
	pdf.SetAutoPageBreak(false, printMargin)
	pdf.AddUTF8FontFromBytes("go", "", goregular.TTF)
	pdf.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	p := &paper{Fpdf: pdf, font: font}
	p.SetTitle(p.printable(title), true)
	return p, nil
}

// has says whether the font can print a character, and fpdf with it.
func (p *paper) has(r rune) bool {
	glyph, err := p.font.GlyphIndex(&p.buf, r)
	return r <= 0xffff && err == nil && glyph != 0
}

// printable is a text as it can be printed.
func (p *paper) printable(text string) string {
	if !strings.ContainsFunc(text, func(r rune) bool { return !p.has(r) }) {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case p.has(r) || r == '\n':
			b.WriteRune(r)
		case unicode.IsControl(r):
			b.WriteByte(' ')
		default:
			fmt.Fprintf(&b, "[%X]", r)
		}
	}
	return b.String()
}

// line prints one line of text into a cell w millimetres wide and h high, 0 wide up to the margin.
func (p *paper) line(w, h float64, text string) {
	p.CellFormat(w, h, p.printable(text), "", 0, "L", false, 0, "")
}

// lines splits a text into lines of w millimetres in the font set.
func (p *paper) lines(text string, w float64) []string { return p.SplitText(p.printable(text), w) }

// fit cuts a text that is wider than w millimetres in the font set.
func (p *paper) fit(text string, w float64) string {
	r := []rune(p.printable(text))
	for len(r) > 1 && p.GetStringWidth(string(r)) > w {
		r = slices.Concat(r[:len(r)-2], []rune("…"))
	}
	return string(r)
}
