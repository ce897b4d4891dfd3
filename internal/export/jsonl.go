package export

import (
	"encoding/json"
	"io"
	"iter"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// MarksJSONL writes marks.jsonl: one mark a line, its lengths in metres and its reasons in plain words.
func MarksJSONL(w io.Writer, marks Marks) error {
	return jsonl(w, func(yield func(*decided.Mark, error) bool) {
		for m, err := range marks {
			if err == nil {
				plain := *m
				plain.Reasons = words.Why(&m.MarkRecord, units.Metres)
				m = &plain
			}
			if !yield(m, err) {
				return
			}
		}
	})
}

// CapturesJSONL writes captures.jsonl: one capture a line.
func CapturesJSONL(w io.Writer, captures Captures) error { return jsonl(w, captures) }

// JSONL writes values of any kind as JSON, one a line.
func JSONL[T any](w io.Writer, values []T) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	for i := range values {
		if err := enc.Encode(&values[i]); err != nil {
			return err
		}
	}
	return nil
}

func jsonl[T decided.Mark | detect.CaptureRecord](w io.Writer, records iter.Seq2[*T, error]) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	for rec, err := range records {
		if err != nil {
			return err
		}
		if err := enc.Encode(rec); err != nil {
			return err
		}
	}
	return nil
}
