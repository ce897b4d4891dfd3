package overlay

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"shadowgap/detect"
	"shadowgap/internal/overlay/overlaytest"
)

// keep saves a picture for a person to look at when SHADOWGAP_LOOK names a folder.
func keep(t *testing.T, name string, data []byte) {
	t.Helper()
	dir := os.Getenv("SHADOWGAP_LOOK")
	if dir == "" {
		return
	}
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func keepImage(t *testing.T, name string, img image.Image) {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	keep(t, name, b.Bytes())
}

func TestDrawKeepsEvidenceAndMarksEveryClass(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 1)
	before := slices.Clone(img.Pix)
	out := Draw(img, capt, marks, Options{})
	keepImage(t, "overlay.png", out)
	if out.Bounds() != img.Bounds() {
		t.Fatalf("bounds %v, want %v", out.Bounds(), img.Bounds())
	}
	for _, m := range marks {
		if n := count(out, m.Box.Rect().Inset(-6), StyleOf(m.Class).Color); n < 20 {
			t.Errorf("mark %s: only %d pixels of its class's colour around it", m.Mark, n)
		}
		for _, b := range []*detect.Box{m.Highlight, m.Shadow} {
			if b == nil {
				continue
			}
			in := b.Rect().Inset(3)
			for y := in.Min.Y; y < in.Max.Y; y++ {
				for x := in.Min.X; x < in.Max.X; x++ {
					if c := img.RGBAAt(x, y); out.RGBAAt(x, y) != (color.RGBA{c.R, c.G, c.B, 255}) {
						t.Fatalf("mark %s: pixel %d,%d inside its box was painted over", m.Mark, x, y)
					}
				}
			}
		}
	}
	if !bytes.Equal(before, img.Pix) {
		t.Error("the capture itself was changed")
	}
}

// A mark keeps its number when those before it are left out.
func TestDrawWritesTheNumbersGiven(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 1)
	whole := Draw(img, capt, marks, Options{NoProfiles: true, NoHumps: true, NoRegions: true})
	last := Draw(img, capt, marks[len(marks)-1:], Options{NoProfiles: true, NoHumps: true, NoRegions: true, Numbers: []int{len(marks)}})
	renumbered := Draw(img, capt, marks[len(marks)-1:], Options{NoProfiles: true, NoHumps: true, NoRegions: true})
	around := marks[len(marks)-1].Box.Rect().Inset(-24)
	same := func(a, b *image.RGBA) bool {
		for y := around.Min.Y; y < around.Max.Y; y++ {
			for x := around.Min.X; x < around.Max.X; x++ {
				if a.RGBAAt(x, y) != b.RGBAAt(x, y) {
					return false
				}
			}
		}
		return true
	}
	if !same(whole, last) || same(whole, renumbered) {
		t.Error("the last mark alone is not drawn as it is among all")
	}
}

// A rock field is full of marks: its name covers none of them and is not covered.
func TestFieldNameStaysOffItsMarks(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 1)
	capt.Panels[0].Humps = nil
	opt := Options{NoProfiles: true}
	field := capt.Panels[0].Regions[0].Box
	stone := marks[1]
	h := detect.Box{X: field.X + 2, Y: field.Y + 2, W: 40, H: 24} // in the field's corner
	stone.Highlight, stone.Shadow, stone.Box = &h, nil, h
	above := stone
	g := detect.Box{X: field.X + field.W - 50, Y: field.Y - 30, W: 60, H: 24} // over the field, where its name might go
	above.Highlight, above.Box = &g, g
	both := []detect.MarkRecord{stone, above}
	out := Draw(img, capt, both, opt)
	keepImage(t, "field.png", out)
	for _, b := range []detect.Box{h, g} {
		in := b.Rect().Inset(3)
		for y := in.Min.Y; y < in.Max.Y; y++ {
			for x := in.Min.X; x < in.Max.X; x++ {
				if c := img.RGBAAt(x, y); out.RGBAAt(x, y) != (color.RGBA{c.R, c.G, c.B, 255}) {
					t.Fatalf("pixel %d,%d of a stone was painted over", x, y)
				}
			}
		}
	}
	around := field.Rect().Inset(-30)
	named := count(out, around, paper)
	opt.NoLabels = true
	if framed := count(Draw(img, capt, both, opt), around, paper); named < framed+60 {
		t.Errorf("%d pixels of the field's colour with its name, %d without: the name is not there", named, framed)
	}
}

