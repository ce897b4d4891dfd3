package detect_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/disintegration/imaging"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/scene"
	"shadowgap/features"
)

func greyPicture(w, h int, at func(x, y int) uint8) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.Pix[y*img.Stride+x] = at(x, y)
		}
	}
	return img
}

// fur is what a close photograph of an animal's coat looks like: short slanting strokes over soft light and shade.
func fur(w, h int) *image.RGBA {
	rng := rand.New(rand.NewPCG(3, 3))
	tone := make([]float64, w*h)
	for i := range tone {
		x, y := float64(i%w), float64(i/w)
		tone[i] = 0.5 + 0.25*math.Sin(x/97+math.Sin(y/61)) + 0.2*math.Cos(y/83-math.Cos(x/71))
	}
	for range w * h / 12 {
		x, y, v, lean := float64(rng.IntN(w)), float64(rng.IntN(h)), 0.3*rng.NormFloat64(), 0.6+0.5*rng.NormFloat64()
		for n := 4 + rng.IntN(14); n > 0; n-- {
			if xi, yi := int(x), int(y); xi >= 0 && xi < w && yi >= 0 && yi < h {
				tone[yi*w+xi] += v / 2
			}
			x, y = x+lean, y+1
		}
	}
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for i, v := range tone {
		v = math.Max(0, math.Min(1, v))
		img.SetRGBA(i%w, i/w, color.RGBA{uint8(230 * v), uint8(180 * v), uint8(130 * v), 255})
	}
	return img
}

// fresh is what a detector that has seen no other picture makes of one.
func fresh(ctx context.Context, img image.Image, opt detect.Options) (*detect.Result, error) {
	var d detect.Detector
	res, err := d.Run(ctx, img, opt)
	return res, errors.Join(err, d.Close())
}

