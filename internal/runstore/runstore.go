// Package runstore keeps a run's results in one SQLite database, run.db in the run folder: the one place of truth that
// every export is made from.
package runstore

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"net/url"
	"os"
	"path/filepath"

	"github.com/mattn/go-sqlite3" // and the "sqlite3" driver
	"golang.org/x/sys/unix"

	"shadowgap/detect"
)

// FileName is the name of the database inside a run folder.
const FileName = "run.db"

const lockName = "run.lock"

// Errors of Open and Create, for errors.Is.
var (
	ErrNotRun = errors.New("not a run folder")
	ErrInUse  = errors.New("run folder is in use")
	ErrNoRoom = errors.New("the disk is full")

	errDamaged = errors.New("it is damaged, or no database of a run")
)

// Store is an open run. It is safe for concurrent use.
type Store struct {
	db   *sql.DB
	dir  string
	lock *os.File // held by the one process that writes results; nil otherwise

	readOnly bool
}

// IsRun reports whether dir holds a run.
func IsRun(dir string) bool {
	info, err := os.Stat(filepath.Join(dir, FileName))
	return err == nil && info.Mode().IsRegular()
}

// Create opens the run in dir for writing, making folder and database when they are missing. It returns ErrNotRun when
// dir holds other things than a run, and ErrInUse when another process is writing to it.
func Create(ctx context.Context, dir string) (*Store, error) {
	if !IsRun(dir) {
		entries, err := os.ReadDir(dir)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			if err := os.MkdirAll(dir, 0o755); err != nil {
				return nil, fmt.Errorf("making the run folder: %w", err)
			}
		case errors.Is(err, unix.ENOTDIR):
			return nil, fmt.Errorf("%s is a file or lies below one: %w", dir, ErrNotRun)
		case err != nil:
			return nil, fmt.Errorf("looking at %s: %w", dir, err)
		case len(entries) > 0 && !onlyLock(entries):
			return nil, fmt.Errorf("%s is a folder with other files in it: %w", dir, ErrNotRun)
		}
	}
	lock, err := takeLock(filepath.Join(dir, lockName))
	if err != nil {
		return nil, err
	}
	s, err := openDB(ctx, dir, false)
	if err != nil {
		lock.Close()
		return nil, err
	}
	s.lock = lock
	return s, nil
}

// onlyLock is the state a process leaves that died between taking the lock and making the database.
func onlyLock(entries []fs.DirEntry) bool {
	return len(entries) == 1 && entries[0].Name() == lockName
}

// Open opens the run in dir for reading and for decisions. It returns ErrNotRun when there is none. A run that this user may
// not write to opens for reading only, unless it was not closed at its end: completing it takes writing.
func Open(ctx context.Context, dir string) (*Store, error) {
	if !IsRun(dir) {
		return nil, fmt.Errorf("%s holds no %s: %w", dir, FileName, ErrNotRun)
	}
	if !writable(dir) || !writable(filepath.Join(dir, FileName)) {
		if info, err := os.Stat(filepath.Join(dir, FileName+"-wal")); err == nil && info.Size() > 0 {
			return nil, fmt.Errorf("opening %s: the run is under way or was cut off, and you may not write to its folder", dir)
		}
		return openDB(ctx, dir, true)
	}
	return openDB(ctx, dir, false)
}

func writable(path string) bool { return unix.Access(path, unix.W_OK) == nil }

// ReadOnly reports whether the run takes no decisions because this user may not write to it.
func (s *Store) ReadOnly() bool { return s.readOnly }

func takeLock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("can't write into the run folder: %w", err)
	}
	// The lock goes with the process, however it ends.
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, fmt.Errorf("another shadowgap is writing to %s: %w", filepath.Dir(path), ErrInUse)
		}
		return nil, fmt.Errorf("taking the run's lock %s: %w", path, err)
	}
	return f, nil
}