// A crowd on a small picture: numbers that find no place beside their boxes go farther out rather than over each other.
func TestNumbersOfACrowdStayApart(t *testing.T) {
	c := canvasOn(image.NewRGBA(image.Rect(0, 0, 256, 256)), 1, Options{})
	for i := range 25 {
		c.label(strconv.Itoa(100+i), detect.Box{X: 100 + 12*(i%5), Y: 100 + 12*(i/5), W: 10, H: 10}, paper)
	}
	c.writeLabels()
	keepImage(t, "crowd.png", c.dst)
	for i, a := range c.placed {
		if !a.In(c.dst.Bounds()) {
			t.Errorf("number %d lies outside the picture, at %v", 100+i, a)
		}
		for j, b := range c.placed[:i] {
			if a.Overlaps(b) {
				t.Errorf("numbers %d and %d overlap: %v, %v", 100+i, 100+j, a, b)
			}
		}
	}
}

func TestDrawLeaderSpansTheGap(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 200, 60))
	for _, tc := range []struct {
		side     detect.Side
		hi, sh   detect.Box
		from, to float64
	}{
		{detect.Starboard, detect.Box{X: 50, Y: 20, W: 10, H: 10}, detect.Box{X: 100, Y: 20, W: 30, H: 10}, 60, 100},
		{detect.Port, detect.Box{X: 120, Y: 20, W: 10, H: 10}, detect.Box{X: 40, Y: 20, W: 30, H: 10}, 120, 70},
	} {
		m := detect.MarkRecord{
			Side: tc.side, Class: detect.SuspendedTarget, Highlight: &tc.hi, Shadow: &tc.sh, Box: detect.BoxOf(tc.hi.Rect().Union(tc.sh.Rect())),
		}
		from, to, row, ok := GapSpan(m)
		if !ok || from != tc.from || to != tc.to || row != 25 {
			t.Errorf("%s: gap from %v to %v at row %v (%v), want %v to %v at 25", tc.side, from, to, row, ok, tc.from, tc.to)
		}
		out := Draw(img, detect.CaptureRecord{}, []detect.MarkRecord{m}, Options{NoLabels: true, LineWidth: 1})
		for x := int(min(tc.from, tc.to)) + 5; x < int(max(tc.from, tc.to))-5; x++ {
			if out.RGBAAt(x, 25) != color.RGBA(StyleOf(m.Class).Color) { // opaque
				t.Fatalf("%s: no leader at x %d", tc.side, x)
			}
		}
	}
}

func TestStylesDifferInColourAndLine(t *testing.T) {
	colours, lines := map[color.NRGBA]bool{}, map[string]bool{}
	for _, c := range detect.Classes {
		st := StyleOf(c)
		colours[st.Color], lines[st.Line] = true, true
		if st.Name == "" || st.Short == "" {
			t.Errorf("%s has no name", c)
		}
	}
	if len(colours) != len(detect.Classes) || len(lines) != len(detect.Classes) {
		t.Errorf("%d colours and %d line styles for %d classes", len(colours), len(lines), len(detect.Classes))
	}
}

func TestDrawSurvivesOddInput(t *testing.T) {
	far := detect.Box{X: 1 << 20, Y: -500, W: 3, H: 3}
	nan := math.NaN()
	capt := detect.CaptureRecord{Panels: []detect.PanelRecord{
		{Nadir: []detect.RowX{{0, nan}, {1, 5}}, Humps: []detect.Hump{{Rows: [2]int{-5, 1 << 20}}}},
	}}
	marks := []detect.MarkRecord{{}, {Class: "new", Highlight: &far, Box: far}, {Shadow: &far}}
	for _, size := range []image.Rectangle{image.Rect(0, 0, 1, 1), image.Rect(5, 7, 30, 20), image.Rect(0, 0, 4000, 1)} {
		img := image.NewGray(size)
		if out := Draw(img, capt, marks, Options{Legend: true}); out.Bounds().Dx() != size.Dx() || out.Bounds().Dy() <= size.Dy() {
			t.Errorf("%v: drew %v", size, out.Bounds())
		}
		if got := Chip(img, marks[1], ChipOptions{}); !got.Bounds().Empty() {
			t.Errorf("a close-up of a mark outside the picture is %v", got.Bounds())
		}
	}
}

