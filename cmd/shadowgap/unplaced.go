package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// placesBefore is what a run knew of places before a triage that may know less: whoever forgets an option the second time should hear
// what that takes from the run.
type placesBefore struct {
	captures int      // that hold a mark with a position
	maps     []string // maps and waypoint files in the run folder
	given    []string // --track and --manifest of the triage before, with their files, that are not given now
}

// lookAtPlaces finds out what the run knows of places. The command of the triage before must still be kept with it.
func (t triageCmd) lookAtPlaces(ctx context.Context, store *runstore.Store) (b placesBefore, err error) {
	if b.captures, err = store.Placed(ctx); err != nil {
		return b, err
	}
	for _, name := range mapNames() {
		if isThere(filepath.Join(store.Dir(), name)) {
			b.maps = append(b.maps, name)
		}
	}
	args, err := keptList(ctx, store, metaCommand) // of a run that was joined there is none
	if err != nil {
		return b, err
	}
	for option, now := range map[string]string{"--track": t.Track, "--manifest": t.Manifest} {
		if file := review.ValueOf(args, option); file != "" && now == "" {
			b.given = append(b.given, option+" "+file)
		}
	}
	slices.Sort(b.given)
	return b, nil
}

// warn says what a triage will take from the run to which nothing tells places, while there is time to stop it.
func (b placesBefore) warn(con *console, dir string, src survey.Sources) {
	if b.captures == 0 || src.Track != nil || src.Manifest.Places() {
		return
	}
	fmt.Fprintf(con.err, "shadowgap: in %s %s positions, and nothing that is given now tells places: captures that are looked at again lose "+
		"theirs%s. To keep them stop this with Ctrl-C and give %s as well; to keep the run as it is give another --out\n",
		dir, have(b.captures), b.alsoGo(), b.again())
}

func (b placesBefore) alsoGo() string {
	if len(b.maps) == 0 {
		return ""
	}
	return ", and with the last of them go " + strings.Join(b.maps, ", ")
}

// again is what to give so that the run gets its places back.
func (b placesBefore) again() string {
	if len(b.given) == 0 {
		return "--track FILE or --manifest FILE as before"
	}
	return strings.Join(b.given, " ")
}

// tell says what a triage took from the run.
func (b placesBefore) tell(ctx context.Context, con *console, store *runstore.Store, src survey.Sources) error {
	if b.captures == 0 || len(b.given) == 0 && (src.Track != nil || src.Manifest.Places()) {
		return nil
	}
	left, err := store.Placed(ctx)
	if err != nil || left >= b.captures {
		return err
	}
	var gone []string
	for _, name := range b.maps {
		if !isThere(filepath.Join(store.Dir(), name)) {
			gone = append(gone, name)
		}
	}
	removed := ""
	if len(gone) > 0 {
		removed = ", and these files were removed: " + strings.Join(gone, ", ")
	}
	fmt.Fprintf(con.err, "shadowgap: %s positions before, %d have now, since nothing given told the other places%s. "+
		"The same command with %s gives them back\n", had(b.captures), left, removed, b.again())
	return nil
}

func have(captures int) string {
	if captures == 1 {
		return "1 capture has"
	}
	return fmt.Sprintf("%d captures have", captures)
}

func had(captures int) string { return count(captures, "capture") + " had" }

// mapNames are the files of a run folder that only a run with positions has.
func mapNames() []string {
	names := []string{firstName}
	for _, l := range lists() {
		for _, f := range mapFormats() {
			names = append(names, l.name+"."+f.name)
		}
	}
	return names
}
