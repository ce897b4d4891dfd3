package eval

import (
	"fmt"
	"io"

	"shadowgap/detect"
)

// LetInResult tells how many pictures that hold no side-scan were taken for some. It names none of them: who knows which they are
// tunes on them.
type LetInResult struct {
	Schema     int  `json:"schema"`
	LetIn      Rate `json:"let_in"`     // of the pictures that could be read as pictures
	Unreadable int  `json:"unreadable"` // files that could not
}

// LetIn counts over a run whose captures hold no side-scan, all of them.
func LetIn(run Run) LetInResult {
	r := LetInResult{Schema: resultsSchema}
	in, of := 0, 0
	for _, c := range run.Captures {
		switch c.Status {
		case detect.StatusUnreadable:
			r.Unreadable++
			continue
		case detect.StatusRead:
			in++
		}
		of++
	}
	r.LetIn = NewRate(in, of)
	return r
}

// WriteLetInText writes the count as a line.
func WriteLetInText(w io.Writer, r LetInResult) error {
	_, err := fmt.Fprintf(w, "Pictures that are no sonar, let in: %s; %d files are no pictures\n", rateText(r.LetIn), r.Unreadable)
	if err != nil {
		return fmt.Errorf("writing what was let in: %w", err)
	}
	return nil
}
