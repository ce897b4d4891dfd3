package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"shadowgap/internal/export"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/track"
)

// trackName is the boat's track in a run folder, for the map.
const trackName = "track.csv"

// Keys of what is kept with a run for its page.
const (
	metaCommand    = "command"     // arguments of the newest triage, a JSON list
	metaStopped    = "stopped"     // not empty where that ended before all captures were looked at
	metaMixed      = "mixed"       // how many captures hold results of other settings than that was given
	metaTrackNotes = "track notes" // what was odd about its track's log, a JSON list
)

// keepForPage keeps with the run what its page shows and no capture holds: the command, and the boat's track with what was odd
// about its log.
func keepForPage(ctx context.Context, store *runstore.Store, args []string, way *track.Track) error {
	if err := keepList(ctx, store, metaCommand, args); err != nil {
		return err
	}
	if way == nil {
		return nil // an earlier triage's track stays: its captures may be placed by it
	}
	if err := keepTrack(filepath.Join(store.Dir(), trackName), way); err != nil {
		return err
	}
	return keepList(ctx, store, metaTrackNotes, way.Notes())
}

// keepTrack writes the track unless the file holds it already, so that exports made beside it don't look older than it.
func keepTrack(name string, way *track.Track) error {
	h := sha256.New()
	if err := way.WriteCSV(h); err != nil {
		return err
	}
	if sum, err := fileSum(name); err == nil && sum == hex.EncodeToString(h.Sum(nil)) {
		return nil
	}
	return export.File(name, way.WriteCSV)
}

// keepEnd notes how a triage ended: whether before all captures were looked at, and how many hold results of others that were told other
// things. basis stands for what this one was told, "" where that can't be told.
func keepEnd(ctx context.Context, store *runstore.Store, stopped bool, basis string) error {
	text := ""
	if stopped {
		text = "before the end"
	}
	if err := store.SetMeta(ctx, metaStopped, text); err != nil {
		return err
	}
	mixed := ""
	if basis != "" {
		n, err := store.Otherwise(ctx, basis)
		if err != nil {
			return err
		}
		mixed = strconv.Itoa(n)
	}
	return store.SetMeta(ctx, metaMixed, mixed)
}

// keptMixed is how many captures of a run hold results of other settings than its newest triage's, as far as that is known.
func keptMixed(ctx context.Context, store *runstore.Store) (int, error) {
	text, err := store.Meta(ctx, metaMixed)
	if err != nil || text == "" {
		return 0, err
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, fmt.Errorf("%q of the run: %w", metaMixed, err)
	}
	return n, nil
}

func keepList(ctx context.Context, store *runstore.Store, key string, list []string) error {
	text, err := json.Marshal(list)
	if err != nil {
		return err
	}
	return store.SetMeta(ctx, key, string(text))
}

func keptList(ctx context.Context, store *runstore.Store, key string) ([]string, error) {
	text, err := store.Meta(ctx, key)
	if err != nil || text == "" {
		return nil, err
	}
	var list []string
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return nil, fmt.Errorf("%q of the run: %w", key, err)
	}
	return list, nil
}

// pageOptions are what the run's page is made with: where to go as decisions leave it, and what the run folder keeps for it. total is how
// many captures the run holds; atlas is nil where it is not known yet.
func pageOptions(
	ctx context.Context, store *runstore.Store, atlas *places.Atlas, units overlay.Units, total int,
) (review.PageOptions, error) {
	opt := review.PageOptions{Name: filepath.Base(store.Dir()), Units: units, Total: total}
	if atlas == nil {
		run, err := openReviewed(ctx, store, false)
		if err != nil {
			return opt, err
		}
		found, err := run.atlas(ctx, units)
		if err != nil {
			return opt, err
		}
		atlas = &found
	}
	opt.Atlas = atlas
	var err error
	if opt.Command, err = keptList(ctx, store, metaCommand); err != nil {
		return opt, err
	}
	if opt.TrackNotes, err = keptList(ctx, store, metaTrackNotes); err != nil {
		return opt, err
	}
	stopped, err := store.Meta(ctx, metaStopped)
	if err != nil {
		return opt, err
	}
	opt.Stopped = stopped != ""
	if opt.Mixed, err = keptMixed(ctx, store); err != nil {
		return opt, err
	}
	name := filepath.Join(store.Dir(), trackName)
	switch opt.Track, err = track.ReadFile(name, track.Options{}); {
	case errors.Is(err, fs.ErrNotExist):
		opt.Track = nil
	case err != nil:
		return opt, err
	}
	layouts, err := review.ReadLayouts(ctx, store.Dir())
	if err != nil {
		return opt, err
	}
	opt.Layouts = layouts.Layouts
	opt.Sheet = isThere(filepath.Join(store.Dir(), review.SheetName))
	opt.Printed = isThere(filepath.Join(store.Dir(), review.PrintedName))
	return opt, nil
}

func isThere(name string) bool {
	_, err := os.Stat(name)
	return err == nil
}
