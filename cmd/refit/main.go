// Command refit fits the classifier that shadowgap ships with, on rendered scenes, and writes it where the models package
// embeds it. Seeds below 100000 are its own: tests and the demo are scored on seeds from 100000 up.
//
//	go run ./models/refit -scenes 600
//
// The first half by name of the open tiles takes part too; the second half is only ever scored.
package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"math"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/disintegration/imaging"
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
	out := flag.String("out", "models/weights.json.gz", "file to write")
	tiles := flag.String("tiles", filepath.Join("..", "shared", "open-data", "river-effigy"), "folder of the open tiles (images/ and masks/); its first half by name takes part; \"\" = without")
	flag.Parse()
	if err := run(ctx, *scenes, *tiles, *out); err != nil {
		fmt.Fprintln(os.Stderr, "refit:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, scenes int, tiles, out string) error {
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
	opt := models.FitOptions{Source: fmt.Sprintf("%d rendered scenes, seeds 1 to %d, each whole and in four crops", scenes, scenes)}
	if tiles != "" {
		real, n, err := tileSamples(ctx, tiles)
		if err != nil {
			return err
		}
		all = append(all, real...)
		opt.Source += fmt.Sprintf("; the first %d real tiles by name of the open set in %s", n, filepath.Base(tiles))
	}
	for _, c := range detect.Classes {
		opt.Classes = append(opt.Classes, string(c))
	}
	m, err := models.Fit(ctx, all, opt)
	if err != nil {
		return err
	}
	b, err := m.Encode()
	if err != nil {
		return err
	}
	if err := os.WriteFile(out, b, 0o644); err != nil {
		return fmt.Errorf("writing %s: %w", out, err)
	}
	fmt.Printf("%s: %d samples %v, log loss %.3f, accuracy %.3f\n",
		m.Version, len(all), m.Provenance.Samples, m.Provenance.LogLoss, m.Provenance.Accuracy)
	return nil
}

// sample renders one scene, takes it through its own file format as a capture would be, and lays what is found in the whole
// and in four crops of it against the truth.
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
	group := fmt.Sprintf("%s-%d", kind, seed)
	samples, err := detected(ctx, group, img, c.Label)
	if err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(uint64(seed), 7))
	for range 4 {
		part, label, ok := cutTile(rng, img, c.Label)
		if !ok {
			break
		}
		more, err := detected(ctx, group, part, label)
		if err != nil {
			return nil, err
		}
		samples = append(samples, more...)
	}
	return samples, nil
}

// tileSamples lays what is found in the first half of the open tiles against their masks. The object is one thing on the
// bottom; other marks count a third, since pits and stones of the river bed are real but not labelled.
func tileSamples(ctx context.Context, dir string) ([]models.Sample, int, error) {
	entries, err := os.ReadDir(filepath.Join(dir, "images"))
	if err != nil {
		return nil, 0, fmt.Errorf("reading the open tiles (pass -tiles \"\" to do without): %w", err)
	}
	half := (len(entries) + 1) / 2
	var out []models.Sample
	for _, e := range entries[:half] {
		pic, err := detect.Read(ctx, filepath.Join(dir, "images", e.Name()), detect.Limits{})
		if err != nil {
			return nil, 0, err
		}
		box, err := eval.ReadMaskBox(ctx, filepath.Join(dir, "masks", e.Name()))
		if err != nil {
			return nil, 0, err
		}
		// passes of one minute see the same object
		group, _, _ := strings.Cut(e.Name(), "H_")
		group, _, _ = strings.Cut(group, "L_")
		for _, v := range variants {
			img, box := v(pic.Image, box)
			label := eval.CaptureLabel{Capture: e.Name(), Marks: []eval.MarkLabel{{Class: detect.BottomObject, Kind: "effigy", Highlight: &box}}}
			samples, err := detected(ctx, group[:len(group)-2], img, label)
			if err != nil {
				return nil, 0, fmt.Errorf("tile %s: %w", e.Name(), err)
			}
			for i := range samples {
				samples[i].Weight = 3
				if samples[i].Class == string(detect.Clutter) {
					samples[i].Weight = 1
				}
			}
			out = append(out, samples...)
		}
	}
	return out, half, nil
}