func openDB(ctx context.Context, dir string, readOnly bool) (*Store, error) {
	abs, err := filepath.Abs(filepath.Join(dir, FileName))
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", dir, err)
	}
	// synchronous=FULL: a capture that was reported done is still done after a power cut.
	dsn := url.URL{Scheme: "file", Path: abs,
		RawQuery: "_journal_mode=WAL&_synchronous=FULL&_busy_timeout=10000&_foreign_keys=1&_txlock=immediate"}
	if readOnly {
		// Immutable: even readers of a WAL database write beside it otherwise.
		dsn.RawQuery = "mode=ro&immutable=1"
	}
	db, err := sql.Open("sqlite3", dsn.String())
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", abs, err)
	}
	if err := migrate(ctx, db); err != nil {
		db.Close()
		var refused sqlite3.Error
		if errors.As(err, &refused) {
			switch refused.Code {
			case sqlite3.ErrFull:
				return nil, fmt.Errorf("making %s: %w", abs, ErrNoRoom)
			case sqlite3.ErrNotADB, sqlite3.ErrCorrupt:
				return nil, fmt.Errorf("opening %s: %w", abs, errDamaged)
			}
		}
		return nil, fmt.Errorf("opening %s: %w", abs, err)
	}
	return &Store{db: db, dir: dir, readOnly: readOnly}, nil
}

// Dir is the run folder.
func (s *Store) Dir() string { return s.dir }

// Close closes the database and gives the lock back.
func (s *Store) Close() error {
	err := s.db.Close()
	if s.lock != nil {
		err = errors.Join(err, s.lock.Close())
	}
	if err != nil {
		return fmt.Errorf("closing %s: %w", filepath.Join(s.dir, FileName), err)
	}
	return nil
}

// CaptureID names a capture: 12 hex digits from its path in the run and its content.
func CaptureID(path, sha256Hex string) string {
	sum := sha256.Sum256([]byte(path + "\x00" + sha256Hex))
	return hex.EncodeToString(sum[:6])
}

// Roots returns how many captures the run holds below each folder that their paths are relative to.
func (s *Store) Roots(ctx context.Context) (map[string]int, error) {
	roots := map[string]int{}
	return roots, count(ctx, s.db, "SELECT root, count(*) FROM captures GROUP BY root", roots)
}

// Holds reports whether the run holds a capture that was found at this path below this folder.
func (s *Store) Holds(ctx context.Context, root, path string) (bool, error) {
	var n int
	if err := s.db.QueryRowContext(ctx, "SELECT count(*) FROM captures WHERE root = ? AND path = ?", root, path).Scan(&n); err != nil {
		return false, fmt.Errorf("looking up %s: %w", path, err)
	}
	return n > 0, nil
}

// Done reports whether the capture has a result that was made from the same content with the same settings and model, and
// its status.
func (s *Store) Done(ctx context.Context, path, sha256Hex, settings, model string) (detect.Status, bool, error) {
	var status detect.Status
	err := s.db.QueryRowContext(ctx, "SELECT status FROM captures WHERE id = ? AND settings = ? AND model = ?",
		CaptureID(path, sha256Hex), settings, model).Scan(&status)
	if errors.Is(err, sql.ErrNoRows) {
		return "", false, nil
	}
	if err != nil {
		return "", false, fmt.Errorf("looking up %s: %w", path, err)
	}
	return status, true, nil
}

// Origin says where a capture was read from.
type Origin struct {
	Root  string // folder that its path is relative to
	Stamp string // tells the file from every other state of it without a look inside; "" when nothing does
	Basis string // stands for all that was known of captures beside their names and contents; "" when nothing does
	// Within stands for the bounds of time, size and memory that it was read within; "" when nothing does.
	Within string
}

// Seen is Done for a file that has not been read: it reports whether the file at path was in the state and on the basis of from when its
// result was made with this model, and that result's hash and status. It is never so with an empty stamp or basis.
func (s *Store) Seen(
	ctx context.Context, path string, from Origin, model string,
) (sha256Hex string, status detect.Status, known bool, err error) {
	if from.Stamp == "" || from.Basis == "" {
		return "", "", false, nil
	}
	err = s.db.QueryRowContext(ctx,
		"SELECT sha256, status FROM captures WHERE root = ? AND path = ? AND stamp = ? AND basis = ? AND model = ?",
		from.Root, path, from.Stamp, from.Basis, model).Scan(&sha256Hex, &status)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", false, nil
	}
	if err != nil {
		return "", "", false, fmt.Errorf("looking up %s: %w", path, err)
	}
	return sha256Hex, status, true, nil
}

