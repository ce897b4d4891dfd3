package setin

import (
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/disintegration/imaging"

	"shadowgap/detect"
	"shadowgap/eval"
)

const openData, openLabels = "../../../shared/open-data", "../../testdata/open"

// made is a folder of made-up pictures that look like the open ones: of half A a swath with a bright mark and two tiles; everything
// that may not be read is text.
func made(t *testing.T) (open, data string) {
	t.Helper()
	open, data = t.TempDir(), t.TempDir()
	sure := true
	swath := eval.CaptureLabel{
		Capture: "swaths/a-1.png", By: "hand", Humps: [][2]int{},
		Nadir:       []detect.RowX{{0, 250}, {300, 250}},
		FirstReturn: detect.FirstReturn{Port: []detect.RowX{{0, 205}, {300, 190}}, Starboard: []detect.RowX{{0, 295}, {300, 310}}},
		Marks: []eval.MarkLabel{
			{Class: detect.BottomObject, Kind: "rock", Highlight: &detect.Box{X: 400, Y: 60, W: 24, H: 16}, Sure: &sure},
		},
	}
	river := eval.CaptureLabel{Capture: "tiles/a-2.png", By: "hand", Side: detect.Port, Humps: [][2]int{}, Marks: []eval.MarkLabel{}}
	labels := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{
		swath, river, {Capture: "swaths/b-1.png", By: "hand", Humps: [][2]int{}, Marks: []eval.MarkLabel{}},
	}}
	writeJSON(t, filepath.Join(data, "labels.json"), labels)
	writeJSON(t, filepath.Join(data, "halves.json"), map[string]any{
		"schema": 1, "a": []string{"swaths/a-*", "tiles/a-*"}, "b": []string{"swaths/b-*"},
	})
	paint(t, filepath.Join(open, "swaths", "a-1.png"), 500, 300, func(x, y int) float64 {
		s, h := math.Abs(float64(x)-250), 45+float64(y)/20
		switch {
		case x >= 400 && x < 424 && y >= 60 && y < 76:
			return 20
		case s < 5:
			return 2
		case s < h:
			return 0.02
		}
		return 1
	})
	even := func(int, int) float64 { return 1 }
	paint(t, filepath.Join(open, "tiles", "a-2.png"), 256, 256, even)
	paint(t, filepath.Join(open, "river-effigy", "images", "left_1.png"), 256, 256, even)
	paint(t, filepath.Join(open, "river-effigy", "masks", "left_1.png"), 256, 256, func(x, y int) float64 {
		if x > 100 && x < 120 && y > 90 && y < 130 {
			return 20
		}
		return 0
	})
	for _, name := range []string{"swaths/b-1.png", "river-effigy/images/right_9.png"} {
		if err := os.WriteFile(filepath.Join(open, name), []byte("not a picture"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return open, data
}

func writeJSON(t *testing.T, name string, v any) {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// paint writes a grey picture of a level per pixel with speckle.
func paint(t *testing.T, name string, w, h int, level func(x, y int) float64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, uint64(w)))
	img := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := level(x, y) * 60 * math.Hypot(rng.NormFloat64(), rng.NormFloat64()) / 1.25
			img.SetGray(x, y, color.Gray{Y: uint8(min(255, v))})
		}
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(png.Encode(f, img), f.Close()); err != nil {
		t.Fatal(err)
	}
}