// variants are the ways a tile is shown to the detector: as it is, mirrored along track, and larger and smaller, so that the
// few real objects don't teach their exact sizes.
var variants = [...]func(image.Image, detect.Box) (image.Image, detect.Box){
	func(img image.Image, b detect.Box) (image.Image, detect.Box) { return img, b },
	func(img image.Image, b detect.Box) (image.Image, detect.Box) {
		b.Y = img.Bounds().Dy() - b.Y - b.H
		return imaging.FlipV(img), b
	},
	func(img image.Image, b detect.Box) (image.Image, detect.Box) { return resized(img, b, 1.3) },
	func(img image.Image, b detect.Box) (image.Image, detect.Box) { return resized(img, b, 0.75) },
}

func resized(img image.Image, b detect.Box, by float64) (image.Image, detect.Box) {
	px := func(v int) int { return int(math.Round(float64(v) * by)) }
	return imaging.Resize(img, px(img.Bounds().Dx()), 0, imaging.Linear), detect.Box{X: px(b.X), Y: px(b.Y), W: max(1, px(b.W)), H: max(1, px(b.H))}
}

func detected(ctx context.Context, group string, img image.Image, label eval.CaptureLabel) ([]models.Sample, error) {
	res, err := detect.Run(ctx, img, detect.Options{KeepClutter: true})
	if err != nil {
		return nil, err
	}
	return eval.Samples(group, label, res.Marks, eval.DefaultOptions().Gate)
}

// cutTile cuts a square of 160 to 400 pixels out of one side of the panel, on most calls around a mark: people keep such
// crops too, and they lack what a whole capture tells. Marks of which less than a third is left are dropped from the label;
// regions are kept. ok is false when no side is wide enough.
func cutTile(rng *rand.Rand, img image.Image, l eval.CaptureLabel) (image.Image, eval.CaptureLabel, bool) {
	size := 160 + rng.IntN(240)
	if l.Panel == nil || len(l.Nadir) == 0 || l.Panel.H < size {
		return nil, l, false
	}
	nadir := int(l.Nadir[len(l.Nadir)/2][1])
	lo, hi := l.Panel.X, nadir-10-size
	if rng.IntN(2) == 0 || hi <= lo {
		lo, hi = nadir+10, l.Panel.X+l.Panel.W-size
	}
	if hi <= lo {
		return nil, l, false
	}
	at := image.Pt(lo+rng.IntN(hi-lo), l.Panel.Y+rng.IntN(max(1, l.Panel.H-size)))
	if len(l.Marks) > 0 && rng.IntN(4) > 0 {
		if b := l.Marks[rng.IntN(len(l.Marks))].Highlight; b != nil && (b.X < nadir) == (lo < nadir) {
			at.X = min(max(b.X+b.W/2-size/8-rng.IntN(size*3/4), lo), hi)
			at.Y = min(max(b.Y+b.H/2-size/8-rng.IntN(size*3/4), l.Panel.Y), l.Panel.Y+l.Panel.H-size)
		}
	}
	r := image.Rectangle{Min: at, Max: at.Add(image.Pt(size, size))}
	out := eval.CaptureLabel{Capture: l.Capture, By: l.By, Humps: l.Humps}
	clip := func(b *detect.Box) *detect.Box {
		if b == nil {
			return nil
		}
		in := b.Rect().Intersect(r)
		if in.Dx()*in.Dy()*3 < b.W*b.H || in.Empty() {
			return nil
		}
		c := detect.BoxOf(in.Sub(at))
		return &c
	}
	for _, m := range l.Marks {
		m.Highlight, m.Shadow = clip(m.Highlight), clip(m.Shadow)
		if m.Highlight != nil {
			out.Marks = append(out.Marks, m)
		}
	}
	for _, g := range l.Regions {
		if b := clip(&g.Box); b != nil {
			out.Regions = append(out.Regions, detect.Region{Kind: g.Kind, Box: *b})
		}
	}
	return imaging.Crop(img, r.Add(img.Bounds().Min)), out, true
}
