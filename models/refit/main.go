// Command refit fits the classifier that shadowgap ships with, on rendered scenes, and writes it where the models package
// embeds it. Seeds below 100000 are its own: tests and the demo are scored on seeds from 100000 up.
//
//	go run ./models/refit -scenes 600
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"os"
	"os/signal"
	"runtime"

	"golang.org/x/sync/errgroup"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/scene"
	"shadowgap/models"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	scenes := flag.Int("scenes", 600, "scenes to render")
	out := flag.String("out", "models/weights.json", "file to write")
	flag.Parse()
	if err := run(ctx, *scenes, *out); err != nil {
		fmt.Fprintln(os.Stderr, "refit:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, scenes int, out string) error {
	kinds := scene.Kinds()
	found := make([][]models.Sample, scenes)
	g, each := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for i := range scenes {
		g.Go(func() error {
			s, err := sample(each, int64(i+1), kinds[i%len(kinds)])
			if err != nil {
				return fmt.Errorf("scene %d: %w", i+1, err)
			}
			found[i] = s
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	var all []models.Sample
	for _, s := range found {
		all = append(all, s...)
	}
	opt := models.FitOptions{Source: fmt.Sprintf("%d rendered scenes, seeds 1 to %d", scenes, scenes)}
	for _, c := range detect.Classes {
		opt.Classes = append(opt.Classes, string(c))
	}
	m, err := models.Fit(ctx, all, opt)
	if err != nil {
		return err
	}
	b, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return fmt.Errorf("encoding the model: %w", err)
	}
	if err := os.WriteFile(out, append(b, '\n'), 0o644); err != nil {
		return fmt.Errorf("writing %s: %w", out, err)
	}
	fmt.Printf("%s: %d samples %v, log loss %.3f, accuracy %.3f\n",
		m.Version, len(all), m.Provenance.Samples, m.Provenance.LogLoss, m.Provenance.Accuracy)
	return nil
}

// sample renders one scene, takes it through its own file format as a capture would be, and lays what is found against
// the truth.
func sample(ctx context.Context, seed int64, kind scene.Kind) ([]models.Sample, error) {
	c, err := scene.Render(ctx, scene.Random(seed, kind))
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := c.Encode(&b); err != nil {
		return nil, err
	}
	img, _, err := image.Decode(&b)
	if err != nil {
		return nil, fmt.Errorf("decoding: %w", err)
	}
	res, err := detect.Run(ctx, img, detect.Options{KeepClutter: true})
	if err != nil {
		return nil, err
	}
	return eval.Samples(fmt.Sprintf("%s-%d", kind, seed), c.Label, res.Marks, eval.DefaultGate)
}
