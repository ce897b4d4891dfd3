package figures

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// A text quotes a summary in two ways, both between comments that Markdown doesn't show: a table as a block of its own,
//
//	<!-- figures bounds -->
//	…
//	<!-- /figures -->
//
// and a single figure in a sentence, with as many decimals as are wanted, or as a percentage,
//
//	<!-- figure swath-first-return.unseen 3 -->0.946<!-- /figure -->
//	<!-- figure no-sonar.unseen 1% -->2.7 %<!-- /figure -->
var (
	blocks = regexp.MustCompile(`(?s)<!-- figures ([a-z-]+) -->\n.*?<!-- /figures -->`)
	inline = regexp.MustCompile(`<!-- figure (\S+) (\d)(%?) -->[^<]*<!-- /figure -->`)
	opened = regexp.MustCompile(`<!-- figures? `)
)

// ErrNoFigures is returned for a text that quotes nothing.
var ErrNoFigures = errors.New("no figures are quoted: mark a place with <!-- figures bounds --> and <!-- /figures -->")

// Quote returns the text with all that it quotes brought up to date. It returns an error that names a table or figure the summary
// lacks, one for a comment that is not of the two forms, and ErrNoFigures for a text without any.
func (s *Summary) Quote(text string, b *Bounds) (string, error) {
	if !opened.MatchString(text) {
		return "", ErrNoFigures
	}
	if n, want := len(blocks.FindAllString(text, -1))+len(inline.FindAllString(text, -1)), len(opened.FindAllString(text, -1)); n != want {
		return "", fmt.Errorf("%d of %d quotations are not of the form wanted, or not closed", want-n, want)
	}
	tables := s.tables(b)
	var faults []error
	text = blocks.ReplaceAllStringFunc(text, func(all string) string {
		name := blocks.FindStringSubmatch(all)[1]
		table := tables[name]
		if table == "" {
			faults = append(faults, fmt.Errorf("no table %q", name))
			return all
		}
		return fmt.Sprintf("<!-- figures %s -->\n%s<!-- /figures -->", name, strings.TrimRight(table, "\n")+"\n")
	})
	text = inline.ReplaceAllStringFunc(text, func(all string) string {
		m := inline.FindStringSubmatch(all)
		v, ok := s.Values[m[1]]
		if !ok {
			faults = append(faults, fmt.Errorf("no figure %q", m[1]))
			return all
		}
		digits, err := strconv.Atoi(m[2])
		if err != nil {
			faults = append(faults, err)
			return all
		}
		shown := fmt.Sprintf("%.*f", digits, v.Value)
		if m[3] != "" {
			shown = fmt.Sprintf("%.*f %%", digits, 100*v.Value)
		}
		return fmt.Sprintf("<!-- figure %s %s%s -->%s<!-- /figure -->", m[1], m[2], m[3], shown)
	})
	return text, errors.Join(faults...)
}
