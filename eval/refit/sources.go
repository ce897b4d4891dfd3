package refit

import (
	"bytes"
	"context"
	"fmt"
	"image"
	_ "image/jpeg" // what captures are stored as
	_ "image/png"
	"math"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"strings"

	"github.com/disintegration/imaging"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/bedworld"
	"shadowgap/eval/groundworld"
	"shadowgap/eval/patchworld"
	"shadowgap/eval/placeworld"
	"shadowgap/eval/pulseworld"
	"shadowgap/eval/rayworld"
	"shadowgap/eval/roughworld"
	"shadowgap/eval/scene"
	"shadowgap/eval/screenworld"
	"shadowgap/eval/setin"
	"shadowgap/eval/shoalworld"
	"shadowgap/eval/surveyworld"
	"shadowgap/eval/trialworld"
	"shadowgap/eval/worksworld"
	"shadowgap/models/fit"
)

// realWeight is how much more a real capture's candidate counts than a rendered one's: there are few, and they are what counts.
const realWeight = 4

// What is no thing on a real bottom counts in part: people label what they are sure of, and leave much that is real. Fitted without river
// line 3, and without survey line a and the harbour, the odds of what is found there add up to 269 and 140 real things at full weight, to
// 292 and 144 at half, to 310 and 147 at three tenths and to 321 and 146 at a fifth; 296 and 183 are.
const realClutter = 0.5

// What the effigy's tiles count in a fit. Their bed has pits and stones that are real but not labelled, as the others' have: counting a
// quarter, what is there and not the effigy teaches to take pits for stones, on another river's bed too (average precision of river line 3,
// left out: 0.860; at a half 0.866, at full weight 0.877, where the odds of what is real add up to 243 of 299 and no longer to 268).
const (
	tileWeight  = 3
	tileClutter = realClutter
)

// What groups of real pictures are called begins so: the open ones, and the effigy's tiles.
const (
	realGroup      = "real-"
	realTilesGroup = "tile-"
)

// isReal tells whether a group shows real bottom.
func isReal(group string) bool {
	return strings.HasPrefix(group, realGroup) || strings.HasPrefix(group, realTilesGroup)
}

// origin is where a capture comes from: captures of one group show the same ground, and source is the kind of its truth.
type origin struct{ group, source string }

// Kinds of truth.
const (
	sourceRendered = "rendered"
	sourceSetIn    = "set-in"   // rendered things in a real picture
	sourceLabelled = "labelled" // a real picture with a person's labels
	sourceTile     = "tile"     // one of the effigy's, with its mask
	sourceOther    = "other"    // rendered by another hand than eval/scene's
)

// rendered is a scene of the wide world, or, every fourth time, of the kinds that the demo shows, taken through its own file
// format; and four crops of it, since people keep crops too, and they lack what a whole capture tells.
func rendered(seed int64, i int) source {
	return func(ctx context.Context, l *looker) ([]fit.Sample, error) {
		spec, group := scene.Wide(seed), fmt.Sprintf("wide-%d", seed)
		if i%4 == 3 {
			kinds := scene.Kinds()
			kind := kinds[i/4%len(kinds)]
			spec, group = scene.Random(seed, kind), fmt.Sprintf("%s-%d", kind, seed)
		}
		c, err := scene.Render(ctx, spec)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", group, err)
		}
		var b bytes.Buffer
		if err := c.Encode(&b); err != nil {
			return nil, fmt.Errorf("%s: %w", group, err)
		}
		img, _, err := image.Decode(&b)
		if err != nil {
			return nil, fmt.Errorf("%s: decoding: %w", group, err)
		}
		samples, err := detected(ctx, l, origin{group, sourceRendered}, img, c.Label, detect.Options{})
		if err != nil {
			return nil, err
		}
		rng := rand.New(rand.NewPCG(uint64(seed), 7))
		if part, label, ok := cutTile(rng, img, c.Label); ok && i%2 == 0 {
			var opt detect.Options
			if l.views != nil {
				opt.Side = label.Side // one that runs the wrong way would teach the networks that shadows come before their highlights
			}
			more, err := detected(ctx, l, origin{group, sourceRendered}, part, label, opt)
			if err != nil {
				return nil, err
			}
			samples = append(samples, more...)
		}
		return samples, nil
	}
}

