package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"shadowgap/internal/runstore"
)

// exportsIfStale makes a run's exports unless they show what it holds already, as those of a run that is gone on with to no effect do.
// how says in what way they are made.
func exportsIfStale(ctx context.Context, store *runstore.Store, how string, write func() error) error {
	before, err := store.Exported(ctx)
	if err != nil {
		return err
	}
	now, err := exported(ctx, store, how)
	if err != nil {
		return err
	}
	if before != "" && before == now {
		return nil
	}
	if err := write(); err != nil {
		return err
	}
	if now, err = exported(ctx, store, how); err != nil {
		return err
	}
	return store.SetExported(ctx, now)
}

// exported stands for what a run holds, for the way in which its exports are made and for the files that are there.
func exported(ctx context.Context, store *runstore.Store, how string) (string, error) {
	state, err := store.State(ctx)
	if err != nil {
		return "", err
	}
	files, err := os.ReadDir(store.Dir())
	if err != nil {
		return "", fmt.Errorf("looking at the run's exports: %w", err)
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%s\n%s\n", version, how, filepath.Base(store.Dir()), state)
	for _, d := range files {
		if !d.Type().IsRegular() || strings.HasPrefix(d.Name(), ".") || strings.HasPrefix(d.Name(), "run.") {
			continue // the database, its lock, what somebody is writing
		}
		info, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return "", fmt.Errorf("looking at the run's exports: %w", err)
		}
		fmt.Fprintf(h, "%q %d %d\n", d.Name(), info.Size(), info.ModTime().UnixNano())
	}
	return hex.EncodeToString(h.Sum(nil)[:12]), nil
}
