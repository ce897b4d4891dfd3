package main

import (
	"context"
	"errors"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/models/network"
)

// halfOfLabels reads a labels file, or one half of it. Labels that are wrong are the user's to mend.
func halfOfLabels(file, half string) (*eval.Labels, error) {
	labels, err := eval.Load(file)
	if err != nil {
		return nil, usage("%v", err)
	}
	if half == "" {
		return labels, nil
	}
	in, err := eval.Half(filepath.Join(filepath.Dir(file), "halves.json"), half)
	if err != nil {
		return nil, usage("--half: %v", err)
	}
	labels.Captures = slices.DeleteFunc(labels.Captures, func(l eval.CaptureLabel) bool { return !in(l.Capture) })
	return labels, nil
}

// shown reads every labelled whole swath as it is and in other ways, and tells what changes.
func (s scoreCmd) shown(con *console) error {
	labels, err := halfOfLabels(s.Labels, s.Half)
	if err != nil {
		return err
	}
	if info, err := os.Stat(s.Shown); err != nil || !info.IsDir() {
		return usage("--shown %s: no such folder", s.Shown)
	}
	if err := network.Start(); err != nil {
		return err
	}
	swaths := labels.WholeSwaths()
	if len(swaths) == 0 {
		return usage("%s labels no whole swath: nadir and first returns of both sides", s.Labels)
	}
	ways := eval.Ways()
	list := make([]eval.ShownPicture, len(swaths))
	jobs := make(chan int)
	g, ctx := errgroup.WithContext(con.ctx)
	g.Go(func() error {
		defer close(jobs)
		for i := range swaths {
			select {
			case jobs <- i:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	for range min(runtime.NumCPU(), len(swaths)) {
		g.Go(func() (err error) {
			var d detect.Detector
			defer func() { err = errors.Join(err, d.Close()) }()
			look := func(ctx context.Context, img image.Image) (*detect.Result, error) {
				return d.Run(ctx, img, detect.Options{})
			}
			for i := range jobs {
				pic, err := detect.Read(ctx, filepath.Join(s.Shown, filepath.FromSlash(swaths[i].Capture)), detect.Limits{})
				if err != nil {
					return err
				}
				if list[i], err = eval.LookAtAll(ctx, pic.Image, swaths[i].Panel, ways, look); err != nil {
					return fmt.Errorf("%s: %w", swaths[i].Capture, err)
				}
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return fmt.Errorf("showing swaths differently: %w", err)
	}
	r := eval.Shown(list, ways, eval.DefaultOptions())
	if err := eval.WriteShownText(con.out, r); err != nil {
		return err
	}
	return s.write(r)
}
