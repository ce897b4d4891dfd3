package scene

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// What Random draws must never change: labels and fits rest on it. The sums were taken before Wide was there.
func TestRandomUnchanged(t *testing.T) {
	for _, tt := range []struct {
		kind Kind
		seed int64
		sum  string
	}{
		{"mixed", 3, "2b91077b09c3fd0715ee189078ddbbe06134237e3039e03e6f3e12163fed4c71"},
		{"sand", 12, "f534089fde526f111e508f791836cd703586b5885f6410b8925d1190ad8b077f"},
		{"rock-hump", 11, "54624578dfe02815ee9d40bda0929bb7857bd8a89b54d2cd5f7d03f6cebfc7d3"},
		{"timber", 12, "97e66a626099083f1e791b79dba50d59cf685f4f32983b11cc3c2c8da3ba9504"},
		{"structure", 11, "a6fdb461a3821b5054197fab3950added5f3cf639046f34f34009871ccd50441"},
		{"crop", 3, "99f0ba9ff4a4eaf1710ff93fb654dd45e76a2bfa3b87615e29a3b18d7c65d5b4"},
	} {
		c := mustRender(t, Random(tt.seed, tt.kind))
		h := sha256.New()
		if err := c.Encode(h); err != nil {
			t.Fatal(err)
		}
		truth, err := json.Marshal(c.Label)
		if err != nil {
			t.Fatal(err)
		}
		h.Write(truth)
		if got := fmt.Sprintf("%x", h.Sum(nil)); got != tt.sum {
			t.Errorf("%s %d: picture or truth changed: %s", tt.kind, tt.seed, got)
		}
	}
}

func TestWideReproducible(t *testing.T) {
	dirs := []string{t.TempDir(), t.TempDir()}
	for i, dir := range dirs {
		var set []Named
		for seed := range int64(3) {
			set = append(set, Named{fmt.Sprintf("wide-%d", seed), Wide(100_000 + seed)})
		}
		if err := writeSet(context.Background(), dir, set, 1+3*i); err != nil {
			t.Fatal(err)
		}
	}
	names, err := filepath.Glob(filepath.Join(dirs[0], "*"))
	if err != nil || len(names) != 4 {
		t.Fatalf("%d files: %v", len(names), err)
	}
	for _, name := range names {
		a, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(dirs[1], filepath.Base(name)))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a, b) {
			t.Errorf("%s depends on the number of workers", filepath.Base(name))
		}
	}
}

func TestWideLabels(t *testing.T) {
	for seed := int64(100_020); seed < 100_032; seed++ {
		c := mustRender(t, Wide(seed))
		checkLabel(t, KindWide, seed, c)
		frame := c.Image.Bounds()
		c.Label.Capture = "one.png"
		one := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{c.Label}}
		if err := one.Check(map[string]image.Point{"one.png": frame.Max}); err != nil {
			t.Errorf("%d: %v", seed, err)
		}
		if got, want := len(c.Label.Quad), 4; c.Spec.Output.Photo && got != want {
			t.Errorf("%d: quad of %d corners", seed, got)
		}
		if one := c.Spec.PortPx == 0 || c.Spec.StarboardPx == 0; one != (c.Label.Side != "") {
			t.Errorf("%d: %d and %d samples, side %q", seed, c.Spec.PortPx, c.Spec.StarboardPx, c.Label.Side)
		}
	}
}

// quietWide is quiet with both sides, recorded and displayed the way Wide's scenes are, but without noise or speckle.
func quietWide() Spec {
	s := quiet()
	s.PortPx, s.StarboardPx = 300, 300
	s.Detailed = true
	s.Sonar.NoiseDB, s.Sonar.FillDB = -90, -90
	s.Record = Record{On: true, Looks: 400}
	s.Chain = Chain{On: true, BinX: 1, BinY: 1, W: 600, H: 120, Kernel: KernelNearest}
	return s
}

// step is where strength along a row first passes half of a bottom's, going outward from within the water.
func step(img *image.RGBA, row int, from, dir float64, half float64) float64 {
	prev := grey(img, int(from), row)
	for x := from + dir; x >= 0 && int(x) < img.Bounds().Dx(); x += dir {
		v := grey(img, int(x), row)
		if v >= half {
			return float64(int(x)) - dir*(v-half)/max(1, v-prev)
		}
		prev = v
	}
	return math.NaN()
}

