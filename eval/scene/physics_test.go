package scene

import (
	"context"
	"fmt"
	"math"
	"testing"
)

// sideOf casts and draws the starboard side of a capture.
func sideOf(t *testing.T, s Spec) *drawn {
	t.Helper()
	if err := s.check(); err != nil {
		t.Fatal(err)
	}
	pings := track(&s)
	w, err := newCast(&s).cast(context.Background(), pings)
	if err != nil {
		t.Fatal(err)
	}
	return drawSide(w[starboardSide], &s, pings, starboardSide)
}

// One-look amplitude is Rayleigh: std/mean = sqrt(4/pi - 1) = 0.5227232 (scipy.stats.rayleigh, SciPy 1.10.1). L looks averaged in
// intensity give a Nakagami amplitude: mean^2 = (Gamma(L + 1/2) / Gamma(L))^2 / L for unit mean square.
func TestSpeckle(t *testing.T) {
	// SciPy 1.10.1: stats.nakagami(L), std/mean.
	outside := map[int]float64{1: 0.5227232008770635, 4: 0.2536223993983511}
	for _, looks := range []int{1, 2, 4} {
		s := quiet()
		s.Sonar.Looks, s.Display.Level, s.Rows, s.Pings, s.ScreenH = looks, 0.1, 400, 400, 400
		d := sideOf(t, s)
		var sum, sum2, n float64
		for r := range d.rows {
			for c := 200; c < 580; c++ {
				v := float64(d.v[r*d.cols+c])
				sum, sum2, n = sum+v, sum2+v*v, n+1
			}
		}
		mean := sum / n
		got := math.Sqrt(sum2/n-mean*mean) / mean
		g1, _ := math.Lgamma(float64(looks) + 0.5)
		g0, _ := math.Lgamma(float64(looks))
		m := math.Exp(g1-g0) / math.Sqrt(float64(looks))
		want := math.Sqrt(1-m*m) / m
		if sci, ok := outside[looks]; ok && math.Abs(want-sci) > 1e-9 {
			t.Fatalf("closed form gives %.10f for %d looks, SciPy %.10f", want, looks, sci)
		}
		if math.Abs(got-want) > 0.005 {
			t.Errorf("%d looks: std/mean %.4f, want %.4f", looks, got, want)
		}
	}
}

// Lambert's law with 10 log10 mu = -27 dB: own arithmetic on 10 log10 mu + 10 log10 sin^2 theta; the constant is quoted from
// K.V. Mackenzie, J. Acoust. Soc. Am. 33, 1498, 1961, in the documentation of an open acoustic modelling library.
func TestLambert(t *testing.T) {
	mu := fromDB(-27)
	for _, tt := range []struct{ deg, db float64 }{{90, -27}, {60, -28.249}, {45, -30.010}, {30, -33.021}, {10, -42.207}} {
		got := 10 * math.Log10(lambert(mu, math.Sin(tt.deg*math.Pi/180)))
		if math.Abs(got-tt.db) > 0.001 {
			t.Errorf("%g deg: %.3f dB, want %.3f", tt.deg, got, tt.db)
		}
	}
	if lambert(1, -0.5) != 0 {
		t.Error("a facet turned away returned an echo")
	}
}

// The rays' echo of a flat bottom follows Lambert's law over slant range: (h/s)^2 times the facet length per slant metre, s/g.
func TestFlatBottomFallOff(t *testing.T) {
	s := quiet()
	pings := track(&s)
	w, err := newCast(&s).cast(context.Background(), pings)
	if err != nil {
		t.Fatal(err)
	}
	row := w[starboardSide].echo[:s.StarboardPx]
	for _, c := range []int{150, 200, 300, 450, 590} {
		m := (float64(c) + 0.5) * s.PixelM()
		h := s.AltitudeM
		want := h * h / (m * math.Sqrt(m*m-h*h))
		if got := float64(row[c]); math.Abs(got/want-1) > 0.01 {
			t.Errorf("at %.2f m: echo %.5f, want %.5f", m, got, want)
		}
	}
	for c, e := range row[:int(s.AltitudeM/s.PixelM())] {
		if e != 0 {
			t.Fatalf("echo %g inside the water column at column %d", e, c)
		}
	}
}

// Two-way spherical spreading loses 40 log10 of the ratio of ranges and the footprint's width wins 10 back; absorption
// takes its decibels a kilometre twice. Own arithmetic.
func TestPropagation(t *testing.T) {
	db := func(a, b, alpha float64) float64 { return 10 * math.Log10(propagation(b, alpha)/propagation(a, alpha)) }
	if got, want := db(10, 20, 0), -30*math.Log10(2); math.Abs(got-want) > 1e-9 {
		t.Errorf("10 to 20 m: %.4f dB, want %.4f", got, want)
	}
	if got, want := db(10, 100, 0), -30.0; math.Abs(got-want) > 1e-9 {
		t.Errorf("a decade: %.4f dB, want %.4f", got, want)
	}
	if got, want := db(10, 20, 100)-db(10, 20, 0), -2.0; math.Abs(got-want) > 1e-9 {
		t.Errorf("absorption over 10 m: %.4f dB, want %.4f", got, want)
	}
}

// Without gain the drawn intensity of a flat bottom falls by 30 dB a decade of range for spreading less footprint and by 20
// for Lambert's law far out.
func TestSpreadingSlopeDrawn(t *testing.T) {
	s := quiet()
	s.AltitudeM, s.Sonar.GainOff, s.Display.Level, s.Sonar.NoiseDB, s.Sonar.FillDB = 1, true, 0.004, -200, -200
	d := sideOf(t, s)
	mean := func(c int) float64 {
		sum := 0.0
		for r := range d.rows {
			v := float64(d.v[r*d.cols+c])
			sum += v * v
		}
		return sum / float64(d.rows)
	}
	a, b := 140, 560
	slope := 10 * math.Log10(mean(b)/mean(a)) / math.Log10((float64(b)+0.5)/(float64(a)+0.5))
	if math.Abs(slope+50) > 1 {
		t.Errorf("slope %.2f dB a decade, want -50", slope)
	}
}

