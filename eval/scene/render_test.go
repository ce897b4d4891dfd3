package scene

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// quiet is a small flawless capture of one side: flat bottom, exact gain, hardly any noise or speckle.
func quiet() Spec {
	return Spec{
		Seed: 1, ScreenW: 640, ScreenH: 120, StarboardPx: 600, Rows: 120, Pings: 120,
		RangeM: 30, AltitudeM: 6, SpeedMps: 1, PingHz: 20,
		Bottom:  Bottom{Reflectivity: 1},
		Sonar:   Sonar{BeamDeg: 0.01, Looks: 200, NoiseDB: -60, FillDB: -60, GainAngle: 1, GainAbsorbed: 1},
		Display: Display{Level: 0.3, Palette: "grey"},
	}
}

func mustRender(t *testing.T, s Spec) *Capture {
	t.Helper()
	c, err := Render(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func onlyMark(t *testing.T, c *Capture) eval.MarkLabel {
	t.Helper()
	if len(c.Label.Marks) != 1 {
		t.Fatalf("%d marks, want 1: %+v", len(c.Label.Marks), c.Label.Marks)
	}
	return c.Label.Marks[0]
}

// The far end of a shadow against the exact flat-bottom formula s_e = s_t / (1 - z_top / h), from similar triangles in slant range.
func TestShadowLengthFlatBottom(t *testing.T) {
	for _, tt := range []struct{ x, height, altitude float64 }{
		{8, 0.4, 6}, {12, 0.8, 6}, {12, 1.5, 6}, {20, 0.5, 6}, {20, 1.2, 9}, {5, 0.6, 3}, {25, 0.3, 5},
	} {
		s := quiet()
		s.AltitudeM = tt.altitude
		const halfX = 0.3
		s.Structures = []Structure{{Shape: "crib", X: tt.x, HalfLongM: halfX, HalfShortM: 1, HeightM: tt.height, Strength: 1}}
		m := onlyMark(t, mustRender(t, s))
		if m.Shadow == nil {
			t.Fatalf("%+v: no shadow", tt)
		}
		top := math.Hypot(tt.x+halfX, tt.altitude-tt.height)
		want := min(top/(1-tt.height/tt.altitude), s.RangeM)
		got := float64(m.Shadow.X+m.Shadow.W) * s.PixelM()
		if math.Abs(got-want) > s.PixelM() {
			t.Errorf("%+v: shadow ends at %.3f m, want %.3f m", tt, got, want)
		}
		if z := tt.altitude * (1 - top/got); want < s.RangeM && math.Abs(z-tt.height) > 0.03 {
			t.Errorf("%+v: height from shadow %.3f m", tt, z)
		}
		if m.Class != detect.RaisedStructure || *m.GapPx != 0 || *m.HeightM != tt.height {
			t.Errorf("%+v: class %s, gap %v, height %v", tt, m.Class, *m.GapPx, *m.HeightM)
		}
	}
}

// Both ends of a detached shadow, against rays found by walking round the target's outline.
func TestDetachedShadow(t *testing.T) {
	for _, tt := range []struct{ x, off, thick, altitude float64 }{
		{8, 0.5, 0.3, 6}, {12, 1, 0.3, 6}, {18, 0.3, 0.4, 6}, {18, 1.2, 0.2, 9}, {3, 3, 0.4, 6}, {10, 0.1, 0.3, 5},
	} {
		s := quiet()
		s.AltitudeM = tt.altitude
		f := Fish{X: tt.x, Y: 0, OffBottomM: tt.off, LengthM: 0.5, WidthM: 0.9, ThickM: tt.thick, Strength: 30}
		s.Fish = []Fish{f}
		m := onlyMark(t, mustRender(t, s))
		if m.Class != detect.SuspendedTarget || m.Shadow == nil {
			t.Fatalf("%+v: class %s, shadow %v", tt, m.Class, m.Shadow)
		}
		lo, hi, far := math.Inf(1), math.Inf(-1), 0.0
		for i := range 3600 {
			sin, cos := math.Sincos(float64(i) * math.Pi / 1800)
			g, z := tt.x+f.LengthM/2*cos, tt.off+tt.thick/2+tt.thick/2*sin
			slope := (z - tt.altitude) / g
			lo, hi = min(lo, slope), max(hi, slope)
			far = max(far, math.Hypot(g, tt.altitude-z))
		}
		bottom := func(slope float64) float64 { return math.Hypot(tt.altitude, tt.altitude/slope) }
		ds := s.PixelM()
		near, end := bottom(lo)/ds, bottom(hi)/ds
		if got := float64(m.Shadow.X); math.Abs(got-near) > 1 {
			t.Errorf("%+v: shadow begins at %.0f px, want %.2f", tt, got, near)
		}
		if got := float64(m.Shadow.X + m.Shadow.W); math.Abs(got-end) > 1 {
			t.Errorf("%+v: shadow ends at %.0f px, want %.2f", tt, got, end)
		}
		if want := max(0, near-far/ds); math.Abs(*m.GapPx-want) > 2 {
			t.Errorf("%+v: gap %.1f px, want %.2f", tt, *m.GapPx, want)
		}
		if *m.OffBottomM != tt.off || *m.HeightM != tt.thick {
			t.Errorf("%+v: off bottom %v, height %v", tt, *m.OffBottomM, *m.HeightM)
		}
	}
}

// A target nearer than the bottom shows in the water column.
func TestTargetInWaterColumn(t *testing.T) {
	s := quiet()
	s.Fish = []Fish{{X: 1.5, OffBottomM: 3, LengthM: 0.6, WidthM: 0.6, ThickM: 0.3, Strength: 20}}
	c := mustRender(t, s)
	m := onlyMark(t, c)
	if far := float64(m.Highlight.X + m.Highlight.W); far >= c.Label.FirstReturn.Starboard[0][1] {
		t.Errorf("highlight reaches %g, first return at %g", far, c.Label.FirstReturn.Starboard[0][1])
	}
	if *m.Contrast < 2 {
		t.Errorf("contrast %.2f against dark water", *m.Contrast)
	}
}

// What the labels call highlight and shadow is bright and dark in the picture.
func TestMarksAreVisible(t *testing.T) {
	s := quiet()
	s.Sonar.Looks = 4
	s.Rocks = []Rock{{X: 12, Y: 0, HalfLongM: 0.5, HalfShortM: 0.4, HeightM: 0.5, Strength: 1}}
	c := mustRender(t, s)
	m := onlyMark(t, c)
	mean := func(r image.Rectangle) float64 {
		sum, n := 0.0, 0.0
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				sum += float64(c.Image.RGBAAt(x, y).R)
				n++
			}
		}
		return sum / n
	}
	bottom := mean(image.Rect(300, 5, 500, 25))
	if h := mean(m.Highlight.Rect()); h < 1.4*bottom || *m.Contrast < 0.4 {
		t.Errorf("highlight mean %.0f over bottom %.0f, contrast %.2f", h, bottom, *m.Contrast)
	}
	if d := mean(m.Shadow.Rect()); d > 0.5*bottom {
		t.Errorf("shadow mean %.0f, bottom %.0f", d, bottom)
	}
	if m.Class != detect.BottomObject || *m.GapPx != 0 || m.Side != detect.Starboard {
		t.Errorf("class %s, gap %v, side %s", m.Class, *m.GapPx, m.Side)
	}
	if m.Shadow.X > m.Highlight.X+m.Highlight.W+1 {
		t.Errorf("shadow at %d is detached from highlight ending at %d", m.Shadow.X, m.Highlight.X+m.Highlight.W)
	}
}

