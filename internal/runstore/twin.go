package runstore

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
)

// Twin is a capture that two runs hold by different paths because the folder that one was given lies within the other's: its content is
// the same, and one path is the end of the other.
type Twin struct {
	Ours, Theirs string // paths
	SHA256       string
	Same         bool // both results were made with the same settings and model

	ours, theirs place
}

// place is where and how a run holds a capture.
type place struct{ id, root, path, sha, settings, model string }

// Twins returns the captures of other that s holds by another path, in the order of other's paths. Copies of a file under names of their
// own are no twins, as they are not within one run.
func (s *Store) Twins(ctx context.Context, other *Store) ([]Twin, error) {
	twins, err := twinsOf(ctx, s.db, other.db)
	if err != nil {
		return nil, fmt.Errorf("comparing %s with %s: %w", other.dir, s.dir, err)
	}
	return twins, nil
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

func twinsOf(ctx context.Context, our querier, other *sql.DB) ([]Twin, error) {
	theirs, err := places(ctx, other)
	if err != nil {
		return nil, err
	}
	ours, err := places(ctx, our)
	if err != nil {
		return nil, err
	}
	known, shared := map[string]bool{}, map[string]bool{}
	for _, p := range theirs {
		known[p.id] = true
	}
	free := map[string][]place{} // by content
	for _, p := range ours {
		if shared[p.id] = known[p.id]; !known[p.id] {
			free[p.sha] = append(free[p.sha], p)
		}
	}
	var twins []Twin
	taken := map[string]bool{}
	// The same whole path first: then it is surely the same file. Each takes one only, so that copies within a run stay apart.
	for _, alike := range []func(our, their place) bool{liesWith, endsLike} {
		for _, their := range theirs {
			if shared[their.id] || taken[their.id] {
				continue
			}
			all := free[their.sha]
			at := slices.IndexFunc(all, func(our place) bool { return alike(our, their) })
			if at < 0 {
				continue
			}
			our := all[at]
			taken[their.id], free[their.sha] = true, slices.Delete(all, at, at+1)
			twins = append(twins, Twin{
				Ours: our.path, Theirs: their.path, SHA256: their.sha, Same: our.settings == their.settings && our.model == their.model,
				ours: our, theirs: their,
			})
		}
	}
	slices.SortFunc(twins, func(a, b Twin) int { return strings.Compare(a.Theirs, b.Theirs) })
	return twins, nil
}

// places lists the captures of a run whose content is known, by path.
func places(ctx context.Context, db querier) ([]place, error) {
	rows, err := db.QueryContext(ctx, "SELECT id, root, path, sha256, settings, model FROM captures WHERE sha256 <> '' ORDER BY path, id")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []place
	for rows.Next() {
		var p place
		if err := rows.Scan(&p.id, &p.root, &p.path, &p.sha, &p.settings, &p.model); err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	return all, rows.Err()
}

// liesWith reports whether two captures lie at the same place of a file system.
func liesWith(a, b place) bool {
	whole := func(p place) string { return strings.TrimSuffix(filepath.ToSlash(p.root), "/") + "/" + p.path }
	return whole(a) == whole(b)
}

// endsLike reports whether one path is how the other ends, in whole names.
func endsLike(a, b place) bool {
	long, short := a.path, b.path
	if len(long) < len(short) {
		long, short = short, long
	}
	return strings.HasSuffix(long, "/"+short)
}

// note keeps with the record of a capture that it was found by another path, too. noted is false when that is there already.
func note(record, path string) (with string, noted bool, err error) {
	c, err := detect.DecodeCapture([]byte(record))
	if err != nil {
		return "", false, err
	}
	said := "also found as " + path
	if slices.Contains(c.Notes, said) {
		return record, false, nil
	}
	c.Notes = append(c.Notes, said)
	line, err := json.Marshal(c)
	return string(line), true, err
}

// about is what a decision is on.
type about struct{ Capture, Mark string }

func aboutOf(decision json.RawMessage) (on about, err error) {
	err = json.Unmarshal(decision, &on)
	return on, err
}

// is reports whether the decision is on the capture that a run holds at p. Another of the same path may have had other content.
func (a about) is(p place) bool {
	return a.Capture == p.path && (a.Mark == "" || strings.HasPrefix(a.Mark, p.id+"-"))
}

// readdressed makes a decision on one of the twins, which are listed by the path that decisions name, one on the capture that it is now
// held as. Decisions on others stay as they are.
func readdressed(decision json.RawMessage, twins map[string][]Twin) (json.RawMessage, error) {
	on, err := aboutOf(decision)
	if err != nil {
		return nil, err
	}
	for _, t := range twins[on.Capture] {
		if on.is(t.theirs) {
			return readdress(decision, t.theirs, t.ours)
		}
	}
	return decision, nil
}

// readdress makes a decision on a capture of one name one on the capture that it is now held as. It relies on no more of a decision than
// that capture, mark, and the mark as it was seen stand in fields of these names.
func readdress(decision json.RawMessage, from, to place) (json.RawMessage, error) {
	var fields, seen map[string]json.RawMessage
	if err := json.Unmarshal(decision, &fields); err != nil {
		return nil, err
	}
	if err := readdressFields(fields, from, to); err != nil {
		return nil, err
	}
	if len(fields["seen"]) > 0 {
		if err := json.Unmarshal(fields["seen"], &seen); err != nil {
			return nil, err
		}
	}
	if seen == nil {
		return json.Marshal(fields)
	}
	err := readdressFields(seen, from, to)
	if err != nil {
		return nil, err
	}
	if fields["seen"], err = json.Marshal(seen); err != nil {
		return nil, err
	}
	return json.Marshal(fields)
}

// readdressFields changes the path of a capture, and its id in those of its marks and holds.
func readdressFields(fields map[string]json.RawMessage, from, to place) error {
	var err error
	if fields["capture"], err = json.Marshal(to.path); err != nil {
		return err
	}
	for _, name := range []string{"mark", "hold"} {
		var id *string
		if text, ok := fields[name]; !ok || json.Unmarshal(text, &id) != nil || id == nil {
			continue
		}
		if rest, ok := strings.CutPrefix(*id, from.id+"-"); ok {
			if fields[name], err = json.Marshal(to.id + "-" + rest); err != nil {
				return err
			}
		}
	}
	return nil
}
