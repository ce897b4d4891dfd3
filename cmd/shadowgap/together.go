package main

import (
	"cmp"
	"context"
	"errors"
	"iter"

	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// errCutShort ends a reader that waits for a capture nobody will give it.
var errCutShort = errors.New("reading the run was cut short")

// together reads the run once for several readers: each sees it as if it were alone, and may go through its captures once. They go on
// in step, so that one capture at a time is in memory. An error of one ends the others as well.
func (r *reviewed) together(ctx context.Context, readers ...func(*reviewed) error) error {
	var now struct {
		captured
		err  error
		more bool
	}
	errs := make([]error, len(readers))
	goOn := make([]func() (struct{}, bool), len(readers)) // runs a reader until it waits for a capture; nil once it has ended
	for i, read := range readers {
		next, stop := iter.Pull(func(wait func(struct{}) bool) {
			part := *r
			part.source = func(yield func(captured, error) bool) {
				for {
					if !wait(struct{}{}) {
						yield(captured{}, errCutShort)
						return
					}
					if !now.more || !yield(now.captured, now.err) {
						return
					}
				}
			}
			errs[i] = read(&part)
		})
		defer stop()
		goOn[i] = next
	}
	step := func() error {
		for i, next := range goOn {
			if next == nil {
				continue
			}
			if _, waits := next(); !waits {
				goOn[i] = nil
			}
			if errs[i] != nil {
				return errs[i]
			}
		}
		return nil
	}
	if err := step(); err != nil {
		return err
	}
	for c, err := range r.captures(ctx) {
		now.captured, now.err, now.more = c, err, true
		if err := cmp.Or(step(), err); err != nil {
			return err
		}
	}
	now.captured, now.err, now.more = captured{}, nil, false
	return step()
}

// overview is what a run comes to, as decisions leave it.
type overview struct {
	atlas  places.Atlas
	holds  []survey.Hold
	tally  runstore.Tally
	mapped bool // some mark has a position
}

// overview reads the run once for all that is told of it as a whole.
func (r *reviewed) overview(ctx context.Context, units overlay.Units) (o overview, err error) {
	err = r.together(ctx,
		func(run *reviewed) (err error) { o.atlas, err = run.atlas(ctx, units); return err },
		func(run *reviewed) (err error) { o.holds, err = run.holds(ctx); return err },
		func(run *reviewed) (err error) { o.tally, o.mapped, err = run.tally(ctx); return err },
	)
	return o, err
}