// Port is the mirror of starboard.
func TestSidesMirror(t *testing.T) {
	s := quiet()
	s.PortPx, s.StarboardPx, s.ScreenW = 300, 300, 640
	s.PanelX = 20
	s.Rocks = []Rock{{X: 12, HalfLongM: 0.6, HalfShortM: 0.6, HeightM: 0.6, Strength: 1},
		{X: -12, HalfLongM: 0.6, HalfShortM: 0.6, HeightM: 0.6, Strength: 1}}
	c := mustRender(t, s)
	if len(c.Label.Marks) != 2 {
		t.Fatalf("%d marks", len(c.Label.Marks))
	}
	p, q := c.Label.Marks[0], c.Label.Marks[1]
	if p.Side != detect.Starboard {
		p, q = q, p
	}
	const nadir = 320
	if q.Side != detect.Port || p.Highlight.X-nadir != nadir-(q.Highlight.X+q.Highlight.W) || p.Shadow.W != q.Shadow.W {
		t.Errorf("starboard %+v %+v, port %+v %+v", p.Highlight, p.Shadow, q.Highlight, q.Shadow)
	}
}

// In a slant-corrected display a thing lies at its ground range.
func TestSlantCorrected(t *testing.T) {
	s := quiet()
	s.Display.SlantCorrected = true
	s.Structures = []Structure{{Shape: "crib", X: 10, HalfLongM: 0.5, HalfShortM: 1, HeightM: 0.05, Strength: 8}}
	m := onlyMark(t, mustRender(t, s))
	// A low front edge lies over 0.05 m * h / g inside its ground range.
	if got, want := float64(m.Highlight.X)*s.PixelM(), 9.5; math.Abs(got-want) > 2*s.PixelM() {
		t.Errorf("highlight begins at ground range %.3f m, want %.3f", got, want)
	}
}

