package refit

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/sync/errgroup"

	"shadowgap/eval"
)

// writePictures renders n captures of each world by another hand, with seeds from first on, into dir, and labels.json beside them, as
// models/reader/fit.py reads them.
func writePictures(ctx context.Context, dir string, first int64, n int) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("writing pictures: %w", err)
	}
	labels := eval.Labels{Schema: eval.SchemaVersion, Captures: make([]eval.CaptureLabel, n*len(others))}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for i := range labels.Captures {
		w, seed := &others[i%len(others)], first+int64(i/len(others))
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			c, err := w.render(ctx, seed)
			if err != nil {
				return fmt.Errorf("%s-%d: %w", w.name, seed, err)
			}
			c.Label.Capture = fmt.Sprintf("%s-%d.png", w.name, seed)
			labels.Captures[i] = c.Label
			return writePNG(filepath.Join(dir, c.Label.Capture), c.Image)
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	return eval.WriteJSON(filepath.Join(dir, "labels.json"), labels)
}

func writePNG(name string, img image.Image) error {
	f, err := os.Create(name)
	if err != nil {
		return fmt.Errorf("writing pictures: %w", err)
	}
	fast := png.Encoder{CompressionLevel: png.BestSpeed}
	err = fast.Encode(f, img)
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", name, err)
	}
	return nil
}
