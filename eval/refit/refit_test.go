package refit

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/models"
	"shadowgap/models/fit"
)

// A fit on developing or sealed seeds is refused before anything is rendered or read.
func TestRefitRefusesSeedsThatAreForScoring(t *testing.T) {
	for name, s := range map[string]Settings{
		"developing":          {Scenes: 1, First: 100_000},
		"reaching developing": {Scenes: 2, First: 99_999},
		"sealed":              {Scenes: 300, First: 900_000},
		"set into pictures":   {SetIn: 2, First: 99_999, Open: "none", Labels: "none"},
	} {
		if err := Run(t.Context(), s, io.Discard); !errors.Is(err, eval.ErrUnseen) {
			t.Errorf("%s: %v, want %v", name, err, eval.ErrUnseen)
		}
	}
}

func file(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func picture(t *testing.T, path string) {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 120, 120))
	img.SetGray(60, 60, color.Gray{255})
	var b strings.Builder
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	file(t, path, []byte(b.String()))
}

// Pictures of half B, and the second half of the tiles, are no pictures here: a fit that opens one of them fails.
func TestRefitReadsNothingOfTheOtherHalf(t *testing.T) {
	open, data := t.TempDir(), t.TempDir()
	labels := eval.Labels{Schema: eval.SchemaVersion}
	for _, name := range []string{"swaths/a-1.png", "swaths/b-1.png"} {
		labels.Captures = append(labels.Captures, eval.CaptureLabel{Capture: name, By: "hand", Marks: []eval.MarkLabel{}, Humps: [][2]int{}})
	}
	if err := eval.WriteJSON(filepath.Join(data, "labels.json"), labels); err != nil {
		t.Fatal(err)
	}
	file(t, filepath.Join(data, "halves.json"), []byte(`{"a":["swaths/a-*"],"b":["swaths/b-*"]}`))
	picture(t, filepath.Join(open, "swaths", "a-1.png"))
	file(t, filepath.Join(open, "swaths", "b-1.png"), []byte("no picture"))
	for _, part := range []string{"images", "masks"} {
		picture(t, filepath.Join(open, "river-effigy", part, "left_20240101000000H_1.png"))
		file(t, filepath.Join(open, "river-effigy", part, "left_20240101000000H_2.png"), []byte("no picture"))
	}
	s := Settings{Open: open, Labels: data, First: 1, Views: filepath.Join(t.TempDir(), "views.bin")}
	sources, err := openSources(s)
	if err != nil {
		t.Fatal(err)
	}
	if want := 2 * len(variants); len(sources) != want {
		t.Errorf("%d sources, want %d: a swath and a tile in each variant", len(sources), want)
	}
	if err := Run(t.Context(), s, io.Discard); err != nil {
		t.Errorf("a fit opened what it may not see: %v", err)
	}
	file(t, filepath.Join(open, "swaths", "a-1.png"), []byte("no picture"))
	if err := Run(t.Context(), s, io.Discard); err == nil || !strings.Contains(err.Error(), "a-1.png") {
		t.Errorf("a broken picture of half A: %v, want an error that names it", err)
	}
}