func TestFirstReturnAndNadir(t *testing.T) {
	s := quiet()
	s.PortPx, s.StarboardPx = 320, 320
	s.SlopeX = 0.1
	c := mustRender(t, s)
	ds := s.PixelM()
	// The nearest point of a plane that rises by a to starboard is h cos(atan a) away, on the starboard side; to port the
	// nearest is right below.
	side := s.AltitudeM * math.Cos(math.Atan(s.SlopeX)) / ds
	for _, tt := range []struct {
		name string
		got  []detect.RowX
		want float64
	}{
		{"nadir", c.Label.Nadir, 319.5},
		{"starboard", c.Label.FirstReturn.Starboard, 319.5 + side},
		{"port", c.Label.FirstReturn.Port, 319.5 - s.AltitudeM/ds},
	} {
		if len(tt.got) != s.Rows {
			t.Errorf("%s: %d points, want one a row", tt.name, len(tt.got))
			continue
		}
		for r, p := range tt.got {
			if p[0] != float64(r) || math.Abs(p[1]-tt.want) > 0.05 {
				t.Errorf("%s: row %d is %v, want x %.2f", tt.name, r, p, tt.want)
				break
			}
		}
	}
}

func TestEveryKind(t *testing.T) {
	for _, kind := range Kinds() {
		marks := 0
		for seed := int64(1); seed <= 4; seed++ {
			c := mustRender(t, Random(seed, kind))
			marks += len(c.Label.Marks)
			checkLabel(t, kind, seed, c)
		}
		if bare := kind == KindSand || kind == KindClutter; bare != (marks == 0) {
			t.Errorf("%s: %d marks in 4 captures", kind, marks)
		}
	}
}

func checkLabel(t *testing.T, kind Kind, seed int64, c *Capture) {
	t.Helper()
	frame := c.Image.Bounds()
	inside := func(what string, b *detect.Box) {
		if b != nil && (b.W <= 0 || b.H <= 0 || !b.Rect().In(frame)) {
			t.Errorf("%s %d: %s %+v outside %v", kind, seed, what, *b, frame)
		}
	}
	inside("panel", c.Label.Panel)
	for _, m := range c.Label.Marks {
		inside("highlight", m.Highlight)
		inside("shadow", m.Shadow)
		for name, v := range map[string]*float64{"height": m.HeightM, "off bottom": m.OffBottomM, "slant": m.SlantM,
			"contrast": m.Contrast} {
			if v == nil && name == "height" && m.Kind == "quay" {
				continue // its shadow has no end
			}
			if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
				t.Errorf("%s %d: %s %s of %s is %v", kind, seed, m.Class, name, m.Kind, v)
			}
		}
		if (m.Shadow == nil) != (m.GapPx == nil) {
			t.Errorf("%s %d: shadow %v with gap %v", kind, seed, m.Shadow, m.GapPx)
		}
	}
	for _, r := range c.Label.Regions {
		inside("region", &r.Box)
	}
	for _, h := range c.Label.Humps {
		if h[0] < 0 || h[1] > frame.Dy() || h[0] >= h[1] {
			t.Errorf("%s %d: hump rows %v in %d rows", kind, seed, h, frame.Dy())
		}
	}
	for _, p := range [][]detect.RowX{c.Label.Nadir, c.Label.FirstReturn.Port, c.Label.FirstReturn.Starboard} {
		for _, q := range p {
			if q[0] < 0 || q[0] >= float64(frame.Dy()) || q[1] < -0.5 || q[1] > float64(frame.Dx()) {
				t.Fatalf("%s %d: profile point %v outside %v", kind, seed, q, frame)
			}
		}
	}
	if _, err := json.Marshal(c.Label); err != nil {
		t.Errorf("%s %d: %v", kind, seed, err)
	}
}

