package runstore

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Merged counts what Merge took over.
type Merged struct {
	Captures  int // new in the run
	Known     int // already there, with the same path and content, made with the same settings and model
	Replaced  int // already there, made with other settings or another model
	Namesakes int // new, beside another file that has the same path below the same folder
	Decisions int
}

// ErrDiffer says that runs hold results of the same captures that were made with other settings or another model.
var ErrDiffer = errors.New("made with other settings or another model")

// row is a line of the table of captures.
type row struct {
	id, root, path, sha, settings, model, status string
	why                                          sql.NullString
	interest                                     float64
	record                                       string
}

// Merge copies captures, marks and decisions of other into s. A capture that is already there (same path and content), made with
// the same settings and model, stays as it is, so merging twice changes nothing. One made with others is replaced by that of other,
// or, unless replace is set, the error wraps ErrDiffer and tells how many there are. All of other goes in or none of it.
func (s *Store) Merge(ctx context.Context, other *Store, replace bool) (Merged, error) {
	var m Merged
	err := inTx(ctx, s.db, func(tx *sql.Tx) error {
		m = Merged{}
		rows, err := other.db.QueryContext(ctx,
			"SELECT id, root, path, sha256, settings, model, status, why, interest, record FROM captures ORDER BY id")
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var c row
			if err := rows.Scan(&c.id, &c.root, &c.path, &c.sha, &c.settings, &c.model, &c.status, &c.why, &c.interest,
				&c.record); err != nil {
				return err
			}
			take, err := m.place(ctx, tx, &c, other.dir, replace)
			if err != nil {
				return err
			}
			if !take {
				continue
			}
			if err := c.insert(ctx, tx); err != nil {
				return err
			}
			if err := copyMarks(ctx, tx, other.db, c.id); err != nil {
				return err
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
		if m.Replaced > 0 && !replace {
			return fmt.Errorf("results of captures that both runs hold were %w: %d of them", ErrDiffer, m.Replaced)
		}
		if m.Captures+m.Replaced > 0 {
			if err := countResult(ctx, tx); err != nil {
				return err
			}
		}
		if err := copyWays(ctx, tx, other.db); err != nil {
			return err
		}
		m.Decisions, err = copyDecisions(ctx, tx, other.db)
		return err
	})
	if err != nil {
		return Merged{}, fmt.Errorf("merging %s into %s: %w", other.dir, s.dir, err)
	}
	return m, nil
}

// place makes room for a capture and says whether it is to go in.
func (m *Merged) place(ctx context.Context, tx *sql.Tx, c *row, dir string, replace bool) (take bool, err error) {
	var settings, model string
	err = tx.QueryRowContext(ctx, "SELECT settings, model FROM captures WHERE id = ?", c.id).Scan(&settings, &model)
	switch {
	case err == nil && settings == c.settings && model == c.model:
		m.Known++
		return false, nil
	case err == nil:
		m.Replaced++
		if !replace {
			return false, nil
		}
		// Where the file lies stays as it is here, so that no third one of its name gets in the way.
		if err := tx.QueryRowContext(ctx, "SELECT root FROM captures WHERE id = ?", c.id).Scan(&c.root); err != nil {
			return false, err
		}
		_, err := tx.ExecContext(ctx, "DELETE FROM captures WHERE id = ?", c.id)
		return true, err
	case !errors.Is(err, sql.ErrNoRows):
		return false, err
	}
	m.Captures++
	var namesakes int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM captures WHERE root = ? AND path = ?", c.root,
		c.path).Scan(&namesakes); err != nil {
		return false, err
	}
	if namesakes > 0 {
		// Two machines that saw different files under one name. Naming the root after the other run keeps both.
		m.Namesakes++
		c.root = dir + ":" + c.root
	}
	return true, nil
}

func (c *row) insert(ctx context.Context, tx *sql.Tx) error {
	_, err := tx.ExecContext(ctx,
		"INSERT INTO captures (id, root, path, sha256, settings, model, status, why, interest, record) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		c.id, c.root, c.path, c.sha, c.settings, c.model, c.status, c.why, c.interest, c.record)
	return err
}

func copyMarks(ctx context.Context, tx *sql.Tx, from *sql.DB, capture string) error {
	rows, err := from.QueryContext(ctx, "SELECT ord, id, class, odds, record FROM marks WHERE capture = ? ORDER BY ord", capture)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var ord int
		var id, class, record string
		var odds float64
		if err := rows.Scan(&ord, &id, &class, &odds, &record); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO marks (capture, ord, id, class, odds, record) VALUES (?, ?, ?, ?, ?, ?)", capture, ord,
			id, class, odds, record)
		if err != nil {
			return err
		}
	}
	return rows.Err()
}

// copyWays adds what placing marks needs of captures that have nothing of it yet.
func copyWays(ctx context.Context, tx *sql.Tx, from *sql.DB) error {
	rows, err := from.QueryContext(ctx, "SELECT key, value FROM meta WHERE key >= ? AND key < ?", MetaWay, MetaWay+"~")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var key, value string
		if err := rows.Scan(&key, &value); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO meta (key, value) VALUES (?, ?)", key, value); err != nil {
			return err
		}
	}
	return rows.Err()
}

// copyDecisions adds the decisions that are not there yet, oldest first.
func copyDecisions(ctx context.Context, tx *sql.Tx, from *sql.DB) (int, error) {
	rows, err := from.QueryContext(ctx, "SELECT id, decided_at, record FROM decisions ORDER BY decided_at, seq")
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	total := 0
	for rows.Next() {
		var d Decision
		if err := rows.Scan(&d.ID, &d.At, (*[]byte)(&d.Record)); err != nil {
			return 0, err
		}
		n, err := d.insert(ctx, tx)
		if err != nil {
			return 0, err
		}
		total += n
	}
	return total, rows.Err()
}

func changed(res sql.Result, err error) (int, error) {
	if err != nil {
		return 0, err
	}
	n, err := res.RowsAffected()
	return int(n), err
}