// A finder fitted apart and the groups it has not seen go together, and it looks at those and at no others.
func TestFinderFittedApart(t *testing.T) {
	finder := filepath.Join("..", "..", "models", "finder", "finder.onnx")
	for name, s := range map[string]Settings{
		"no groups":         {Apart: finder},
		"no finder":         {Held: []string{"real-3_*"}},
		"a broken pattern":  {Apart: finder, Held: []string{"real-[3"}},
		"a finder not here": {Apart: filepath.Join(t.TempDir(), "finder.onnx"), Held: []string{"real-3_*"}},
	} {
		s.First = 1
		if err := Run(t.Context(), s, io.Discard); err == nil {
			t.Errorf("%s: was taken", name)
		}
	}
	onnx, err := readONNX(finder)
	if err != nil {
		t.Fatal(err)
	}
	s := Settings{Held: []string{"real-3_*", "tile-left_20240430*"}}
	apart, one := newLooker(s, nil, nil, onnx), newLooker(Settings{}, nil, nil, nil)
	for _, tt := range []struct {
		from origin
		want *detect.Detector
	}{
		{origin{"wide-30001", sourceRendered}, &apart.detector},
		{origin{"real-3_14.jpg", sourceLabelled}, apart.apart},
		{origin{"real-3_14.jpg", sourceSetIn}, apart.apart},
		{origin{"tile-left_202404300337", sourceTile}, apart.apart},
		{origin{"real-4_15.jpg", sourceLabelled}, nil},
		{origin{"tile-left_202404291019", sourceSetIn}, nil},
	} {
		if got := apart.at(tt.from); got != tt.want {
			t.Errorf("%v: another detector than wanted", tt.from)
		}
		if got := one.at(tt.from); got != &one.detector {
			t.Errorf("%v, with one finder: another detector than that", tt.from)
		}
	}
	picture := image.NewGray(image.Rect(0, 0, 64, 64))
	for name, l := range map[string]*looker{"apart": apart, "one": one} {
		samples, err := detected(t.Context(), l, origin{"real-4_15.jpg", sourceLabelled}, picture, eval.CaptureLabel{}, detect.Options{})
		if err != nil || len(samples) > 0 {
			t.Errorf("%s: %d samples of a blank picture, %v", name, len(samples), err)
		}
		if err := l.close(); err != nil {
			t.Error(err)
		}
	}
}

// A file that is no network is refused by its name, before anything is rendered.
func TestWhatIsNoNetworkIsRefused(t *testing.T) {
	onnx, err := os.ReadFile(filepath.Join("..", "..", "models", "finder", "finder.onnx"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, data := range map[string][]byte{"empty": nil, "text": []byte("# Models\n\nThree.\n"), "half": onnx[:len(onnx)/2]} {
		path := filepath.Join(dir, name)
		file(t, path, data)
		if _, err := readONNX(path); !errors.Is(err, errNoNetwork) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v, want %v and the file's name", name, err, errNoNetwork)
		}
	}
}

// A network that is no finder is whole, and found out when a real picture is to be looked at with it: then it, too, is named.
func TestOtherNetworksAreNoFinders(t *testing.T) {
	open, data := t.TempDir(), t.TempDir()
	labels := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{
		{Capture: "swaths/a-1.png", By: "hand", Marks: []eval.MarkLabel{}, Humps: [][2]int{}},
	}}
	if err := eval.WriteJSON(filepath.Join(data, "labels.json"), labels); err != nil {
		t.Fatal(err)
	}
	file(t, filepath.Join(data, "halves.json"), []byte(`{"a":["swaths/a-*"],"b":["swaths/b-*"]}`))
	for _, name := range []string{
		"swaths/a-1.png", "river-effigy/images/left_20240101000000H_1.png", "river-effigy/masks/left_20240101000000H_1.png",
	} {
		picture(t, filepath.Join(open, name))
	}
	reader := filepath.Join("..", "..", "models", "reader", "reader.onnx")
	for what, views := range map[string]string{"trees": "", "views": filepath.Join(t.TempDir(), "views.bin")} {
		s := Settings{Open: open, Labels: data, First: 1, Views: views, Apart: reader, Held: []string{"*"}}
		if err := Run(t.Context(), s, io.Discard); err == nil || !strings.Contains(err.Error(), reader) {
			t.Errorf("%s with the reader's network: %v, want an error that names %s", what, err, reader)
		}
	}
}

// The trees weigh what the networks and the measured evidence say. Where one of them has changed, the trees are older than what they
// judge: fit them again, in the order that models/README.md gives.
func TestTreesAreFittedBehindTheseStages(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	const folder = "../../models"
	want, err := stagesOf(folder, m)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(folder, stagesFile))
	if err != nil {
		t.Fatal(err)
	}
	var got stages
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the trees were fitted behind %+v, and these are %+v", got, want)
	}
	dir := t.TempDir()
	if err := want.write(dir); err != nil {
		t.Fatal(err)
	}
	if again, err := os.ReadFile(filepath.Join(dir, stagesFile)); err != nil || string(again) != string(data) {
		t.Errorf("written again it differs (%v):\n%s", err, again)
	}
}