func TestDrawTakesBoundsThatDoNotStartAtZero(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 1)
	moved := &image.RGBA{Pix: img.Pix, Stride: img.Stride, Rect: img.Rect.Add(image.Pt(100, 50))}
	a, b := Draw(img, capt, marks, Options{}), Draw(moved, capt, marks, Options{})
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("the drawing depends on where the picture's bounds start")
	}
	if c, d := Chip(img, marks[0], ChipOptions{}), Chip(moved, marks[0], ChipOptions{}); !bytes.Equal(c.Pix, d.Pix) {
		t.Error("the close-up depends on where the picture's bounds start")
	}
}

// The number of a mark as tall as the picture lies in the picture: under it the legend would be drawn over it.
func TestNumbersKeepOffTheLegend(t *testing.T) {
	c := newCanvas(image.NewRGBA(image.Rect(0, 0, 400, 300)), 1, 100, Options{})
	c.label("2", detect.Box{X: 2, Y: 2, W: 396, H: 290}, paper)
	if at := c.placed[0]; at.Max.Y > 300 {
		t.Errorf("the number lies at %v, in the legend's rows from 300 on", at)
	}
}

func TestLegendNamesEverythingWithoutTouchingThePicture(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 2)
	out := Draw(img, capt, marks, Options{Legend: true, ClassLabels: true})
	keepImage(t, "overlay-legend.png", out)
	strip := image.Rect(0, img.Bounds().Dy(), img.Bounds().Dx(), out.Bounds().Dy())
	for _, c := range detect.Classes {
		if count(out, strip, StyleOf(c).Color) < 5 {
			t.Errorf("%s is not in the legend", c)
		}
	}
}

func TestChip(t *testing.T) {
	img, _, marks := overlaytest.Scene("a.png", 1)
	for _, m := range marks {
		out := Chip(img, m, ChipOptions{})
		keepImage(t, "chip-"+m.Mark+".png", out)
		b := out.Bounds()
		if max(b.Dx(), b.Dy()) != 320 {
			t.Errorf("%s: size %v, want the longer side 320", m.Mark, b)
		}
		if !m.Box.Rect().In(chipRect(img.Bounds(), m)) {
			t.Errorf("%s: close-up cuts the mark off", m.Mark)
		}
		plain := Chip(img, m, ChipOptions{Plain: true, Size: 200})
		if n := count(plain, plain.Bounds(), StyleOf(m.Class).Color); n > 20 {
			t.Errorf("%s: %d pixels of its class's colour in a plain close-up", m.Mark, n)
		}
	}
}

// What is small is not blown up beyond what its pixels tell, and what is large is as large as ever.
func TestChipIsEnlargedNoMoreThanToldTo(t *testing.T) {
	img, _, _ := overlaytest.Scene("a.png", 1)
	for _, tc := range []struct{ w, want int }{{10, 3 * 48}, {200, 320}} {
		m := detect.MarkRecord{Class: detect.BottomObject, Box: detect.Box{X: 300, Y: 200, W: tc.w, H: 10}}
		out := Chip(img, m, ChipOptions{Most: 3})
		if got := max(out.Bounds().Dx(), out.Bounds().Dy()); got != tc.want {
			t.Errorf("a mark %d pixels wide gives %d pixels, want %d", tc.w, got, tc.want)
		}
		if n := count(out, out.Bounds(), StyleOf(m.Class).Color); n < 20 {
			t.Errorf("a mark %d pixels wide: %d pixels of its class's colour", tc.w, n)
		}
	}
}