// Within returns Origin.Within of a capture's result, "" where there is none.
func (s *Store) Within(ctx context.Context, path, sha256Hex string) (string, error) {
	var within string
	err := s.db.QueryRowContext(ctx, "SELECT within FROM captures WHERE id = ?", CaptureID(path, sha256Hex)).Scan(&within)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("looking up %s: %w", path, err)
	}
	return within, nil
}

// Otherwise returns how many captures hold results that are not known to be made on this basis.
func (s *Store) Otherwise(ctx context.Context, basis string) (int, error) {
	var n int
	if err := s.db.QueryRowContext(ctx, "SELECT count(*) FROM captures WHERE basis <> ?", basis).Scan(&n); err != nil {
		return 0, fmt.Errorf("counting captures of other settings: %w", err)
	}
	return n, nil
}

// Look is a capture that was found as its result left it.
type Look struct {
	Path, SHA256 string
	From         Origin
}

// Restamp keeps where captures come from whose results are still good, all in one transaction.
func (s *Store) Restamp(ctx context.Context, looks []Look) error {
	err := inTx(ctx, s.db, func(tx *sql.Tx) error {
		for _, l := range looks {
			_, err := tx.ExecContext(ctx, "UPDATE captures SET stamp = ?, basis = ? WHERE id = ? AND root = ?",
				l.From.Stamp, l.From.Basis, CaptureID(l.Path, l.SHA256), l.From.Root)
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keeping that captures are as they were: %w", err)
	}
	return nil
}

// SetTried keeps what went wrong when a capture was first tried, until Put.
func (s *Store) SetTried(ctx context.Context, path, sha256Hex, settings, model, why string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR REPLACE INTO tried (id, settings, model, why) VALUES (?, ?, ?, ?)",
		CaptureID(path, sha256Hex), settings, model, why)
	if err != nil {
		return fmt.Errorf("keeping that %s was tried: %w", path, err)
	}
	return nil
}

// Tried returns what SetTried kept of a capture with these settings and model, "" when nothing.
func (s *Store) Tried(ctx context.Context, path, sha256Hex, settings, model string) (string, error) {
	var why string
	err := s.db.QueryRowContext(ctx, "SELECT why FROM tried WHERE id = ? AND settings = ? AND model = ?",
		CaptureID(path, sha256Hex), settings, model).Scan(&why)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("looking up %s: %w", path, err)
	}
	return why, nil
}

// Put stores a capture with its marks, best first, in one transaction. An older result of the same file (root and path) is replaced.
func (s *Store) Put(ctx context.Context, from Origin, c *detect.CaptureRecord, marks []detect.MarkRecord) error {
	err := inTx(ctx, s.db, func(tx *sql.Tx) error { return put(ctx, tx, from, c, marks) })
	if err != nil {
		return fmt.Errorf("storing the result of %s: %w", c.Capture, err)
	}
	return nil
}

func put(ctx context.Context, tx *sql.Tx, from Origin, c *detect.CaptureRecord, marks []detect.MarkRecord) error {
	record, err := json.Marshal(c)
	if err != nil {
		return err
	}
	id := CaptureID(c.Capture, c.SHA256)
	if _, err := tx.ExecContext(ctx, "DELETE FROM captures WHERE id = ? OR (root = ? AND path = ?)", id, from.Root, c.Capture); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM tried WHERE id = ?", id); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx,
		"INSERT INTO captures (id, root, path, sha256, settings, model, status, why, interest, record, stamp, basis, within) "+
			"VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		id, from.Root, c.Capture, c.SHA256, c.Versions.Settings, c.Versions.Model, c.Status, c.Why, c.Interest, record, from.Stamp, from.Basis,
		from.Within)
	if err != nil {
		return err
	}
	for i := range marks {
		m := &marks[i]
		line, err := json.Marshal(m)
		if err != nil {
			return fmt.Errorf("mark %s: %w", m.Mark, err)
		}
		_, err = tx.ExecContext(ctx, "INSERT INTO marks (capture, ord, id, class, odds, record) VALUES (?, ?, ?, ?, ?, ?)",
			id, i, m.Mark, m.Class, m.Odds[m.Class], line)
		if err != nil {
			return fmt.Errorf("mark %s: %w", m.Mark, err)
		}
	}
	return countResult(ctx, tx)
}

