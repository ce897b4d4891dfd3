package runstore

import (
	"context"
	"database/sql"
	"fmt"
)

// Merged counts what Merge took over.
type Merged struct {
	Captures  int // new in the run
	Known     int // already there, with the same path and content
	Decisions int
}

// Merge copies captures, marks and decisions of other into s. A capture that is already there (same path and content)
// stays as it is, so merging twice changes nothing. All of other goes in or none of it.
func (s *Store) Merge(ctx context.Context, other *Store) (Merged, error) {
	var m Merged
	err := inTx(ctx, s.db, func(tx *sql.Tx) error {
		m = Merged{}
		rows, err := other.db.QueryContext(ctx, "SELECT id, root, path, sha256, settings, model, status, why, interest, record FROM captures ORDER BY id")
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var id, root, path, sha, settings, model, status, record string
			var why sql.NullString
			var interest float64
			if err := rows.Scan(&id, &root, &path, &sha, &settings, &model, &status, &why, &interest, &record); err != nil {
				return err
			}
			// OR IGNORE also meets (root, path) with other content: two machines that saw different files under
			// one name. Naming the root after the other run keeps both.
			const insert = "INSERT OR IGNORE INTO captures (id, root, path, sha256, settings, model, status, why, interest, record) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
			n, err := changed(tx.ExecContext(ctx, insert, id, root, path, sha, settings, model, status, why, interest, record))
			if err != nil {
				return err
			}
			if n == 0 {
				n, err = changed(tx.ExecContext(ctx, insert, id, other.dir+":"+root, path, sha, settings, model, status, why, interest, record))
				if err != nil {
					return err
				}
			}
			if n == 0 {
				m.Known++
				continue
			}
			m.Captures++
			if err := copyMarks(ctx, tx, other.db, id); err != nil {
				return err
			}
		}
		if err := rows.Err(); err != nil {
			return err
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
		_, err := tx.ExecContext(ctx, "INSERT INTO marks (capture, ord, id, class, odds, record) VALUES (?, ?, ?, ?, ?, ?)", capture, ord, id, class, odds, record)
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