// With the gain exact a flat bottom is drawn level.
func TestExactGainIsLevel(t *testing.T) {
	s := quiet()
	s.Sonar.AbsorbDBkm = 80
	d := sideOf(t, s)
	for _, c := range []int{160, 300, 590} {
		sum := 0.0
		for r := range d.rows {
			sum += float64(d.v[r*d.cols+c])
		}
		if got := sum / float64(d.rows); math.Abs(got-s.Display.Level) > 0.006 {
			t.Errorf("column %d drawn at %.3f, want %.3f", c, got, s.Display.Level)
		}
	}
}

func TestBeamWidens(t *testing.T) {
	s := quiet()
	s.Sonar.BeamDeg = 0.5
	// Half-power width 2.3548 sigma is range times beam width.
	for _, m := range []float64{10, 20} {
		want := m * 0.5 * math.Pi / 180 / 2.3548 / s.RowM()
		if got := s.beamSigmaRows(m); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g m: sigma %.4f rows, want %.4f", m, got, want)
		}
	}
	w := newSwath(41, 600)
	for c := range w.cols {
		w.echo[20*w.cols+c] = 1
	}
	beamBlur(w, &s)
	var width [2]float64
	for i, c := range []int{200, 580} {
		sum, sum2 := 0.0, 0.0
		for r := range w.rows {
			v := float64(w.echo[r*w.cols+c])
			sum += v
			sum2 += v * float64((r-20)*(r-20))
		}
		if math.Abs(sum-1) > 1e-4 {
			t.Errorf("column %d: energy %.5f after the beam, want 1", c, sum)
		}
		width[i] = math.Sqrt(sum2 / sum)
	}
	if width[1] < 1.8*width[0] {
		t.Errorf("spread %.2f rows near, %.2f far", width[0], width[1])
	}
}

// A raised far end hides the bottom behind it even when its own face lies over nearer bottom.
func TestLayover(t *testing.T) {
	s := quiet()
	s.Structures = []Structure{{Shape: "crib", X: 8, HalfLongM: 0.5, HalfShortM: 1, HeightM: 2, Strength: 1}}
	m := onlyMark(t, mustRender(t, s))
	top, foot := math.Hypot(7.5, 4), math.Hypot(7.5, 6)
	if got := float64(m.Highlight.X) * s.PixelM(); math.Abs(got-top) > 2*s.PixelM() || got > foot-0.5 {
		t.Errorf("highlight begins at %.2f m; the wall's top is %.2f m away and its foot %.2f m", got, top, foot)
	}
}

func TestDips(t *testing.T) {
	ramp := make([]float64, 100)
	for i := range ramp {
		ramp[i] = 5 + 0.02*float64(i)
	}
	with := func(base []float64, at, half int, deep float64) []float64 {
		out := append([]float64(nil), base...)
		for i := range out {
			if u := float64(i-at) / float64(half); math.Abs(u) < 1 {
				out[i] -= deep * (1 - u*u)
			}
		}
		return out
	}
	flat := make([]float64, 100)
	for _, tt := range []struct {
		name string
		alt  []float64
		want int
	}{
		{"flat", flat, 0},
		{"ramp", ramp, 0},
		{"one", with(flat, 50, 20, 1), 1},
		{"two", with(with(flat, 25, 12, 1), 70, 12, 0.8), 2},
		{"shallow", with(flat, 50, 20, 0.1), 0},
		{"on a ramp", with(ramp, 50, 20, 2), 1},
		{"cut off", with(flat, 0, 20, 1), 0},
	} {
		got := dips(tt.alt, 0.3)
		if len(got) != tt.want {
			t.Errorf("%s: %v, want %d", tt.name, got, tt.want)
		}
		if tt.name == "one" && fmt.Sprint(got) != "[[33 68]]" {
			// 1 - u^2 > 0.2 within 17.9 rows of row 50.
			t.Errorf("one: rows %v", got)
		}
	}
}

func TestWarp(t *testing.T) {
	quad := [4][2]float64{{3, 2}, {101, 5}, {97, 52}, {1, 48}}
	w := squareTo(quad)
	for i, c := range [4][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
		x, y := w.apply(c[0], c[1])
		if math.Hypot(x-quad[i][0], y-quad[i][1]) > 1e-9 {
			t.Errorf("corner %v goes to %g, %g, want %v", c, x, y, quad[i])
		}
		u, v := w.inverse().apply(x, y)
		if math.Hypot(u-c[0], v-c[1]) > 1e-9 {
			t.Errorf("corner %v comes back as %g, %g", c, u, v)
		}
	}
}

func TestPalettes(t *testing.T) {
	for _, name := range paletteNames() {
		r, err := ramp(name)
		if err != nil {
			t.Fatal(err)
		}
		up, down := 0, 0
		for i := 1; i < len(r); i++ {
			if d := lum(r[i]) - lum(r[i-1]); d > 0 {
				up++
			} else if d < 0 {
				down++
			}
		}
		if steady := up == 0 || down == 0; steady == (name == "spectrum") {
			t.Errorf("%s: %d steps up and %d down in luminance", name, up, down)
		}
	}
	if len(paletteNames()) != len(palettes) {
		t.Error("a palette has no place in PaletteNames")
	}
}