// Evidence that the trees were never shown, or that is no longer measured, is told by its name.
func TestTreesKnowTheEvidence(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	var d detect.Detector
	defer d.Close()
	measured := map[string]bool{}
	for _, name := range []string{"capture-001.jpg", "capture-002.jpg"} {
		pic, err := detect.Read(t.Context(), filepath.Join("../../testdata/demo/captures", name), detect.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		res, err := d.Run(context.Background(), pic.Image, detect.Options{KeepClutter: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, mark := range res.Marks {
			for e := range mark.Evidence {
				measured[e] = true
			}
		}
	}
	for e := range measured {
		if !slices.Contains(m.Features, e) {
			t.Errorf("%q is measured, and the trees don't know it", e)
		}
	}
	for _, f := range m.Features {
		if !measured[f] {
			t.Errorf("the trees weigh %q, which is not measured", f)
		}
	}
}

// What is left of the clutter weighs as much as all of it did, and what hangs weighs more.
func TestThinned(t *testing.T) {
	var all []fit.Sample
	for i := range 1000 {
		s := fit.Sample{Class: string(detect.Clutter)}
		if i%10 == 0 {
			s.Class = string(detect.SuspendedTarget)
		}
		all = append(all, s)
	}
	n, weight, stands := map[string]int{}, map[string]float64{}, map[string]float64{}
	for _, s := range thinned(all, 0.25) {
		n[s.Class]++
		weight[s.Class] += s.Weight
		stands[s.Class] += s.Stands
	}
	if got := n[string(detect.Clutter)]; got != 225 || weight[string(detect.Clutter)] != 900 {
		t.Errorf("%d of 900 pieces of clutter left, weighing %v", got, weight)
	}
	if got := stands[string(detect.Clutter)]; got != 900 {
		t.Errorf("what is left of 900 pieces of clutter stands for %v", got)
	}
	if got := n[string(detect.SuspendedTarget)]; got != 100 || math.Abs(weight[string(detect.SuspendedTarget)]-100*hangingWeight) > 1e-9 {
		t.Errorf("%d of 100 suspended targets left, weighing %v", got, weight)
	}
}

func TestTileGroupsArePassesOfOneMinute(t *testing.T) {
	for name, want := range map[string]string{
		"left_20240429102455H_sample_3_tile_10.png":  "tile-left_202404291024",
		"right_20240430043339L_sample_3_tile_4.png":  "tile-right_202404300433",
		"right_20240430043301H_sample_1_tile_12.png": "tile-right_202404300433",
	} {
		if got := tileGroup(name); got != want {
			t.Errorf("%s is of group %s, want %s", name, got, want)
		}
	}
}

// A crop's label lies where the crop shows it, and keeps only marks of which a third or more is left.
func TestCutTile(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 1200, 500))
	mark := detect.Box{X: 900, Y: 200, W: 20, H: 10}
	label := eval.CaptureLabel{
		Panel: &detect.Box{W: 1200, H: 500}, Nadir: []detect.RowX{{0, 600}}, Marks: []eval.MarkLabel{{Highlight: &mark}},
	}
	kept := 0
	for seed := range uint64(200) {
		part, l, ok := cutTile(rand.New(rand.NewPCG(seed, 7)), img, label)
		if !ok {
			continue
		}
		b := part.Bounds()
		if b.Dx() != b.Dy() || b.Dx() < 160 || b.Dx() >= 400 {
			t.Fatalf("seed %d: crop of %v", seed, b)
		}
		if onMark := len(l.Marks) > 0; onMark && l.Side != detect.Starboard || l.Side == "" {
			t.Errorf("seed %d: a crop that shows %d marks of the right side is said to be of %q", seed, len(l.Marks), l.Side)
		}
		for _, m := range l.Marks {
			kept++
			if h := m.Highlight; !h.Rect().In(b) || h.W > mark.W || h.H > mark.H || 3*h.W*h.H < mark.W*mark.H {
				t.Errorf("seed %d: highlight %+v in a crop of %v", seed, *h, b)
			}
		}
	}
	if kept < 50 {
		t.Errorf("the mark is in %d of 200 crops", kept)
	}
}

func TestRunWritesViewsAndTellsOfCandidates(t *testing.T) {
	views := filepath.Join(t.TempDir(), "views.bin")
	var out bytes.Buffer
	if err := Run(t.Context(), Settings{Scenes: 1, First: 4, Thin: 1, Views: views}, &out); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(views)
	if err != nil || len(b) < 4 {
		t.Fatalf("%d bytes of views (%v)", len(b), err)
	}
	var h viewHeader
	n := int(binary.LittleEndian.Uint32(b))
	if err := json.Unmarshal(b[4:4+n], &h); err != nil || h.Group != "wide-4" || h.Source != sourceRendered || h.Rows <= 0 || h.Cols <= 0 ||
		len(b) < 4+n+h.Rows*h.Cols {
		t.Errorf("head of the first view: %+v (%v), %d bytes in all", h, err, len(b))
	}
	if err := Run(t.Context(), Settings{Scenes: 1, First: 4, Thin: 1}, &out); err != nil || !strings.HasPrefix(out.String(), "wide: map[") {
		t.Errorf("told %q (%v)", out.String(), err)
	}
	for name, s := range map[string]Settings{
		"no clutter":            {Scenes: 1, Trees: filepath.Join(t.TempDir(), "trees")},
		"nothing to set into":   {SetIn: 1, Thin: 1},
		"no such open pictures": {Open: filepath.Join(t.TempDir(), "none"), Labels: "../../testdata/open", Thin: 1},
	} {
		if err := Run(t.Context(), s, &out); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestOtherWorldsAreSeen(t *testing.T) {
	views := filepath.Join(t.TempDir(), "views.bin")
	if err := Run(t.Context(), Settings{Others: 2, First: 4, Thin: 1, Views: views}, io.Discard); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(views)
	if err != nil {
		t.Fatal(err)
	}
	const planes = 4 // of a view
	seen := map[string]int{}
	for len(b) > 4 {
		n := int(binary.LittleEndian.Uint32(b))
		var h viewHeader
		if err := json.Unmarshal(b[4:4+n], &h); err != nil || h.Source != sourceOther {
			t.Fatalf("a side of %q, %q (%v)", h.Group, h.Source, err)
		}
		world, _, _ := strings.Cut(h.Group, "-")
		seen[world]++
		b = b[4+n+planes*h.Rows*h.Cols:]
	}
	for _, w := range others {
		if seen[w.name] == 0 {
			t.Errorf("no side of the world %s among %v", w.name, seen)
		}
	}
}

func TestOtherWorldsAreShownWithTheirTruth(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "shown")
	if err := Run(t.Context(), Settings{Others: 2, First: 4, Shown: dir}, io.Discard); err != nil {
		t.Fatal(err)
	}
	labels, err := eval.Load(filepath.Join(dir, "labels.json"))
	if err != nil {
		t.Fatal(err)
	}
	if len(labels.Captures) != 2*len(others) {
		t.Errorf("labels of %d captures, want %d", len(labels.Captures), 2*len(others))
	}
	for _, l := range labels.Captures {
		pic, err := detect.Read(t.Context(), filepath.Join(dir, l.Capture), detect.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if p := l.Panel; p == nil || !image.Rect(p.X, p.Y, p.X+p.W, p.Y+p.H).In(pic.Image.Bounds()) {
			t.Errorf("%s of %v: its panel is %v", l.Capture, pic.Image.Bounds(), p)
		}
	}
	if err := Run(t.Context(), Settings{Others: 1, First: 900000, Shown: dir}, io.Discard); !errors.Is(err, eval.ErrUnseen) {
		t.Errorf("sealed seeds are shown: %v", err)
	}
	if err := Run(t.Context(), Settings{First: 4, Shown: dir}, io.Discard); err == nil {
		t.Error("none of each world are shown")
	}
}
