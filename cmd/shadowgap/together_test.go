package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/internal/review"
)

// counted is a run of n captures that counts how often one is read, and fails after the last one if it is told to.
func counted(n int, read *int, fail error) *reviewed {
	return &reviewed{state: review.Fold(nil), source: func(yield func(captured, error) bool) {
		for i := range n {
			*read++
			if !yield(captured{record: &detect.CaptureRecord{Capture: fmt.Sprint(i)}}, nil) {
				return
			}
		}
		if fail != nil {
			yield(captured{}, fail)
		}
	}}
}

func TestTogetherReadsOnceForAll(t *testing.T) {
	read := 0
	run := counted(5, &read, nil)
	got := make([][]string, 4)
	reader := func(i, most int) func(*reviewed) error {
		return func(run *reviewed) error {
			for c, err := range run.captures(t.Context()) {
				if err != nil {
					return err
				}
				if got[i] = append(got[i], c.record.Capture); len(got[i]) == most {
					break
				}
			}
			return nil
		}
	}
	err := run.together(t.Context(), reader(0, 99), func(*reviewed) error { return nil }, reader(2, 2), reader(3, 99))
	if err != nil {
		t.Fatal(err)
	}
	all := []string{"0", "1", "2", "3", "4"}
	for i, want := range [][]string{all, nil, all[:2], all} {
		if !slices.Equal(got[i], want) {
			t.Errorf("reader %d got %v, want %v", i, got[i], want)
		}
	}
	if read != 5 {
		t.Errorf("5 captures were read %d times", read)
	}
}

// No reader may take a part of the run for the whole of it.
func TestTogetherEndsAllAtAnError(t *testing.T) {
	broken := errors.New("broken")
	whole := func(ended *error) func(*reviewed) error {
		return func(run *reviewed) error {
			for _, err := range run.captures(context.Background()) {
				if err != nil {
					*ended = err
					return err
				}
			}
			return nil
		}
	}
	for name, tc := range map[string]struct {
		fail error // of the run
		own  error // of the second reader
	}{"the run": {fail: broken}, "a reader": {own: broken}} {
		t.Run(name, func(t *testing.T) {
			read := 0
			var first, third error
			second := func(run *reviewed) error {
				for _, err := range run.captures(context.Background()) {
					if err := errors.Join(err, tc.own); err != nil {
						return err
					}
				}
				return nil
			}
			err := counted(3, &read, tc.fail).together(t.Context(), whole(&first), second, whole(&third))
			if !errors.Is(err, broken) {
				t.Errorf("error %v", err)
			}
			if first == nil || third == nil {
				t.Errorf("the others ended with %v and %v, as if they had seen all", first, third)
			}
		})
	}
}
