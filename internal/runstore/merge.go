package runstore

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
)

// Merged counts what Merge took over.
type Merged struct {
	Captures  int // new in the run
	Known     int // already there, with the same path and content, made with the same settings and model
	Replaced  int // already there, made with other settings or another model
	Namesakes int // new, beside another file that has the same path below the same folder
	Twins     int // of those known or replaced, the ones that were there by another path
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

// Merge copies captures, marks and decisions of other into s. A capture that is already there (same content and path, or a Twin), made
// with the same settings and model, stays as it is, so merging twice changes nothing. One made with others is replaced by that of other,
// or, unless replace is set, the error wraps ErrDiffer and tells how many there are. A twin keeps one path, notes the other, and has the
// decisions of both. All of other goes in or none of it.
func (s *Store) Merge(ctx context.Context, other *Store, replace bool) (Merged, error) {
	var m Merged
	err := inTx(ctx, s.db, func(tx *sql.Tx) error {
		m = Merged{}
		twins, err := twinsOf(ctx, tx, other.db)
		if err != nil {
			return err
		}
		fresh, err := m.captures(ctx, tx, other, twins, replace)
		if err != nil {
			return err
		}
		if m.Replaced > 0 && !replace {
			return fmt.Errorf("results of captures that both runs hold were %w: %d of them", ErrDiffer, m.Replaced)
		}
		if fresh {
			if err := countResult(ctx, tx); err != nil {
				return err
			}
		}
		if err := copyWays(ctx, tx, other.db); err != nil {
			return err
		}
		m.Decisions, err = copyDecisions(ctx, tx, other.db, twins)
		return err
	})
	if err != nil {
		return Merged{}, fmt.Errorf("merging %s into %s: %w", other.dir, s.dir, err)
	}
	return m, nil
}

// captures copies captures with their marks and says whether the run is another one for it.
func (m *Merged) captures(ctx context.Context, tx *sql.Tx, other *Store, twins []Twin, replace bool) (fresh bool, err error) {
	byID := make(map[string]Twin, len(twins))
	for _, t := range twins {
		byID[t.theirs.id] = t
	}
	rows, err := other.db.QueryContext(ctx,
		"SELECT id, root, path, sha256, settings, model, status, why, interest, record FROM captures ORDER BY id")
	if err != nil {
		return false, err
	}
	defer rows.Close()
	for rows.Next() {
		var c row
		if err := rows.Scan(&c.id, &c.root, &c.path, &c.sha, &c.settings, &c.model, &c.status, &c.why, &c.interest,
			&c.record); err != nil {
			return false, err
		}
		var take, noted bool
		if t, ok := byID[c.id]; ok {
			take, noted, err = m.twin(ctx, tx, &c, t, replace)
		} else {
			take, err = m.place(ctx, tx, &c, other.dir, replace)
		}
		if err != nil {
			return false, err
		}
		fresh = fresh || take || noted
		if !take {
			continue
		}
		if err := c.insert(ctx, tx); err != nil {
			return false, err
		}
		if err := copyMarks(ctx, tx, other.db, c.id); err != nil {
			return false, err
		}
	}
	return fresh, rows.Err()
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

// twin is place for a capture that is there by another path. noted says that this path is now noted where it was not. A result that is
// replaced takes its path with it, since the names of marks and pictures are made from that.
func (m *Merged) twin(ctx context.Context, tx *sql.Tx, c *row, t Twin, replace bool) (take, noted bool, err error) {
	m.Twins++
	if t.Same {
		m.Known++
		var record string
		if err := tx.QueryRowContext(ctx, "SELECT record FROM captures WHERE id = ?", t.ours.id).Scan(&record); err != nil {
			return false, false, err
		}
		record, noted, err = note(record, t.theirs.path)
		if err != nil || !noted {
			return false, false, err
		}
		_, err = tx.ExecContext(ctx, "UPDATE captures SET record = ? WHERE id = ?", record, t.ours.id)
		return false, true, err
	}
	m.Replaced++
	if !replace {
		return false, false, nil
	}
	if c.record, _, err = note(c.record, t.ours.path); err != nil {
		return false, false, err
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM captures WHERE id = ?", t.ours.id); err != nil {
		return false, false, err
	}
	return true, false, moveDecisions(ctx, tx, t.ours, t.theirs)
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

// moveDecisions makes decisions on a capture of one name ones on that of another.
func moveDecisions(ctx context.Context, tx *sql.Tx, from, to place) error {
	rows, err := tx.QueryContext(ctx, "SELECT seq, record FROM decisions ORDER BY seq")
	if err != nil {
		return err
	}
	defer rows.Close()
	moved := map[int]json.RawMessage{}
	for rows.Next() {
		var seq int
		var old []byte
		if err := rows.Scan(&seq, &old); err != nil {
			return err
		}
		on, err := aboutOf(old)
		if err == nil && on.is(from) {
			moved[seq], err = readdress(old, from, to)
		}
		if err != nil {
			return fmt.Errorf("decision %d: %w", seq, err)
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for seq, record := range moved {
		if _, err := tx.ExecContext(ctx, "UPDATE decisions SET record = ? WHERE seq = ?", string(record), seq); err != nil {
			return err
		}
	}
	return nil
}

// copyDecisions adds the decisions that are not there yet, oldest first. Those on a twin that stayed as it was go to its name here.
func copyDecisions(ctx context.Context, tx *sql.Tx, from *sql.DB, twins []Twin) (int, error) {
	stayed := map[string][]Twin{} // by the path that decisions name
	for _, t := range twins {
		if t.Same {
			stayed[t.theirs.path] = append(stayed[t.theirs.path], t)
		}
	}
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
		if len(stayed) > 0 {
			if d.Record, err = readdressed(d.Record, stayed); err != nil {
				return 0, fmt.Errorf("decision %s: %w", d.ID, err)
			}
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