func loadMade(t *testing.T) *Bottoms {
	t.Helper()
	open, data := made(t)
	b, err := Load(t.Context(), open, data)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func loadOpen(t testing.TB) *Bottoms {
	t.Helper()
	if _, err := os.Stat(openData); err != nil {
		t.Skipf("needs the open pictures: %v", err)
	}
	b, err := Load(t.Context(), openData, openLabels)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestLoadReadsNothingOfTheOtherHalf(t *testing.T) {
	open, data := made(t)
	b, err := Load(t.Context(), open, data)
	if err != nil {
		t.Fatalf("pictures that may not be read are no pictures, and Load: %v", err)
	}
	if len(b.pictures) != 3 {
		t.Errorf("%d pictures, want the swath, the tile and the first effigy tile", len(b.pictures))
	}
	if err := os.WriteFile(filepath.Join(open, "swaths", "a-1.png"), []byte("not a picture"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(t.Context(), open, data); err == nil || !strings.Contains(err.Error(), "a-1.png") {
		t.Errorf("a broken picture that may be read: %v, want an error that names it", err)
	}
}

func TestLoadOfTheOpenPictures(t *testing.T) {
	for _, p := range loadOpen(t).pictures {
		folder, name, _ := strings.Cut(p.name, "/")
		ok := false
		switch folder {
		case "harbour-swaths":
			ok = strings.HasPrefix(name, "harbour-5")
		case "survey-lines":
			ok = strings.HasPrefix(name, "line-a")
		case "river-bottom":
			ok = strings.ContainsAny(name[:1], "3467")
		case "river-effigy":
			ok = strings.HasPrefix(name, "images/")
		}
		if !ok {
			t.Errorf("%s is not of half A", p.name)
		}
	}
}

func TestLoadErrors(t *testing.T) {
	open, data := made(t)
	empty := t.TempDir()
	for _, c := range []struct{ what, open, data, want string }{
		{"no labels", open, empty, "labels.json"},
		{"no pictures", empty, data, "a-1.png"},
	} {
		if _, err := Load(t.Context(), c.open, c.data); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error that names %s", c.what, err, c.want)
		}
	}
}

func TestRenderIsDeterministic(t *testing.T) {
	b, again := loadMade(t), loadMade(t)
	different := false
	var last *image.NRGBA
	for seed := range int64(20) {
		x, err := b.Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		y, err := again.Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		p, q := imaging.Clone(x.Image), imaging.Clone(y.Image)
		if !reflect.DeepEqual(p, q) || !reflect.DeepEqual(x.Label, y.Label) {
			t.Fatalf("seed %d: two renders differ", seed)
		}
		different = different || last != nil && !reflect.DeepEqual(p, last)
		last = p
	}
	if !different {
		t.Error("every seed gives the same picture")
	}
}

func TestRenderEnds(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	b := loadMade(t)
	stop()
	if _, err := b.Render(ctx, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want that it was cancelled", err)
	}
}

func TestRenderMovesRealLabels(t *testing.T) {
	b := loadMade(t)
	seen := 0
	for seed := range int64(120) {
		c, err := b.Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		if c.Label.Capture != "swaths/a-1.png" {
			continue
		}
		e := strengths(c.Image)
		for _, m := range c.Label.Marks[:c.Real] {
			seen++
			if in := e.mean(m.Highlight.Rect().Inset(1), nil); in < 0.8 {
				t.Errorf("seed %d: the real mark's box %v holds %.2f, want what was saturated", seed, *m.Highlight, in)
			}
		}
		for side, p := range [][]detect.RowX{c.Label.FirstReturn.Port, c.Label.FirstReturn.Starboard} {
			out := 2*side - 1
			var in, over float64
			for _, q := range p {
				x, y := int(q[1]), int(q[0])
				if x < 14 || x >= e.w-14 {
					continue
				}
				in += e.mean(square(x-6*out, y, 2), nil)
				over += e.mean(square(x+6*out, y, 2), nil)
			}
			if in > 0.6*over {
				t.Errorf("seed %d, side %d: %.2f before the first return, %.2f behind it", seed, side, in, over)
			}
		}
	}
	if seen < 10 {
		t.Errorf("only %d real marks looked at", seen)
	}
}

func TestRenderIsOftenEmpty(t *testing.T) {
	b := loadMade(t)
	const n = 200
	empty := 0
	for seed := range int64(n) {
		c, err := b.Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		if len(c.Label.Marks) == c.Real {
			empty++
		}
		if set := len(c.Label.Marks) - c.Real; set > 12 {
			t.Errorf("seed %d: %d things set in", seed, set)
		}
	}
	if empty < n*17/100 || empty > n*33/100 {
		t.Errorf("%d of %d without anything set in, want about a quarter", empty, n)
	}
}

// What real bottoms hold beside single stones: stones on a heap, stones that lie about one, and some told by their echo alone.
func TestStonesLieTogether(t *testing.T) {
	b := loadMade(t)
	heaps, flat, groups := 0, 0, 0
	for seed := range int64(200) {
		c, err := b.Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		var at []image.Point
		for _, m := range c.Label.Marks[c.Real:] {
			switch m.Kind {
			case "heap":
				heaps++
			case "rock":
				r := m.Highlight.Rect()
				at = append(at, r.Min.Add(r.Max).Div(2))
				if m.Shadow == nil {
					flat++
				}
			}
		}
		if slices.ContainsFunc(at, func(p image.Point) bool {
			near := image.Rectangle{Min: p, Max: p}.Inset(-60)
			n := 0
			for _, q := range at {
				if q.In(near) {
					n++
				}
			}
			return n >= 4
		}) {
			groups++
		}
	}
	if heaps < 20 || flat < 20 || groups < 20 {
		t.Errorf("in 200 captures: %d heaps, %d stones without a shadow, %d groups", heaps, flat, groups)
	}
}

func TestLabelsAgreeWithPixels(t *testing.T) {
	for name, load := range map[string]func(*testing.T) *Bottoms{
		"made": loadMade, "open": func(t *testing.T) *Bottoms { return loadOpen(t) },
	} {
		t.Run(name, func(t *testing.T) { agree(t, load(t)) })
	}
}

func agree(t *testing.T, b *Bottoms) {
	paths := map[string]*colourPath{}
	for _, p := range b.pictures {
		paths[p.name] = p.path
	}
	lights, shadows, wrongLight, wrongShadow := 0, 0, 0, 0
	kinds := map[detect.Class]int{}
	for seed := range int64(150) {
		c, err := b.Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		size := c.Image.Bounds().Size()
		l := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{c.Label}}
		if err := l.Check(map[string]image.Point{c.Label.Capture: size}); err != nil {
			t.Errorf("seed %d: %v", seed, err)
		}
		e := strengthsOn(c.Image, paths[c.Label.Capture])
		var all []image.Rectangle
		for _, m := range c.Label.Marks {
			for _, box := range []*detect.Box{m.Highlight, m.Shadow} {
				if box != nil {
					all = append(all, box.Rect())
				}
			}
		}
		for _, m := range c.Label.Marks[c.Real:] {
			kinds[m.Class]++
			if m.Highlight == nil || m.Side == "" {
				t.Fatalf("seed %d: %s without a highlight or a side", seed, m.Kind)
			}
			light := m.Highlight.Rect()
			around := e.mean(light.Inset(-10), all)
			lights++
			if compact := m.Kind == "rock" || m.Kind == "fish"; compact && e.mean(light, nil) <= around ||
				!compact && e.upper(light, 0.25) <= around {
				wrongLight++
			}
			if m.Shadow == nil {
				continue
			}
			shadow := m.Shadow.Rect()
			shadows++
			ring := e.mean(shadow.Inset(-10), all)
			if dark := e.mean(shadow, nil); (m.Kind == "rock" || m.Kind == "fish") && dark >= ring || -e.upperOf(shadow, 0.5, -1) >= ring {
				wrongShadow++
			}
			// The shadow lies outward of the highlight, a fish's behind a gap.
			out := shadow.Min.X + shadow.Max.X - light.Min.X - light.Max.X
			gap := shadow.Min.X - light.Max.X
			if m.Side == detect.Port {
				out, gap = -out, light.Min.X-shadow.Max.X
			}
			// A stem that lies across the track has its shadow along itself.
			if out <= 0 && m.Kind != "timber" {
				t.Errorf("seed %d: the shadow %v of a %s to %s does not lie outward of %v", seed, shadow, m.Kind, m.Side, light)
			}
			if m.Kind == "fish" && math.Abs(float64(gap)-*m.GapPx) > 4+0.35**m.GapPx {
				t.Errorf("seed %d: a gap of %.1f px is drawn as %d", seed, *m.GapPx, gap)
			}
		}
	}
	t.Logf("%d highlights, %d shadows, by class %v", lights, shadows, kinds)
	if lights < 200 || shadows < 100 || len(kinds) < 3 {
		t.Fatalf("only %d highlights and %d shadows of %d classes", lights, shadows, len(kinds))
	}
	if wrongLight*50 > lights {
		t.Errorf("%d of %d highlights are not brighter than the bottom around", wrongLight, lights)
	}
	if wrongShadow*50 > shadows {
		t.Errorf("%d of %d shadows are not darker than the bottom around", wrongShadow, shadows)
	}
}

func TestColourPathReturns(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 256, 4))
	for i := range 4 * 256 {
		v := i % 256
		img.SetNRGBA(v, i/256, color.NRGBA{uint8(v), uint8(v * v / 255), uint8(max(0, v-128)), 255})
	}
	p := learnPath(img)
	for v := range 256 {
		c := img.NRGBAAt(v, 0)
		pix := []uint8{c.R, c.G, c.B}
		e := p.arc[luminance(pix)]
		p.change(pix, e, e)
		if pix[0] != c.R || pix[1] != c.G || pix[2] != c.B {
			t.Errorf("colour %v changes to %v at the same strength", c, pix)
		}
		p.change(pix, e, 1)
		if d := int(pix[0]) - 255; d < -8 || d > 8 {
			t.Errorf("colour %v at full strength is %v", c, pix)
		}
	}
	if p.arc[0] != 0 || p.arc[255] < 0.98 {
		t.Errorf("the path runs from %v to %v", p.arc[0], p.arc[255])
	}
}

