package review

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
)

// FileStore is the DecisionStore these tests work with: a file of JSON lines, one decision a line, synced to disk before Append returns.
// One process at a time may hold it.
type FileStore struct {
	mu   sync.Mutex
	f    *os.File
	ids  map[string]bool
	all  []Decision
	size int64 // bytes of whole lines
}

// OpenFileStore opens or makes a store. A last line cut short by a crash is dropped; a broken line before it is an error.
func OpenFileStore(path string) (*FileStore, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("opening decisions %s: %w", path, err)
	}
	s := &FileStore{f: f, ids: map[string]bool{}}
	if err := s.load(); err != nil {
		return nil, errors.Join(fmt.Errorf("reading decisions %s: %w", path, err), f.Close())
	}
	return s, nil
}

func (s *FileStore) load() error {
	r := bufio.NewReader(s.f)
	for n := 1; ; n++ {
		line, err := r.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			if err := s.f.Truncate(s.size); err != nil {
				return fmt.Errorf("dropping a cut-off last line: %w", err)
			}
			return nil
		}
		if err != nil {
			return err
		}
		var d Decision
		if err := json.Unmarshal(line, &d); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
		s.size += int64(len(line))
		if !s.ids[d.ID] {
			s.ids[d.ID], s.all = true, append(s.all, d)
		}
	}
}

// Append implements DecisionStore. All lines go out in one write; a crash amid it keeps the whole lines that got through.
func (s *FileStore) Append(ctx context.Context, ds ...Decision) (int, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []byte
	var fresh []Decision
	seen := map[string]bool{}
	for _, d := range ds {
		if s.ids[d.ID] || seen[d.ID] {
			continue
		}
		line, err := json.Marshal(d)
		if err != nil {
			return 0, fmt.Errorf("storing decision: %w", err)
		}
		out, fresh, seen[d.ID] = append(append(out, line...), '\n'), append(fresh, d), true
	}
	if len(fresh) == 0 {
		return 0, nil
	}
	if _, err := s.f.WriteAt(out, s.size); err != nil {
		return 0, fmt.Errorf("storing decisions: %w", err)
	}
	if err := s.f.Sync(); err != nil {
		return 0, fmt.Errorf("storing decisions: %w", err)
	}
	s.size += int64(len(out))
	for _, d := range fresh {
		s.ids[d.ID] = true
	}
	s.all = append(s.all, fresh...)
	return len(fresh), nil
}

// All implements DecisionStore.
func (s *FileStore) All(ctx context.Context) ([]Decision, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.all), nil
}

// Close closes the file.
func (s *FileStore) Close() error {
	if err := s.f.Close(); err != nil {
		return fmt.Errorf("closing decisions: %w", err)
	}
	return nil
}