func TestFirstReturnLiesOnTheStep(t *testing.T) {
	const span = 14 // pixels from within the water
	for _, tt := range []struct {
		name string
		set  func(*Spec)
		tol  float64
	}{
		{"plain", func(*Spec) {}, 0.5},
		{"enlarged, linear", func(s *Spec) { s.Chain.W, s.Chain.H, s.Chain.Kernel = 1100, 260, KernelLinear }, 1},
		{"enlarged, cubic", func(s *Spec) { s.Chain.W, s.Chain.H, s.Chain.Kernel = 1400, 110, KernelCubic }, 1},
		{"shrunk, area", func(s *Spec) { s.Chain.W, s.Chain.H, s.Chain.Kernel = 380, 90, KernelArea }, 0.5},
		{"shrunk, nearest", func(s *Spec) { s.Chain.W, s.Chain.H = 310, 50 }, 0.5},
		{"binned", func(s *Spec) { s.Chain.BinX, s.Chain.BinY, s.Chain.W, s.Chain.H = 2, 3, 900, 200 }, 1},
		{"smoothed", func(s *Spec) { s.Chain.Smooth, s.Chain.PostSmooth = 1.2, 0.8 }, 1.5},
		{"rescaled picture", func(s *Spec) { s.Output.ScaleX, s.Output.ScaleY, s.Output.Kernel = 1.7, 0.6, KernelLinear }, 0.8},
		{"cut", func(s *Spec) { s.Output = Output{CropX: 140, CropY: 20, CropW: 400, CropH: 90} }, 0.5},
		{"off centre", func(s *Spec) { s.PortPx, s.StarboardPx = 200, 400 }, 0.5},
		{"relief", func(s *Spec) {
			s.Texture = Texture{On: true, CellM: 0.15, Aspect: 3, Octaves: 6, Slope: 2, LevelDB: 0.5, ReliefB: 3, Rough: 0.03}
		}, 1.2},
		{"ledge under starboard", func(s *Spec) {
			s.Ledges = []Ledge{{Side: starboardSide, Y0: -50, Y1: 50, X: 1, WanderM: 0.1, CellM: 3, HeightM: 2.5, WideM: 1, EndM: 1}}
		}, 1.5},
		{"steep hump", func(s *Spec) {
			s.Humps = []Mound{{X: 0.5, RadiusX: 8, RadiusY: 1.2, HeightM: 4.2, Reflectivity: 1}}
		}, 2},
		{"joint", func(s *Spec) { s.Joints = []Joint{{Row: 50, SkipM: 100, RiseM: 2}} }, 0.5},
		{"gain steps", func(s *Spec) { s.Record.Steps = []GainStep{{Row: 60, DB: 2}, {Col: 160, DB: -2}} }, 0.5},
		{"bright strip, dim far bottom", func(s *Spec) { s.Record.StripDB, s.Record.StripPx, s.Record.FarDB = 8, 30, 14 }, 0.5},
		{"leak of the other side", func(s *Spec) { s.Record.Cross = 0.05 }, 0.5},
		{"broad nadir", func(s *Spec) { s.Nadir = Nadir{On: true, Bands: []NadirBand{{0, 20, 0.9, 0}}} }, 0.5},
		{"camera", func(s *Spec) {
			s.Output.Photo, s.Output.CameraDeg = true, [3]float64{12, 8, 2}
		}, 1},
		{"starboard only", func(s *Spec) { s.PortPx, s.StarboardPx, s.Chain.W = 0, 400, 300 }, 0.6},
	} {
		s := quietWide()
		tt.set(&s)
		s.ScreenW, s.ScreenH = s.Chain.W, s.Chain.H
		c := mustRender(t, s)
		for side, points := range [][]detect.RowX{c.Label.FirstReturn.Port, c.Label.FirstReturn.Starboard} {
			if points == nil {
				if side == starboardSide || s.PortPx > 0 {
					t.Errorf("%s: no first return on side %d", tt.name, side)
				}
				continue
			}
			dir := float64(2*side - 1)
			var off []float64
			for _, p := range points {
				row := int(p[0])
				if p[1] < span || p[1] > float64(c.Image.Bounds().Dx()-span-8) {
					continue
				}
				// Bottom a few pixels out gives the strength whose half is the step.
				half := (grey(c.Image, int(p[1]+dir*6), row) + grey(c.Image, int(p[1]-dir*span), row)) / 2
				off = append(off, math.Abs(step(c.Image, row, p[1]-dir*span, dir, half)-p[1]))
			}
			if len(off) < c.Image.Bounds().Dy()/3 {
				t.Errorf("%s: only %d rows on side %d", tt.name, len(off), side)
				continue
			}
			slices.SortFunc(off, func(a, b float64) int {
				// A row without a step counts as the worst.
				switch {
				case math.IsNaN(a):
					return 1
				case math.IsNaN(b) || a < b:
					return -1
				}
				return 1
			})
			if worst := off[len(off)*95/100]; !(worst <= tt.tol) {
				t.Errorf("%s: side %d, 95 %% of rows within %.2f px of the step, median %.2f, want %.1f", tt.name, side, worst,
					off[len(off)/2], tt.tol)
			}
		}
	}
}

