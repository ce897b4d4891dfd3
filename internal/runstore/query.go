package runstore

import (
	"context"
	"database/sql"
	"fmt"
	"iter"

	"shadowgap/detect"
)

// Captures yields every capture, the most interesting first, then by path. It stops after the first error.
func (s *Store) Captures(ctx context.Context) iter.Seq2[*detect.CaptureRecord, error] {
	return records(ctx, s.db, detect.DecodeCapture, "SELECT record FROM captures ORDER BY interest DESC, path, sha256")
}

// Unread yields the captures that are not of status read, by path.
func (s *Store) Unread(ctx context.Context) iter.Seq2[*detect.CaptureRecord, error] {
	return records(ctx, s.db, detect.DecodeCapture, "SELECT record FROM captures WHERE status <> 'read' ORDER BY path, sha256")
}

// Marks yields every mark in the order of the captures, best first within one. It stops after the first error.
func (s *Store) Marks(ctx context.Context) iter.Seq2[*detect.MarkRecord, error] {
	return records(ctx, s.db, detect.DecodeMark,
		"SELECT m.record FROM captures c JOIN marks m ON m.capture = c.id ORDER BY c.interest DESC, c.path, c.sha256, m.ord")
}

// MarksOf yields the marks of one capture, best first.
func (s *Store) MarksOf(ctx context.Context, c *detect.CaptureRecord) iter.Seq2[*detect.MarkRecord, error] {
	return records(ctx, s.db, detect.DecodeMark, "SELECT record FROM marks WHERE capture = ? ORDER BY ord", CaptureID(c.Capture, c.SHA256))
}

// Mark returns a mark of a capture by its id, nil when the run has none.
func (s *Store) Mark(ctx context.Context, capture, id string) (*detect.MarkRecord, error) {
	const query = "SELECT m.record FROM marks m JOIN captures c ON m.capture = c.id WHERE m.id = ? AND c.path = ? LIMIT 1"
	for m, err := range records(ctx, s.db, detect.DecodeMark, query, id, capture) {
		return m, err
	}
	return nil, nil
}

// records yields the rows of a query with one column, a JSON record.
func records[T any](ctx context.Context, db *sql.DB, decode func([]byte) (*T, error), query string, args ...any) iter.Seq2[*T, error] {
	return func(yield func(*T, error) bool) {
		rows, err := db.QueryContext(ctx, query, args...)
		if err != nil {
			yield(nil, fmt.Errorf("reading the run: %w", err))
			return
		}
		defer rows.Close()
		for rows.Next() {
			var line []byte
			if err := rows.Scan(&line); err != nil {
				yield(nil, fmt.Errorf("reading the run: %w", err))
				return
			}
			rec, err := decode(line)
			if err != nil {
				yield(nil, fmt.Errorf("reading the run: %w", err))
				return
			}
			if !yield(rec, nil) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(nil, fmt.Errorf("reading the run: %w", err))
		}
	}
}

// MarkCounts returns how many marks each of the foremost captures has, in the order of Captures; of most captures at most.
func (s *Store) MarkCounts(ctx context.Context, most int) ([]int, error) {
	const query = "SELECT (SELECT count(*) FROM marks m WHERE m.capture = c.id) FROM captures c ORDER BY interest DESC, path, sha256 LIMIT ?"
	rows, err := s.db.QueryContext(ctx, query, most)
	if err != nil {
		return nil, fmt.Errorf("counting marks: %w", err)
	}
	defer rows.Close()
	var counts []int
	for rows.Next() {
		var n int
		if err := rows.Scan(&n); err != nil {
			return nil, fmt.Errorf("counting marks: %w", err)
		}
		counts = append(counts, n)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("counting marks: %w", err)
	}
	return counts, nil
}

// ReadWith counts the captures that were read, by their settings.
func (s *Store) ReadWith(ctx context.Context) (map[string]int, error) {
	settings := map[string]int{}
	return settings, count(ctx, s.db, "SELECT settings, count(*) FROM captures WHERE status = 'read' GROUP BY settings", settings)
}

// Tally counts what a run holds.
type Tally struct {
	Captures map[detect.Status]int
	Marks    map[detect.Class]int
}

// Tally counts captures by status and marks by class.
func (s *Store) Tally(ctx context.Context) (Tally, error) {
	t := Tally{Captures: map[detect.Status]int{}, Marks: map[detect.Class]int{}}
	if err := count(ctx, s.db, "SELECT status, count(*) FROM captures GROUP BY status", t.Captures); err != nil {
		return Tally{}, err
	}
	if err := count(ctx, s.db, "SELECT class, count(*) FROM marks GROUP BY class", t.Marks); err != nil {
		return Tally{}, err
	}
	return t, nil
}

// Placed returns how many captures hold a mark with a position.
func (s *Store) Placed(ctx context.Context) (int, error) {
	var n int
	err := s.db.QueryRowContext(ctx,
		"SELECT count(DISTINCT capture) FROM marks WHERE json_extract(CAST(record AS TEXT), '$.position') IS NOT NULL").Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("counting captures with positions: %w", err)
	}
	return n, nil
}

func count[K ~string](ctx context.Context, db *sql.DB, query string, into map[K]int) error {
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		return fmt.Errorf("counting: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var key string
		var n int
		if err := rows.Scan(&key, &n); err != nil {
			return fmt.Errorf("counting: %w", err)
		}
		into[K(key)] = n
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("counting: %w", err)
	}
	return nil
}
