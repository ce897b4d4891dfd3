package runstore

import (
	"context"
	"database/sql"
	"fmt"
)

// migrations bring a database from version i to i+1; the number of the last one applied is SQLite's user_version. An
// entry is never changed once it has been released: add another.
var migrations = [...]string{
	`CREATE TABLE meta (
		key   TEXT PRIMARY KEY,
		value TEXT NOT NULL
	) WITHOUT ROWID;

	CREATE TABLE captures (
		id       TEXT PRIMARY KEY,  -- CaptureID of path and content
		root     TEXT NOT NULL,     -- folder that path is relative to
		path     TEXT NOT NULL,     -- with forward slashes, as records show it
		sha256   TEXT NOT NULL,
		settings TEXT NOT NULL,     -- hash of what the user said about this capture
		model    TEXT NOT NULL,
		status   TEXT NOT NULL CHECK (status IN ('read', 'no-panel', 'unreadable')),
		why      TEXT,
		interest REAL NOT NULL,
		record   TEXT NOT NULL,     -- the line of captures.jsonl
		UNIQUE (root, path)
	);
	CREATE INDEX captures_ranked ON captures (interest DESC, path, sha256);

	CREATE TABLE marks (
		capture TEXT NOT NULL REFERENCES captures (id) ON DELETE CASCADE,
		ord     INTEGER NOT NULL,   -- rank within the capture, from 0
		id      TEXT NOT NULL,
		class   TEXT NOT NULL,
		odds    REAL NOT NULL,      -- of that class
		record  TEXT NOT NULL,      -- the line of marks.jsonl
		PRIMARY KEY (capture, ord)
	) WITHOUT ROWID;
	CREATE INDEX marks_id ON marks (id);

	-- What reviewers decided, step by step. Rows are only ever added. No foreign key: a decision outlives the run that
	-- found the mark.
	CREATE TABLE decisions (
		seq        INTEGER PRIMARY KEY,
		id         TEXT NOT NULL UNIQUE, -- made by whoever decided
		decided_at TEXT NOT NULL,        -- RFC 3339, UTC
		record     TEXT NOT NULL         -- JSON
	);`,

	`ALTER TABLE captures ADD COLUMN stamp TEXT NOT NULL DEFAULT ''; -- Origin.Stamp of the file the result was made from
	ALTER TABLE captures ADD COLUMN basis TEXT NOT NULL DEFAULT '';  -- Origin.Basis

	-- Captures that cost a worker process its life once and have no result yet.
	CREATE TABLE tried (
		id       TEXT PRIMARY KEY, -- as in captures
		settings TEXT NOT NULL,
		model    TEXT NOT NULL,
		why      TEXT NOT NULL
	) WITHOUT ROWID;`,

	`ALTER TABLE captures ADD COLUMN within TEXT NOT NULL DEFAULT ''; -- Origin.Within`,
}

// migrate brings the database to the newest version, each step in a transaction of its own.
func migrate(ctx context.Context, db *sql.DB) error {
	var version int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return fmt.Errorf("reading the schema version: %w", err)
	}
	if version > len(migrations) {
		return fmt.Errorf("schema version %d is newer than the %d this shadowgap knows; use a newer shadowgap", version, len(migrations))
	}
	for ; version < len(migrations); version++ {
		err := inTx(ctx, db, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, migrations[version]); err != nil {
				return err
			}
			// PRAGMA takes no bound parameters.
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", version+1))
			return err
		})
		if err != nil {
			return fmt.Errorf("bringing the schema to version %d: %w", version+1, err)
		}
	}
	return nil
}

// inTx runs f in a transaction that is rolled back when f fails.
func inTx(ctx context.Context, db *sql.DB, f func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		// The failure of f is what the caller needs to know; a rollback that fails too adds nothing.
		_ = tx.Rollback()
		return err
	}
	return tx.Commit()
}