type plane struct {
	w, h int
	v    []float64
}

func strengths(img image.Image) plane {
	var grey colourPath
	for i := range grey.arc {
		grey.arc[i] = float32(i) / 255
	}
	return strengthsOn(img, &grey)
}

func strengthsOn(img image.Image, path *colourPath) plane {
	c := imaging.Clone(img)
	p := plane{c.Bounds().Dx(), c.Bounds().Dy(), nil}
	for i := 0; i < len(c.Pix); i += 4 {
		p.v = append(p.v, float64(path.arc[luminance(c.Pix[i:])]))
	}
	return p
}

// mean leaves out what lies in without.
func (p plane) mean(r image.Rectangle, without []image.Rectangle) float64 {
	r = r.Intersect(image.Rect(0, 0, p.w, p.h))
	var sum, n float64
	for y := r.Min.Y; y < r.Max.Y; y++ {
	next:
		for x := r.Min.X; x < r.Max.X; x++ {
			for _, o := range without {
				if image.Pt(x, y).In(o) {
					continue next
				}
			}
			sum += p.v[y*p.w+x]
			n++
		}
	}
	return sum / max(1, n)
}

// upper is the mean of the brightest part of a rectangle.
func (p plane) upper(r image.Rectangle, part float64) float64 { return p.upperOf(r, part, 1) }

// upperOf is upper of the strengths times sign.
func (p plane) upperOf(r image.Rectangle, part, sign float64) float64 {
	var all []float64
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			all = append(all, sign*p.v[y*p.w+x])
		}
	}
	slices.Sort(all)
	return mean(all[int(float64(len(all))*(1-part)):])
}

func BenchmarkRender(b *testing.B) {
	bottoms := loadOpen(b)
	px := 0
	for seed := int64(0); b.Loop(); seed++ {
		c, err := bottoms.Render(b.Context(), seed)
		if err != nil {
			b.Fatal(err)
		}
		px += c.Image.Bounds().Dx() * c.Image.Bounds().Dy()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(px), "ns/px")
}