// others are worlds by hands that knew none of the others: what is fitted on one renderer alone learns its habits.
var others = [...]struct {
	name   string
	render func(ctx context.Context, seed int64) (capture, error)
}{
	{"ray", drawnBy(rayworld.Render)},
	{"patch", drawnBy(patchworld.Render)},
	{"survey", drawnBy(surveyworld.Render)},
	{"pulse", drawnBy(pulseworld.Render)},
	{"place", drawnBy(placeworld.Render)},
	{"trial", drawnBy(trialworld.Render)},
	{"screen", drawnBy(screenworld.Render)},
	{"ground", drawnBy(groundworld.Render)},
	{"shoal", drawnBy(shoalworld.Render)},
	{"works", drawnBy(worksworld.Render)},
	{"rough", drawnBy(roughworld.Render)},
	{"bed", drawnBy(bedworld.Render)},
}

// capture is what each of the others draws, under a name of its own.
type capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

func drawnBy[C ~struct {
	Image image.Image
	Label eval.CaptureLabel
}](render func(context.Context, int64) (*C, error)) func(context.Context, int64) (capture, error) {
	return func(ctx context.Context, seed int64) (capture, error) {
		c, err := render(ctx, seed)
		if err != nil {
			return capture{}, err
		}
		return capture(*c), nil
	}
}

// elsewhere is a capture of one of the others.
func elsewhere(world int, seed int64) source {
	return func(ctx context.Context, l *looker) ([]fit.Sample, error) {
		w := &others[world]
		group := fmt.Sprintf("%s-%d", w.name, seed)
		c, err := w.render(ctx, seed)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", group, err)
		}
		var opt detect.Options
		if len(c.Label.Nadir) == 0 {
			opt.Side = c.Label.Side
		}
		return detected(ctx, l, origin{group, sourceOther}, c.Image, c.Label, opt)
	}
}

// setInto is a real picture of half A, changed in size and place, with rendered things set in. It belongs to the group of the picture
// itself, since their bottoms are the same.
func setInto(b *setin.Bottoms, seed int64) source {
	return func(ctx context.Context, l *looker) ([]fit.Sample, error) {
		c, err := b.Render(ctx, seed)
		if err != nil {
			return nil, err
		}
		var opt detect.Options
		if len(c.Label.Nadir) == 0 {
			opt.Side = c.Label.Side
		}
		group, clutter := realGroup+path.Base(c.Label.Capture), realClutter
		if !c.Whole { // its own pits and stones are real but not labelled
			group, clutter = tileGroup(path.Base(c.Label.Capture)), tileClutter
		}
		samples, err := detected(ctx, l, origin{group, sourceSetIn}, c.Image, c.Label, opt)
		return weighted(samples, 1, clutter), err
	}
}