// metaResults counts what has been stored; metaExports is the state that the run's exports show.
const (
	metaResults = "results"
	metaExports = "exports"
)

// countResult makes the run's state another one.
func countResult(ctx context.Context, tx *sql.Tx) error {
	const count = "INSERT INTO meta (key, value) VALUES (?, '1') ON CONFLICT (key) DO UPDATE SET value = value + 1"
	_, err := tx.ExecContext(ctx, count, metaResults)
	return err
}

// State returns a word for what a run holds, results, decisions and what is kept with it: another one after every change.
func (s *Store) State(ctx context.Context) (string, error) {
	h := sha256.New()
	var decisions, newest int
	err := s.db.QueryRowContext(ctx, "SELECT count(*), coalesce(max(seq), 0) FROM decisions").Scan(&decisions, &newest)
	if err != nil {
		return "", fmt.Errorf("reading the run's state: %w", err)
	}
	fmt.Fprintln(h, decisions, newest)
	rows, err := s.db.QueryContext(ctx, "SELECT key, value FROM meta WHERE key <> ? ORDER BY key", metaExports)
	if err != nil {
		return "", fmt.Errorf("reading the run's state: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var key, value string
		if err := rows.Scan(&key, &value); err != nil {
			return "", fmt.Errorf("reading the run's state: %w", err)
		}
		fmt.Fprintf(h, "%q %q\n", key, value)
	}
	if err := rows.Err(); err != nil {
		return "", fmt.Errorf("reading the run's state: %w", err)
	}
	return hex.EncodeToString(h.Sum(nil)[:12]), nil
}

// Exported returns what SetExported kept, "" when nothing: a word for the state and the way in which the exports were made.
func (s *Store) Exported(ctx context.Context) (string, error) { return s.Meta(ctx, metaExports) }

// SetExported keeps a word for what the exports show, for Exported.
func (s *Store) SetExported(ctx context.Context, exported string) error {
	return s.SetMeta(ctx, metaExports, exported)
}

// Keys of what is kept with a run.
const (
	MetaUnits = "units" // of lengths, as the newest triage was asked for
	MetaRoot  = "root"  // the folder that the captures of the newest triage are relative to
	MetaWay   = "way/"  // and a capture's id: what placing marks on it needs; merging takes it over
)

// Meta returns a value kept with the run, "" when there is none.
func (s *Store) Meta(ctx context.Context, key string) (string, error) {
	var value string
	err := s.db.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = ?", key).Scan(&value)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("reading %q of the run: %w", key, err)
	}
	return value, nil
}

// SetMetas keeps many values with the run in one transaction.
func (s *Store) SetMetas(ctx context.Context, values iter.Seq2[string, string]) error {
	err := inTx(ctx, s.db, func(tx *sql.Tx) error {
		for key, value := range values {
			if _, err := tx.ExecContext(ctx, setMeta, key, value); err != nil {
				return fmt.Errorf("%q: %w", key, err)
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keeping values with the run: %w", err)
	}
	return nil
}

const setMeta = "INSERT INTO meta (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"

// SetMeta keeps a value with the run.
func (s *Store) SetMeta(ctx context.Context, key, value string) error {
	_, err := s.db.ExecContext(ctx, setMeta, key, value)
	if err != nil {
		return fmt.Errorf("keeping %q with the run: %w", key, err)
	}
	return nil
}