func TestRunWithoutSideScan(t *testing.T) {
	for name, img := range map[string]image.Image{
		"one pixel":         greyPicture(1, 1, func(_, _ int) uint8 { return 90 }),
		"one row":           greyPicture(20000, 1, func(x, _ int) uint8 { return uint8(x) }),
		"one column":        greyPicture(1, 20000, func(_, y int) uint8 { return uint8(y) }),
		"all black":         greyPicture(800, 600, func(_, _ int) uint8 { return 0 }),
		"all white":         greyPicture(800, 600, func(_, _ int) uint8 { return 255 }),
		"all one colour":    greyPicture(800, 600, func(_, _ int) uint8 { return 77 }),
		"a ramp":            greyPicture(800, 600, func(x, _ int) uint8 { return uint8(x * 255 / 800) }),
		"a chequered floor": greyPicture(800, 600, func(x, y int) uint8 { return uint8((x/40 + y/40) % 2 * 200) }),
		"a photograph":      fur(800, 600),
		"empty":             image.NewRGBA(image.Rect(0, 0, 0, 0)),
	} {
		t.Run(name, func(t *testing.T) {
			res, err := fresh(context.Background(), img, detect.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if res.Status != detect.StatusNoPanel || res.Why == "" {
				t.Errorf("status %q, why %q; want %q with a reason", res.Status, res.Why, detect.StatusNoPanel)
			}
			if len(res.Marks)+len(res.Panels)+len(res.Holds) > 0 || res.Interest != 0 {
				t.Errorf("%d marks, %d panels, interest %.2f in a picture without side-scan", len(res.Marks), len(res.Panels), res.Interest)
			}
		})
	}
}

// Snow is as much like a crop of bare bottom as anything: it may be read as one, but nothing lies on it.
func TestRunOnSnow(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	img := greyPicture(800, 600, func(_, _ int) uint8 { return uint8(rng.IntN(256)) })
	res, err := fresh(context.Background(), img, detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Marks) > 0 {
		t.Errorf("%d marks in snow", len(res.Marks))
	}
	checkResult(t, res, img.Bounds())
}

func TestRunRefuses(t *testing.T) {
	img := greyPicture(64, 64, func(x, y int) uint8 { return uint8(x * y) })
	for _, r := range []float64{-1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, err := fresh(context.Background(), img, detect.Options{RangeM: r}); err == nil {
			t.Errorf("range %v was taken", r)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	c := render(t, twoSided())
	if _, err := fresh(ctx, c.Image, detect.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v from an ended context, want %v", err, context.Canceled)
	}
}

func render(t testing.TB, s scene.Spec) *scene.Capture {
	t.Helper()
	c, err := scene.Render(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// twoSided is a clean capture of a flat bottom: both sides, exact gain, hardly any speckle, nothing drawn over it.
func twoSided() scene.Spec {
	return scene.Spec{
		Seed: 1, ScreenW: 1000, ScreenH: 360, PortPx: 500, StarboardPx: 500, Rows: 360, Pings: 360,
		RangeM: 30, AltitudeM: 6, SpeedMps: 1, PingHz: 20,
		Bottom:  scene.Bottom{Reflectivity: 1},
		Sonar:   scene.Sonar{BeamDeg: 0.3, Looks: 12, NoiseDB: -40, FillDB: -32, GainAngle: 1, GainAbsorbed: 1},
		Flaws:   scene.Flaws{TransmitPx: 4, TransmitGain: 0.9},
		Display: scene.Display{Level: 0.3, Palette: "grey"},
	}
}

// markOn returns the mark whose highlight lies on a label's.
func markOn(t *testing.T, marks []detect.MarkRecord, l eval.MarkLabel) detect.MarkRecord {
	t.Helper()
	for _, m := range marks {
		if m.Highlight != nil && m.Highlight.Rect().Overlaps(l.Highlight.Rect()) {
			return m
		}
	}
	t.Fatalf("no mark on the %s at %+v among %d", l.Kind, *l.Highlight, len(marks))
	return detect.MarkRecord{}
}

// Heights from shadows over a flat bottom, z = h (1 - s_t / s_e), against the scene they were rendered from: exact by similar
// triangles, so only the edges' own errors are left. Three stated standard deviations hold them, and a tenth of the truth does.
func TestHeightsOfARenderedScene(t *testing.T) {
	s := twoSided()
	const rockM, fishUnderM, fishThickM = 1.2, 1.0, 0.2
	s.Structures = []scene.Structure{{Shape: "crib", X: 13, Y: -3, HalfLongM: 0.4, HalfShortM: 0.8, HeightM: rockM, Strength: 1}}
	s.Fish = []scene.Fish{{X: -14, Y: 3, OffBottomM: fishUnderM, LengthM: 0.5, WidthM: 0.9, ThickM: fishThickM, Strength: 30}}
	c := render(t, s)
	res, err := fresh(context.Background(), c.Image, detect.Options{RangeM: s.RangeM, RowSpacingM: s.RowM()})
	if err != nil {
		t.Fatal(err)
	}
	if res.Status != detect.StatusRead || len(res.Panels) != 1 {
		t.Fatalf("status %s (%s), %d panels", res.Status, res.Why, len(res.Panels))
	}
	for _, a := range res.Panels[0].AltitudeM {
		if math.Abs(a[1]-s.AltitudeM) > 3*a[2] {
			t.Fatalf("row %.0f: altitude %.3f ± %.3f m, want %g m", a[0], a[1], a[2], s.AltitudeM)
		}
	}
	if len(res.Panels[0].Humps) > 0 {
		t.Errorf("humps on a flat bottom: %+v", res.Panels[0].Humps)
	}
	if len(c.Label.Marks) != 2 {
		t.Fatalf("%d labels, want 2", len(c.Label.Marks))
	}
	for _, l := range c.Label.Marks {
		m := markOn(t, res.Marks, l)
		if m.Side != l.Side {
			t.Errorf("%s lies to %s, want %s", l.Kind, m.Side, l.Side)
		}
		if l.Kind != "fish" {
			if m.HeightM == nil {
				t.Fatalf("no height of the %s: %+v", l.Kind, m)
			}
			checkHeight(t, "height of what stands on the bottom", m.HeightM, rockM)
			if m.Odds[detect.SuspendedTarget] > 0.5 {
				t.Errorf("what stands on the bottom is called suspended: %v", m.Odds)
			}
			continue
		}
		if m.Class != detect.SuspendedTarget {
			t.Fatalf("the fish is called %s: %v", m.Class, m.Odds)
		}
		if m.OffBottomM == nil || m.HeightM == nil || m.GapPx == nil {
			t.Fatalf("not measured: %+v", m)
		}
		checkHeight(t, "fish's underside", m.OffBottomM, fishUnderM)
		checkHeight(t, "fish's top", m.HeightM, fishUnderM+fishThickM)
		if math.Abs(m.GapPx.Value-*l.GapPx) > 3*m.GapPx.SD+1 {
			t.Errorf("gap %.1f ± %.1f px, want %.1f", m.GapPx.Value, m.GapPx.SD, *l.GapPx)
		}
		checkLength(t, "fish's width along track", m.LengthM, 0.9)
	}
}

// checkLength holds a length in metres to a truth: within three of its stated errors, which are no more than a tenth.
func checkLength(t *testing.T, what string, m *features.Measured, want float64) {
	t.Helper()
	checkStated(t, what, m, want, 0.1)
}

// checkStated holds a length to a truth: within three of its stated errors, which are no more than a part of it.
func checkStated(t *testing.T, what string, m *features.Measured, want, most float64) {
	t.Helper()
	t.Logf("%s: %.3f ± %.3f m, truth %.3f m", what, m.Value, m.SD, want)
	if !(m.SD > 0) || m.SD > most*want {
		t.Errorf("%s: stated error %.3f m", what, m.SD)
	}
	if math.Abs(m.Value-want) > 3*m.SD {
		t.Errorf("%s: %.3f ± %.3f m, want %.3f m", what, m.Value, m.SD, want)
	}
}

// checkHeight holds a height to a tenth of the truth. Its stated error may be larger: a picture doesn't tell that this bottom is flat and
// these edges are sharp, and an error that holds on bottoms that slope is too large on one that doesn't.
func checkHeight(t *testing.T, what string, m *features.Measured, want float64) {
	t.Helper()
	checkStated(t, what, m, want, 0.2)
	if math.Abs(m.Value-want) > 0.1*want {
		t.Errorf("%s: %.3f m, want %.3f m within a tenth", what, m.Value, want)
	}
}

// checkResult looks at what must hold of any result.
func checkResult(t *testing.T, res *detect.Result, b image.Rectangle) {
	t.Helper()
	in := image.Rect(0, 0, b.Dx(), b.Dy())
	seen := map[string]bool{}
	for _, m := range res.Marks {
		if seen[m.Mark] || m.Mark == "" {
			t.Errorf("mark id %q is not unique", m.Mark)
		}
		seen[m.Mark] = true
		checkMark(t, m, in)
		if m.Panel < 0 || m.Panel >= len(res.Panels) {
			t.Errorf("mark of panel %d of %d", m.Panel, len(res.Panels))
		}
	}
	for _, p := range res.Panels {
		checkBox(t, "panel", &p.Box, in)
	}
	for _, h := range res.Holds {
		for _, id := range h.Marks {
			if !seen[id] {
				t.Errorf("hold %s names mark %q, which isn't there", h.ID, id)
			}
		}
	}
	if !(res.Interest >= 0 && res.Interest <= 1) {
		t.Errorf("interest %v", res.Interest)
	}
}

// checkMark looks at what must hold of any mark of a picture.
func checkMark(t *testing.T, m detect.MarkRecord, in image.Rectangle) {
	t.Helper()
	checkBox(t, "mark", &m.Box, in)
	checkBox(t, "highlight", m.Highlight, in)
	checkBox(t, "shadow", m.Shadow, in)
	sum := 0.0
	for _, p := range m.Odds {
		sum += p
	}
	if math.Abs(sum-1) > 5e-4 { // four odds of four decimals
		t.Errorf("odds %v sum to %.5f", m.Odds, sum)
	}
	if m.Highlight == nil && m.Shadow == nil || len(m.Reasons) == 0 || (m.Side != detect.Port && m.Side != detect.Starboard) {
		t.Errorf("mark without highlight and shadow, reasons or side: %+v", m)
	}
}

// checkBox looks whether a box, where there is one, lies in a picture.
func checkBox(t *testing.T, what string, a *detect.Box, in image.Rectangle) {
	t.Helper()
	if a != nil && (a.W <= 0 || a.H <= 0 || !a.Rect().In(in)) {
		t.Errorf("%s %+v lies outside the picture of %v", what, *a, in)
	}
}

// Every kind of capture gives a result that hangs together, the same one each time, and metres only where the range is known.
func TestRunResultsHangTogether(t *testing.T) {
	for i, kind := range scene.Kinds() {
		if kind == scene.KindMixed && testing.Short() {
			continue
		}
		c := render(t, scene.Random(100900+int64(i), kind))
		for _, rangeM := range []float64{0, c.Label.RangeM} {
			opt := detect.Options{RangeM: rangeM, KeepClutter: true}
			res, err := fresh(context.Background(), c.Image, opt)
			if err != nil {
				t.Fatal(err)
			}
			checkResult(t, res, c.Image.Bounds())
			again, err := fresh(context.Background(), c.Image, opt)
			if err != nil {
				t.Fatal(err)
			}
			if len(again.Marks) != len(res.Marks) {
				t.Fatalf("%s: %d marks, then %d", kind, len(res.Marks), len(again.Marks))
			}
			for j, m := range res.Marks {
				if again.Marks[j].Mark != m.Mark || again.Marks[j].Class != m.Class {
					t.Errorf("%s: mark %d is %s %s, then %s %s", kind, j, m.Mark, m.Class, again.Marks[j].Mark, again.Marks[j].Class)
				}
				if rangeM == 0 && (m.SlantM != nil || m.HeightM != nil || m.GapM != nil || m.GroundM != nil) {
					t.Errorf("%s: metres without a range: %+v", kind, m)
				}
			}
		}
	}
}

// A detector that has read other pictures, larger, smaller and none, finds what a fresh one does: nothing of what it keeps shows.
func TestDetectorForgetsEarlierPictures(t *testing.T) {
	crop := func(c *scene.Capture) image.Image {
		b := c.Image.Bounds()
		return c.Image.SubImage(image.Rect(b.Min.X+b.Dx()*2/3, b.Min.Y, b.Max.X, b.Min.Y+b.Dy()/2))
	}
	a, b := render(t, twoSided()), render(t, scene.Random(100903, scene.KindRockHump))
	pictures := []image.Image{
		a.Image, b.Image, crop(b), a.Image, fur(300, 200), crop(a), greyPicture(60, 60, func(x, y int) uint8 { return uint8(x * y) }), b.Image,
	}
	var d detect.Detector
	for i, img := range pictures {
		opt := detect.Options{KeepClutter: i%2 == 0}
		want, err := fresh(t.Context(), img, opt)
		if err != nil {
			t.Fatal(err)
		}
		got, err := d.Run(t.Context(), img, opt)
		if err != nil {
			t.Fatal(err)
		}
		w, g := asJSON(t, want), asJSON(t, got)
		if !bytes.Equal(w, g) {
			t.Errorf("picture %d (%v): a used detector finds %d marks (%d bytes), a fresh one %d (%d bytes)",
				i, img.Bounds(), len(got.Marks), len(g), len(want.Marks), len(w))
		}
	}
}

func asJSON(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A crop without nadir reads the same from left to right as its mirror image does from right to left.
func TestCropReadsTheSameMirrored(t *testing.T) {
	s := twoSided()
	// the grain of a real bottom: without water in view it is all that tells a crop from any other grey picture
	s.Sonar.Looks, s.Bottom.PatchDB, s.Bottom.PatchM, s.Bottom.Grit = 2, 1.2, 2, 0.002
	s.Rocks = []scene.Rock{{X: 13, HalfLongM: 0.8, HalfShortM: 0.5, HeightM: 1, AngleDeg: 80, Uneven: 0.15, Strength: 3}}
	c := render(t, s)
	box := c.Label.Marks[0].Highlight
	b := image.Rect(box.X-60, box.Y-100, box.X+180, box.Y+140).Intersect(c.Image.Bounds())
	part := image.NewNRGBA(image.Rect(0, 0, b.Dx(), b.Dy()))
	draw.Draw(part, part.Rect, c.Image, b.Min, draw.Src)
	for _, side := range []detect.Side{"", detect.Starboard} {
		other := map[detect.Side]detect.Side{"": "", detect.Starboard: detect.Port}[side]
		right, err := fresh(t.Context(), part, detect.Options{Side: side})
		if err != nil {
			t.Fatal(err)
		}
		left, err := fresh(t.Context(), imaging.FlipH(part), detect.Options{Side: other})
		if err != nil {
			t.Fatal(err)
		}
		r, l := markOn(t, right.Marks, moved(c.Label.Marks[0], b.Min)), detect.MarkRecord{}
		for _, m := range left.Marks {
			if m.Shadow != nil && abs(m.Box.X+m.Box.W+r.Box.X-b.Dx()) <= 6 && abs(m.Box.Y-r.Box.Y) <= 6 {
				l = m
			}
		}
		if r.Side != detect.Starboard || l.Side != detect.Port {
			t.Errorf("told %q: side %q, mirrored %q", side, r.Side, l.Side)
		}
	}
}

func moved(l eval.MarkLabel, by image.Point) eval.MarkLabel {
	b := *l.Highlight
	b.X, b.Y = b.X-by.X, b.Y-by.Y
	l.Highlight = &b
	return l
}

func abs(v int) int { return max(v, -v) }

// A picture whose bounds don't begin at 0, 0 gives the same boxes.
func TestRunIgnoresTheBoundsOrigin(t *testing.T) {
	s := twoSided()
	s.Structures = []scene.Structure{{Shape: "crib", X: 13, HalfLongM: 0.4, HalfShortM: 0.8, HeightM: 1, Strength: 1}}
	c := render(t, s)
	moved := *c.Image
	moved.Rect = moved.Rect.Add(image.Pt(37, -11))
	a, err := fresh(context.Background(), c.Image, detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := fresh(context.Background(), &moved, detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Marks) == 0 || len(a.Marks) != len(b.Marks) {
		t.Fatalf("%d marks, moved %d", len(a.Marks), len(b.Marks))
	}
	for i := range a.Marks {
		if a.Marks[i].Box != b.Marks[i].Box {
			t.Errorf("box %+v, moved %+v", a.Marks[i].Box, b.Marks[i].Box)
		}
	}
}

// Any small picture, told anything, gives a result or an error, and a result that hangs together.
func FuzzRun(f *testing.F) {
	f.Add(uint8(96), uint8(80), uint8(0), 0.0, []byte{0, 255, 3, 9})
	f.Add(uint8(1), uint8(1), uint8(1), 30.0, []byte{})
	f.Add(uint8(128), uint8(128), uint8(2), 1e-9, bytes.Repeat([]byte{9, 9, 200, 10, 60, 80, 70, 90}, 16))
	f.Add(uint8(200), uint8(64), uint8(7), 1e300, []byte("speckle"))
	f.Fuzz(func(t *testing.T, w, h, flags uint8, rangeM float64, row []byte) {
		if w == 0 || h == 0 {
			return
		}
		rng := rand.New(rand.NewPCG(uint64(w), uint64(h)))
		img := greyPicture(int(w), int(h), func(x, y int) uint8 {
			if len(row) == 0 {
				return uint8(rng.IntN(256))
			}
			return uint8(float64(row[x*len(row)/int(w)]) * (0.5 + 0.5*rng.Float64()))
		})
		opt := detect.Options{RangeM: rangeM, KeepClutter: flags&1 != 0, SlantCorrected: flags&2 != 0, NewestAtBottom: flags&4 != 0}
		opt.AskClutter = flags&16 != 0
		if flags&8 != 0 {
			opt.Side = detect.Port
		}
		res, err := fresh(context.Background(), img, opt)
		if err != nil {
			return
		}
		checkResult(t, res, img.Bounds())
	})
}

// BenchmarkRun sets the cost of detection in a capture of 1920 × 1080 against what Go's own decoder needs for the same PNG.
func BenchmarkRun(b *testing.B) {
	var data []byte
	for seed := int64(100950); data == nil; seed++ {
		s := scene.Random(seed, scene.KindMixed)
		if s.ScreenW != 1920 || s.Output.Scale != 0 && s.Output.Scale != 1 || s.Output.CropW != 0 || s.Output.Photo {
			continue
		}
		c := render(b, s)
		var out bytes.Buffer
		if err := png.Encode(&out, c.Image); err != nil {
			b.Fatal(err)
		}
		data = out.Bytes()
	}
	var decodeNs float64
	b.Run("decode", func(b *testing.B) {
		for b.Loop() {
			if _, err := png.Decode(bytes.NewReader(data)); err != nil {
				b.Fatal(err)
			}
		}
		decodeNs = float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	})
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		b.Fatal(err)
	}
	b.Run("detect", func(b *testing.B) {
		b.ReportAllocs()
		var d detect.Detector // as a worker has it
		for b.Loop() {
			res, err := d.Run(context.Background(), img, detect.Options{})
			if err != nil {
				b.Fatal(err)
			}
			if res.Status != detect.StatusRead {
				b.Fatal(res.Why)
			}
		}
		if decodeNs > 0 {
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/decodeNs, "×decode")
		}
	})
}
