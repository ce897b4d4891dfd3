package runstore

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
)

// Decision is one step of a review as the run keeps it. What is in the record is the reviewer's business.
type Decision struct {
	ID     string // the same id is stored once
	At     string // RFC 3339, UTC
	Record json.RawMessage
}

func (d Decision) insert(ctx context.Context, tx *sql.Tx) (int, error) {
	return changed(tx.ExecContext(ctx, "INSERT OR IGNORE INTO decisions (id, decided_at, record) VALUES (?, ?, ?)", d.ID, d.At,
		string(d.Record)))
}

// AddDecisions stores decisions in one transaction and says how many were new.
func (s *Store) AddDecisions(ctx context.Context, ds []Decision) (int, error) {
	total := 0
	err := inTx(ctx, s.db, func(tx *sql.Tx) error {
		total = 0
		for _, d := range ds {
			n, err := d.insert(ctx, tx)
			if err != nil {
				return err
			}
			total += n
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("storing decisions: %w", err)
	}
	return total, nil
}

// Decisions returns every decision in the order they came.
func (s *Store) Decisions(ctx context.Context) ([]Decision, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT id, decided_at, record FROM decisions ORDER BY seq")
	if err != nil {
		return nil, fmt.Errorf("reading decisions: %w", err)
	}
	defer rows.Close()
	var ds []Decision
	for rows.Next() {
		var d Decision
		if err := rows.Scan(&d.ID, &d.At, (*[]byte)(&d.Record)); err != nil {
			return nil, fmt.Errorf("reading decisions: %w", err)
		}
		ds = append(ds, d)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("reading decisions: %w", err)
	}
	return ds, nil
}