// A thumbnail shows what the picture shows, evenly: what is picked out of it must not depend on where speckle falls.
func TestThumb(t *testing.T) {
	speckle := image.NewNRGBA(image.Rect(0, 0, 1920, 1080))
	for i := range 1920 * 1080 {
		v := uint8(255 * (i * 7919 % 13 % 2))
		copy(speckle.Pix[4*i:], []byte{v, v, v, 255})
	}
	out := Thumb(speckle, 128)
	if b := out.Bounds(); b.Dx() != 128 || b.Dy() != 72 {
		t.Fatalf("size %v", b)
	}
	lo, hi := uint32(0xffff), uint32(0)
	for y := range 72 {
		for x := range 128 {
			v, _, _, _ := out.At(x, y).RGBA()
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo < 0x2000 || hi > 0xc000 {
		t.Errorf("speckle shows: from %#x to %#x", lo, hi)
	}
	small := Thumb(image.NewGray(image.Rect(5, 5, 69, 69)), 128)
	if small.Bounds() != image.Rect(0, 0, 128, 128) {
		t.Errorf("a small picture gives %v", small.Bounds())
	}
	if strip := Thumb(image.NewGray(image.Rect(0, 0, 20000, 1)), 128); strip.Bounds().Dx() != 128 {
		t.Errorf("a line gives %v", strip.Bounds())
	}
}

func TestAltitudePlot(t *testing.T) {
	_, capt, _ := overlaytest.Scene("a.png", 1)
	panel := capt.Panels[0]
	for _, u := range []Units{Metres, Feet} {
		var b bytes.Buffer
		if err := AltitudePlot(&b, panel, u); err != nil {
			t.Fatal(err)
		}
		keep(t, "altitude-"+string(u)+".png", b.Bytes())
		if _, err := png.Decode(&b); err != nil {
			t.Errorf("%s: not a PNG: %v", u, err)
		}
	}
	panel.AltitudeM = nil
	panel.AltitudePx[3][1] = math.NaN()
	var b bytes.Buffer
	if err := AltitudePlot(&b, panel, Metres); err != nil {
		t.Errorf("in pixels, with a row that has no altitude: %v", err)
	}
	if err := AltitudePlot(&b, detect.PanelRecord{}, Metres); !errors.Is(err, ErrNoAltitude) {
		t.Errorf("error %v, want ErrNoAltitude", err)
	}
}

func TestStripFollowsRangeOnBothSides(t *testing.T) {
	img, capt, marks := overlaytest.Scene("a.png", 1)
	for _, m := range marks[:3] {
		s, err := StripOf(img, capt, m, nil)
		if err != nil {
			t.Fatal(err)
		}
		if !s.FromNadir || s.SlantPx[0] >= s.SlantPx[len(s.SlantPx)-1] {
			t.Errorf("%s: range does not grow outward from the nadir", m.Mark)
		}
		if s.Highlight[1] > s.Shadow[0] {
			t.Errorf("%s: shadow at %v px is not behind the highlight at %v px", m.Mark, s.Shadow, s.Highlight)
		}
		if hi, sh := meanOver(s, s.Highlight), meanOver(s, s.Shadow); hi < 2*sh {
			t.Errorf("%s: brightness %.2f in the highlight, %.2f in the shadow", m.Mark, hi, sh)
		}
		var b bytes.Buffer
		if err := StripPlot(&b, s, StyleOf(m.Class), RangePerPx(m), Metres); err != nil {
			t.Fatal(err)
		}
		keep(t, "strip-"+m.Mark+".png", b.Bytes())
		img, err := png.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		// the highlight's stretch is filled with its class's colour, two fifths of it over white, give or take rounding
		c, n := StyleOf(m.Class).Color, 0
		near := func(got, class uint8) bool { return math.Abs(float64(got)-0.4*float64(class)-0.6*255) <= 2 }
		for y := range img.Bounds().Dy() {
			for x := range img.Bounds().Dx() {
				if p := color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA); near(p.R, c.R) && near(p.G, c.G) && near(p.B, c.B) {
					n++
				}
			}
		}
		if n < 100 {
			t.Errorf("%s: %d pixels of the highlight's fill", m.Mark, n)
		}
	}
	if got := RangePerPx(marks[0]); math.Abs(got-overlaytest.RangePerPx) > 1e-9 {
		t.Errorf("scale %v m a pixel, want %v", got, overlaytest.RangePerPx)
	}
	if _, err := StripOf(img, capt, detect.MarkRecord{Box: detect.Box{X: 5000, Y: 5000, W: 2, H: 2}}, nil); !errors.Is(err, ErrNoStrip) {
		t.Errorf("error %v, want ErrNoStrip", err)
	}
}

func TestFeetAreInternationalFeet(t *testing.T) {
	// 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959).
	if got := Feet.FromMetres(0.3048); math.Abs(got-1) > 1e-12 {
		t.Errorf("0.3048 m = %v ft, want 1", got)
	}
}

func meanOver(s *Strip, span [2]float64) float64 {
	sum, n := 0.0, 0
	for i, x := range s.SlantPx {
		if x > span[0] && x < span[1] {
			sum, n = sum+s.Echo[i], n+1
		}
	}
	return sum / float64(max(n, 1))
}

func count(img image.Image, r image.Rectangle, c color.NRGBA) int {
	n := 0
	r = r.Intersect(img.Bounds())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if color.NRGBAModel.Convert(img.At(x, y)) == c {
				n++
			}
		}
	}
	return n
}

func BenchmarkDraw(b *testing.B) {
	img, capt, marks := overlaytest.Scene("a.png", 1)
	for b.Loop() {
		Draw(img, capt, marks, Options{})
	}
}
