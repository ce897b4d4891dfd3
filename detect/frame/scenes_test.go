package frame_test

import (
	"bytes"
	"image"
	_ "image/jpeg"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"shadowgap/detect/frame"
	"shadowgap/eval/scene"
)

// shown renders a scene and takes it through its own file format, as a capture would be.
func shown(t *testing.T, spec scene.Spec) (*scene.Capture, image.Image) {
	t.Helper()
	c, err := scene.Render(t.Context(), spec)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := c.Encode(&b); err != nil {
		t.Fatal(err)
	}
	img, _, err := image.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	return c, img
}

// TestScenes frames rendered captures with bars, writing, second panels and every palette, none of them used while the
// limits of this package were set.
func TestScenes(t *testing.T) {
	if testing.Short() {
		t.Skip("renders captures")
	}
	const n = 14
	kinds := scene.Kinds()
	var overlaps, offs []float64
	polarity, found := 0, 0
	for seed := int64(71000); found+len(overlaps) < 2*n && seed < 71200; seed++ {
		spec := scene.Random(seed, kinds[int(seed)%len(kinds)])
		if spec.ScreenW > 1024 || spec.Output.Photo {
			continue // keeps the test short; a photograph of a screen has no upright box
		}
		c, img := shown(t, spec)
		found++
		truth := c.Label.Panel.Rect()
		truth.Max.Y = truth.Min.Y + truth.Dy()*spec.Pings/spec.Rows
		p, why := find(t, img)
		if len(p) == 0 {
			t.Logf("seed %d (%s, %s): %s", seed, spec.Kind, spec.Display.Palette, why)
			overlaps = append(overlaps, 0)
			continue
		}
		overlaps = append(overlaps, overlap(p[0].Box, truth))
		if dark := spec.Display.Palette == "grey-inverted" || spec.Display.Palette == "sepia-paper"; p[0].Inverted == dark {
			polarity++
		} else {
			t.Logf("seed %d (%s, %s): inverted %v", seed, spec.Kind, spec.Display.Palette, p[0].Inverted)
		}
		if p[0].Nadir != nil && len(c.Label.Nadir) > 0 {
			offs = append(offs, math.Abs(p[0].Nadir[0]+float64(p[0].Box.Min.X)-c.Label.Nadir[0][1]))
		}
	}
	slices.Sort(overlaps)
	slices.Sort(offs)
	if len(overlaps) < n || len(offs) == 0 {
		t.Fatalf("only %d captures, %d with a nadir", len(overlaps), len(offs))
	}
	t.Logf("%d captures: box overlap median %.3f, least %.3f; polarity right in %d; nadir off by %.1f at most in three quarters of %d",
		len(overlaps), overlaps[len(overlaps)/2], overlaps[0], polarity, offs[len(offs)*3/4], len(offs))
	if overlaps[0] < 0.97 {
		t.Errorf("box overlaps %.2f: want 0.97 of every panel, and none lost", overlaps)
	}
	if polarity != len(overlaps) {
		t.Errorf("polarity right in %d of %d, want all", polarity, len(overlaps))
	}
	if offs[len(offs)*3/4] > 4 {
		t.Errorf("nadir off by %.1f pixels in a quarter of the captures", offs[len(offs)*3/4])
	}
}

// A down-looking record in the panel's own colours is cut off although a bright bar runs over both, and a photographed screen that
// fades from top to bottom is not taken for one. These scenes went wrong before.
func TestRecordsBesideThePanel(t *testing.T) {
	if testing.Short() {
		t.Skip("renders captures")
	}
	for _, tt := range []struct {
		seed   int64
		kind   scene.Kind
		second string
	}{
		{85, scene.KindFish, "history"},
		{317, scene.KindFish, "history"},
		{300080, scene.KindMixed, "history"},
		{300163, scene.KindRockHump, "history"},
		{300053, scene.KindTimber, ""},
	} {
		spec := scene.Random(tt.seed, tt.kind)
		if spec.Screen.Second != tt.second {
			t.Errorf("seed %d has %q beside the panel, want %q", tt.seed, spec.Screen.Second, tt.second)
		}
		c, img := shown(t, spec)
		p, why := find(t, img)
		if len(p) == 0 {
			t.Errorf("seed %d: %s", tt.seed, why)
			continue
		}
		if o := overlap(p[0].Box, c.Label.Panel.Rect()); o < 0.9 {
			t.Errorf("seed %d: panel %v, want %v (overlap %.2f)", tt.seed, p[0].Box, c.Label.Panel.Rect(), o)
		}
	}
}

// The chart beside the panel of this capture has ridges near enough to be taken in with it; their colours would then bend the
// palette, and the echoes with it.
func TestNoStripOfTheNextPanel(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "demo", "captures", "capture-024.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	p, why := find(t, img)
	if len(p) != 1 {
		t.Fatalf("%d panels: %s", len(p), why)
	}
	// the truth of the demo survey: 838 columns, and a line that parts the panels
	if got := p[0].Box; got.Min.X > 2 || got.Max.X < 836 || got.Max.X > 842 {
		t.Errorf("panel %v, want columns 0 to 838", got)
	}
}

func TestStrongByHand(t *testing.T) {
	c, err := scene.Render(t.Context(), scene.Random(30101, scene.Kinds()[0]))
	if err != nil {
		t.Fatal(err)
	}
	mean := map[string]float64{}
	for _, strong := range []string{"dark", "bright"} {
		p, why, err := frame.Find(t.Context(), c.Image, frame.Options{Strong: strong})
		if err != nil || len(p) == 0 {
			t.Fatalf("%s: %d panels, %q, %v", strong, len(p), why, err)
		}
		if p[0].Inverted != (strong == "dark") {
			t.Errorf("%s by hand, read as inverted %v", strong, p[0].Inverted)
		}
		for _, v := range p[0].Echo.V {
			mean[strong] += float64(v) / float64(len(p[0].Echo.V))
		}
	}
	if sum := mean["dark"] + mean["bright"]; math.Abs(sum-1) > 0.01 {
		t.Errorf("mean echo %.3f and %.3f: want one the other's negative", mean["dark"], mean["bright"])
	}
}

// TestDarkDisplays reads scenes that are shown as their negatives too: the odds that strong echoes are dark must tell both ways of showing
// them apart, with or without a water column.
func TestDarkDisplays(t *testing.T) {
	if testing.Short() {
		t.Skip("renders captures")
	}
	const n = 12
	right, read := map[bool]int{}, map[bool]int{}
	for seed := int64(143001); seed <= 143000+n; seed++ {
		for _, dark := range []bool{false, true} {
			spec := scene.Wide(seed)
			spec.Output.Photo, spec.Chain.Invert = false, false
			spec.Display.Palette, spec.Display.Stops = map[bool]string{false: "grey", true: "grey-inverted"}[dark], nil
			c, img := shown(t, spec)
			if c.Label.DarkIsStrong != dark {
				t.Fatalf("seed %d: dark is strong %v, drawn as %s", seed, c.Label.DarkIsStrong, spec.Display.Palette)
			}
			p, _, err := frame.Find(t.Context(), img, frame.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(p) == 0 {
				continue
			}
			read[dark]++
			if p[0].Inverted == dark {
				right[dark]++
			}
		}
	}
	for _, dark := range []bool{false, true} {
		if read[dark] < n-1 || right[dark] < read[dark]-1 {
			t.Errorf("dark %v: %d of %d scenes read, %d of them the right way", dark, read[dark], n, right[dark])
		}
	}
}