// All that is drawn over the panel is in a furniture box, and every box holds something.
func TestFurnitureIsLabelled(t *testing.T) {
	bare := quietWide()
	bare.Screen.TextPx = 14
	full := bare
	full.Screen.Labels, full.Screen.GridLines, full.Screen.GridAlpha = true, 2, 1
	full.Screen.Cursor, full.Screen.CursorX, full.Screen.CursorY = true, 200, 60
	full.Screen.ScaleBar, full.Screen.ColourBar = true, true
	full.Screen.Plates = []Plate{
		{X: 420, Y: 30, Text: "10 M", Filled: true, Upright: true, TextPx: 14, TickPx: 12, Twice: true},
		{X: 480, Y: 40, Text: "8", Light: true, TextPx: 16},
	}
	full.Screen.Bars = []Bar{{X: 30, Y: 40, W: 12, H: 60, Ramp: true}, {X: 60, Y: 70, W: 80, H: 10}}
	a, b := mustRender(t, bare), mustRender(t, full)
	if len(a.Label.Furniture) != 0 {
		t.Errorf("bare panel with furniture %+v", a.Label.Furniture)
	}
	used := make([]bool, len(b.Label.Furniture))
	panel := b.Label.Panel.Rect()
	for y := panel.Min.Y; y < panel.Max.Y; y++ {
		for x := panel.Min.X; x < panel.Max.X; x++ {
			if a.Image.RGBAAt(x, y) == b.Image.RGBAAt(x, y) {
				continue
			}
			known := false
			for i, f := range b.Label.Furniture {
				if image.Pt(x, y).In(f.Box.Rect()) {
					used[i], known = true, true
				}
			}
			if !known {
				t.Fatalf("something drawn at %d, %d is in no box", x, y)
			}
		}
	}
	kinds := map[string]int{}
	for i, f := range b.Label.Furniture {
		kinds[f.Kind]++
		if !used[i] {
			t.Errorf("%s box %+v is empty", f.Kind, f.Box)
		}
	}
	for _, k := range []string{"text", "plate", "bar", "cursor", "line"} {
		if kinds[k] == 0 {
			t.Errorf("no %s in %v", k, kinds)
		}
	}
}

func TestLostRows(t *testing.T) {
	s := quietWide()
	s.Record.Holes = []Hole{{40, 52, "black"}}
	s.Chain.H, s.ScreenH = 180, 180
	c := mustRender(t, s)
	if got, want := fmt.Sprint(c.Label.LostRows), "[[60 78]]"; got != want {
		t.Fatalf("lost rows %s, want %s", got, want)
	}
	for _, tt := range []struct {
		row  int
		lost bool
	}{{58, false}, {60, true}, {77, true}, {79, false}} {
		if dark := grey(c.Image, 500, tt.row) < 20; dark != tt.lost {
			t.Errorf("row %d: dark %v, want %v", tt.row, dark, tt.lost)
		}
	}
}

// A quay is one raised structure: a bright line with nothing behind it, and what lies behind it is no mark.
func TestQuay(t *testing.T) {
	s := quietWide()
	s.Quays = []Quay{{Side: starboardSide, Row0: 20, Row1: 100, At0: 0.6, At1: 0.6, CellRows: 20, WidePx: 3, Strength: 6}}
	rock := Rock{HalfLongM: 0.6, HalfShortM: 0.6, HeightM: 0.6, Strength: 2}
	for _, x := range []float64{12, 24, -12} {
		r := rock
		r.X = x
		s.Rocks = append(s.Rocks, r)
	}
	c := mustRender(t, s)
	var quays []eval.MarkLabel
	for _, m := range c.Label.Marks {
		if m.Kind == "quay" {
			quays = append(quays, m)
		}
	}
	if len(c.Label.Marks) != 3 || len(quays) != 1 {
		t.Fatalf("%d marks, %d of them quays, want the two in front of the wall and itself", len(c.Label.Marks), len(quays))
	}
	q := quays[0]
	if q.Class != detect.RaisedStructure || q.Highlight.X != 300+180 || q.Highlight.Y > 22 || q.Highlight.H < 76 || q.HeightM != nil {
		t.Errorf("quay: %s at %+v, height %v", q.Class, *q.Highlight, q.HeightM)
	}
	if q.Shadow == nil || q.Shadow.X != q.Highlight.X+q.Highlight.W || q.Shadow.X+q.Shadow.W != 600 {
		t.Errorf("quay's shadow %+v, want all that lies behind it", q.Shadow)
	}
	line, behind, front := grey(c.Image, 300+181, 50), grey(c.Image, 300+240, 50), grey(c.Image, 300+150, 50)
	if line < 1.4*front || behind > 0.1*front {
		t.Errorf("line %.0f, front %.0f, behind %.0f", line, front, behind)
	}
}

func TestFrameStandsInTheColumn(t *testing.T) {
	s := quietWide()
	s.Frames = []Frame{{Side: starboardSide, Row0: 30, Row1: 80, Rails: []float64{25, 40}, RungRows: 6, RailPx: 2, Strength: 4, HeightM: 3}}
	m := onlyMark(t, mustRender(t, s))
	if m.Class != detect.RaisedStructure || m.Highlight.X != 325 || m.Highlight.Y > 31 || m.Highlight.H < 48 {
		t.Errorf("%s at %+v", m.Class, *m.Highlight)
	}
}