func TestReproducible(t *testing.T) {
	encode := func(s Spec) []byte {
		var b bytes.Buffer
		if err := mustRender(t, s).Encode(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	for _, photo := range []bool{false, true} {
		s := Random(7, KindMixed)
		s.Output = Output{Scale: 0.8, Photo: photo, PhotoTilt: 0.03, Glare: 0.2, JPEGQuality: 85}
		if !bytes.Equal(encode(s), encode(s)) {
			t.Errorf("photo %v: two renders of one Spec differ", photo)
		}
		other := s
		other.Seed++
		if bytes.Equal(encode(s), encode(other)) {
			t.Errorf("photo %v: another seed gives the same bytes", photo)
		}
	}
}

// Labels follow the picture through crop and rescale.
func TestLabelsFollowOutput(t *testing.T) {
	s := quiet()
	s.Rocks = []Rock{{X: 12, HalfLongM: 0.6, HalfShortM: 0.6, HeightM: 0.6, Strength: 1}}
	plain := onlyMark(t, mustRender(t, s))
	s.Output = Output{CropX: 100, CropY: 10, CropW: 400, CropH: 100, Scale: 1.5}
	c := mustRender(t, s)
	m := onlyMark(t, c)
	if c.Image.Bounds() != image.Rect(0, 0, 600, 150) {
		t.Fatalf("picture is %v", c.Image.Bounds())
	}
	near := func(got, want int) bool { return math.Abs(float64(got)-1.5*float64(want)) <= 1 }
	if !near(m.Highlight.X, plain.Highlight.X-100) || !near(m.Highlight.Y, plain.Highlight.Y-10) ||
		!near(m.Highlight.W, plain.Highlight.W) || !near(m.Shadow.W, plain.Shadow.W) {
		t.Errorf("highlight %+v shadow %+v from %+v %+v", m.Highlight, m.Shadow, plain.Highlight, plain.Shadow)
	}
	// The crop begins short of the first return at 120 px.
	if c.Label.FirstReturn.Starboard == nil || c.Label.FirstReturn.Port != nil || c.Label.Nadir != nil {
		t.Errorf("first return %d and %d points, nadir %d", len(c.Label.FirstReturn.Starboard), len(c.Label.FirstReturn.Port),
			len(c.Label.Nadir))
	}
}

func TestRefusals(t *testing.T) {
	for _, tt := range []struct {
		name string
		set  func(*Spec)
		want string
	}{
		{"no screen", func(s *Spec) { s.ScreenW = 0 }, "screen of"},
		{"panel too wide", func(s *Spec) { s.StarboardPx = 700 }, "does not fit"},
		{"no sides", func(s *Spec) { s.StarboardPx = 0 }, "sides of"},
		{"no pings", func(s *Spec) { s.Pings = 0 }, "pings"},
		{"range NaN", func(s *Spec) { s.RangeM = math.NaN() }, "must be positive"},
		{"too deep", func(s *Spec) { s.AltitudeM = 40 }, "no bottom within range"},
		{"crop outside", func(s *Spec) { s.Output = Output{CropW: 700, CropH: 10} }, "crop of"},
		{"palette", func(s *Spec) { s.Display.Palette = "plaid" }, `palette "plaid"`},
		{"looks", func(s *Spec) { s.Sonar.Looks = 0 }, "looks"},
	} {
		s := quiet()
		tt.set(&s)
		if _, err := Render(context.Background(), s); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want %q", tt.name, err, tt.want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Render(ctx, quiet()); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled context: %v", err)
	}
	if _, err := ParseKind("opera"); err == nil {
		t.Error("an unknown kind was taken")
	}
}

func TestWriteSet(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "set")
	a, b := quiet(), quiet()
	b.Output.JPEGQuality = 80
	if err := WriteSet(context.Background(), dir, []Named{{"one", a}, {"two", b}}); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "labels.json"))
	if err != nil {
		t.Fatal(err)
	}
	var l eval.Labels
	if err := json.Unmarshal(raw, &l); err != nil {
		t.Fatal(err)
	}
	if l.Schema != eval.SchemaVersion || len(l.Captures) != 2 || l.Captures[0].Capture != "one.png" || l.Captures[1].Capture != "two.jpg" {
		t.Fatalf("schema %d, captures %+v", l.Schema, l.Captures)
	}
	for _, c := range l.Captures {
		if _, err := os.Stat(filepath.Join(dir, c.Capture)); err != nil || c.By != "scene" {
			t.Errorf("%s by %q: %v", c.Capture, c.By, err)
		}
	}
	for _, name := range []string{"../out", "", ".", "a/b"} {
		if err := WriteSet(context.Background(), t.TempDir(), []Named{{name, a}}); err == nil {
			t.Errorf("name %q was taken", name)
		}
	}
}

func BenchmarkRender1080(b *testing.B) {
	s := Random(3, KindMixed)
	s.ScreenW, s.ScreenH, s.PanelX, s.PanelY = 1920, 1080, 0, 40
	s.PortPx, s.StarboardPx, s.Rows, s.Pings = 960, 960, 1040, 1040
	s.Screen.TopBar, s.Screen.BottomBar, s.Screen.Second = 40, 0, ""
	for _, bb := range []struct {
		name string
		out  Output
	}{{"screen", Output{}}, {"photo", Output{Photo: true, PhotoTilt: 0.03, Glare: 0.2}}} {
		s.Output = bb.out
		b.Run(bb.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Render(b.Context(), s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