// openSources are the labelled pictures of half A, and the first half of the effigy tiles, each shown in several ways.
func openSources(s Settings) ([]source, error) {
	labels, err := eval.FitLabels(s.Labels)
	if err != nil {
		return nil, err
	}
	var out []source
	for _, l := range labels.Captures {
		for k := range variants {
			out = append(out, labelled(filepath.Join(s.Open, filepath.FromSlash(l.Capture)), l, k))
		}
	}
	tiles := filepath.Join(s.Open, "river-effigy")
	entries, err := os.ReadDir(filepath.Join(tiles, "images"))
	if err != nil {
		return nil, fmt.Errorf("reading the open tiles: %w", err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	for _, name := range eval.FitTiles(names) {
		for k := range variants {
			out = append(out, tile(tiles, name, k))
		}
	}
	return out, nil
}

func labelled(file string, label eval.CaptureLabel, k int) source {
	return func(ctx context.Context, lk *looker) ([]fit.Sample, error) {
		pic, err := detect.Read(ctx, file, detect.Limits{})
		if err != nil {
			return nil, err
		}
		img, shown := variants[k](pic.Image, label)
		var opt detect.Options
		if len(label.Nadir) == 0 {
			opt.Side = label.Side
		}
		samples, err := detected(ctx, lk, origin{realGroup + path.Base(label.Capture), sourceLabelled}, img, shown, opt)
		return weighted(samples, realWeight, realWeight*realClutter), err
	}
}

// tile lays what is found in an open tile against its mask. The object is one thing on the bottom.
func tile(dir, name string, k int) source {
	return func(ctx context.Context, l *looker) ([]fit.Sample, error) {
		pic, err := detect.Read(ctx, filepath.Join(dir, "images", name), detect.Limits{})
		if err != nil {
			return nil, err
		}
		box, err := eval.ReadMaskBox(ctx, filepath.Join(dir, "masks", name))
		if err != nil {
			return nil, err
		}
		label := eval.CaptureLabel{Capture: name, Marks: []eval.MarkLabel{{Class: detect.BottomObject, Kind: "effigy", Highlight: &box}}}
		img, label := variants[k](pic.Image, label)
		samples, err := detected(ctx, l, origin{tileGroup(name), sourceTile}, img, label, detect.Options{Side: eval.TileSide(name)})
		return weighted(samples, tileWeight, tileWeight*tileClutter), err
	}
}

// tileGroup names the tiles that see the same object: passes of one minute.
func tileGroup(name string) string {
	group, _, _ := strings.Cut(name, "H_")
	group, _, _ = strings.Cut(group, "L_")
	return realTilesGroup + group[:len(group)-2]
}

func weighted(samples []fit.Sample, real, clutter float64) []fit.Sample {
	for i := range samples {
		samples[i].Weight = real
		if samples[i].Class == string(detect.Clutter) {
			samples[i].Weight = clutter
		}
	}
	return samples
}

// variants are the ways a real picture is shown to the detector: as it is, mirrored along track, larger and smaller, so that few real
// objects don't teach their exact sizes.
var variants = [...]func(image.Image, eval.CaptureLabel) (image.Image, eval.CaptureLabel){
	func(img image.Image, l eval.CaptureLabel) (image.Image, eval.CaptureLabel) { return img, l },
	func(img image.Image, l eval.CaptureLabel) (image.Image, eval.CaptureLabel) {
		high := img.Bounds().Dy()
		return imaging.FlipV(img), moved(l, func(b detect.Box) detect.Box { b.Y = high - b.Y - b.H; return b })
	},
	func(img image.Image, l eval.CaptureLabel) (image.Image, eval.CaptureLabel) {
		return resized(img, l, 1.35)
	},
	func(img image.Image, l eval.CaptureLabel) (image.Image, eval.CaptureLabel) {
		return resized(img, l, 0.75)
	},
}

func resized(img image.Image, l eval.CaptureLabel, by float64) (image.Image, eval.CaptureLabel) {
	px := func(v int) int { return int(math.Round(float64(v) * by)) }
	return imaging.Resize(img, px(img.Bounds().Dx()), 0, imaging.Linear),
		moved(l, func(b detect.Box) detect.Box {
			return detect.Box{X: px(b.X), Y: px(b.Y), W: max(1, px(b.W)), H: max(1, px(b.H))}
		})
}

// moved is a label with every box of its marks and regions moved.
func moved(l eval.CaptureLabel, move func(detect.Box) detect.Box) eval.CaptureLabel {
	box := func(b *detect.Box) *detect.Box {
		if b == nil {
			return nil
		}
		m := move(*b)
		return &m
	}
	out := eval.CaptureLabel{Capture: l.Capture, By: l.By}
	for _, m := range l.Marks {
		m.Highlight, m.Shadow = box(m.Highlight), box(m.Shadow)
		out.Marks = append(out.Marks, m)
	}
	for _, g := range l.Regions {
		out.Regions = append(out.Regions, detect.Region{Kind: g.Kind, Box: move(g.Box)})
	}
	return out
}

func detected(
	ctx context.Context, l *looker, from origin, img image.Image, label eval.CaptureLabel, opt detect.Options,
) ([]fit.Sample, error) {
	d := l.at(from)
	if d == nil {
		return nil, nil
	}
	// What is taken for its own negative teaches nothing about things.
	if from.source == sourceRendered || from.source == sourceOther {
		opt.Strong = label.Strong()
	}
	if l.paths != nil {
		if len(label.Nadir) == 0 {
			return nil, nil
		}
		paths, err := d.Paths(ctx, img, opt, besideReach)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", from.group, l.blamed(d, err))
		}
		return nil, l.paths.writePath(from.group, paths, label)
	}
	if l.views != nil {
		views, err := d.Views(ctx, img, opt)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", from.group, l.blamed(d, err))
		}
		return nil, l.views.writeViews(from, views, label)
	}
	opt.KeepClutter = true
	res, err := d.Run(ctx, img, opt)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", from.group, l.blamed(d, err))
	}
	return eval.Samples(from.group, label, res.Marks, eval.DefaultGate()), nil
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
	out := eval.CaptureLabel{Capture: l.Capture, By: l.By, Humps: l.Humps, DarkIsStrong: l.DarkIsStrong, Side: detect.Starboard}
	if lo < nadir {
		out.Side = detect.Port
	}
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
