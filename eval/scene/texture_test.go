package scene

import (
	"context"
	"encoding/json"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"shadowgap/detect"
)

// figures are what a window of bottom measures.
type figures [7]float64

var figureNames = [7]string{"std/mean", "slope b", "autocorr 1 px", "2 px", "4 px", "8 px", "12 over 4 px"}

const window = 96

// measure works out the figures of a window whose trend, a Gaussian of 24 pixels, is divided out.
func measure(v []float64) figures {
	p := &plane{window, window, make([]float32, len(v))}
	for i, x := range v {
		p.v[i] = float32(x)
	}
	trend := p.blur(24)
	r := make([]float64, len(v))
	mean := 0.0
	for i, x := range v {
		r[i] = x / max(1, float64(trend.v[i]))
		mean += r[i] / float64(len(v))
	}
	variance := 0.0
	for i := range r {
		r[i] -= mean
		variance += r[i] * r[i] / float64(len(r))
	}
	f := figures{math.Sqrt(variance) / mean, slopeOf(r)}
	for i, lag := range []int{1, 2, 4, 8} {
		sum, n := 0.0, 0.0
		for y := range window {
			for x := range window - lag {
				sum += r[y*window+x]*r[y*window+x+lag] + r[x*window+y]*r[(x+lag)*window+y]
				n += 2
			}
		}
		f[2+i] = sum / n / variance
	}
	f[6] = blockStd(r, 12) / blockStd(r, 4)
	return f
}

// slopeOf fits b of power 1/f^b by least squares in logarithms to the radial mean of a Hann-windowed spectrum.
func slopeOf(r []float64) float64 {
	fft := fourier.NewCmplxFFT(window)
	grid := make([]complex128, len(r))
	hann := func(i int) float64 { return 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/window) }
	for i, v := range r {
		grid[i] = complex(v*hann(i%window)*hann(i/window), 0)
	}
	col := make([]complex128, window)
	for y := range window {
		copy(grid[y*window:], fft.Coefficients(nil, grid[y*window:(y+1)*window]))
	}
	var power, count [window]float64
	for x := range window {
		for y := range window {
			col[y] = grid[y*window+x]
		}
		for y, c := range fft.Coefficients(nil, col) {
			fx, fy := min(x, window-x), min(y, window-y)
			if k := int(math.Round(math.Hypot(float64(fx), float64(fy)))); k < window/2 {
				power[k] += real(c)*real(c) + imag(c)*imag(c)
				count[k]++
			}
		}
	}
	var sx, sy, sxx, sxy, n float64
	for k := 3; k < window/2; k++ {
		x, y := math.Log(float64(k)), math.Log(power[k]/count[k]+1e-12)
		// Rings grow with their radius; equal weight in the logarithm of frequency is kept by 1/k.
		w := 1 / float64(k)
		sx, sy, sxx, sxy, n = sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y, n+w
	}
	return -(sxy*n - sx*sy) / (sxx*n - sx*sx)
}

func blockStd(r []float64, b int) float64 {
	var sum, sum2, n float64
	for by := 0; by < window; by += b {
		for bx := 0; bx < window; bx += b {
			m := 0.0
			for y := range b {
				for x := range b {
					m += r[(by+y)*window+bx+x]
				}
			}
			m /= float64(b * b)
			sum, sum2, n = sum+m, sum2+m*m, n+1
		}
	}
	return math.Sqrt(sum2/n - sum*sum/n/n)
}

// grey is the luminance of a pixel, 0 to 255.
func grey(img image.Image, x, y int) float64 {
	if m, ok := img.(*image.RGBA); ok {
		p := m.Pix[m.PixOffset(x, y):]
		return 0.299*float64(p[0]) + 0.587*float64(p[1]) + 0.114*float64(p[2])
	}
	r, g, b, _ := img.At(x, y).RGBA()
	return (0.299*float64(r) + 0.587*float64(g) + 0.114*float64(b)) / 257
}

// windowAt reads a window as luminance, 0 to 255; ok is false where it is not plain bottom: nearly black, a third of
// one level as where a display clips, or with a patch of 12 pixels far darker or brighter than the rest.
func windowAt(img image.Image, x0, y0 int) ([]float64, bool) {
	v := make([]float64, window*window)
	blocks := make([]float64, (window/12)*(window/12))
	mean := 0.0
	var levels [256]int
	for y := range window {
		for x := range window {
			l := grey(img, x0+x, y0+y)
			v[y*window+x] = l
			blocks[y/12*(window/12)+x/12] += l / 144
			mean += l / float64(len(v))
			levels[min(255, int(l))]++
		}
	}
	slices.Sort(blocks)
	mid := blocks[len(blocks)/2]
	return v, mean > 24 && blocks[0] > 0.4*mid && blocks[len(blocks)-1] < 2.2*mid && slices.Max(levels[:]) < len(v)/3
}

// sceneWindows measures windows of bottom clear of marks, furniture, water and lost rows, at most six a scene.
func sceneWindows(c *Capture) []figures {
	l := c.Label
	if l.Panel == nil || c.Spec.Output.Photo {
		return nil
	}
	var taken []image.Rectangle
	add := func(b *detect.Box, grow int) {
		if b != nil {
			taken = append(taken, b.Rect().Inset(-grow))
		}
	}
	for _, m := range l.Marks {
		add(m.Highlight, 6)
		add(m.Shadow, 6)
	}
	for _, f := range l.Furniture {
		add(&f.Box, 2)
	}
	for _, g := range l.Regions {
		add(&g.Box, 4)
	}
	for _, h := range l.LostRows {
		taken = append(taken, image.Rect(0, h[0]-2, c.Image.Bounds().Dx(), h[1]+2))
	}
	// The water column: between the two first returns, or from a side's first return to the picture's edge.
	rows := map[int][2]float64{}
	for _, p := range l.FirstReturn.Port {
		rows[int(p[0])] = [2]float64{p[1], 1e9}
	}
	for _, p := range l.FirstReturn.Starboard {
		v, ok := rows[int(p[0])]
		if !ok {
			v[0] = -1e9
		}
		rows[int(p[0])] = [2]float64{v[0], p[1]}
	}
	wet := func(r image.Rectangle) bool {
		for y := r.Min.Y; y < r.Max.Y; y += 8 {
			if v, ok := rows[y]; ok && float64(r.Max.X) > v[0]-6 && float64(r.Min.X) < v[1]+6 {
				return true
			}
		}
		return false
	}
	var out []figures
	area := l.Panel.Rect()
	for y := area.Min.Y; y+window <= area.Max.Y && len(out) < 6; y += window + 37 {
		for x := area.Min.X; x+window <= area.Max.X && len(out) < 6; x += window + 61 {
			r := image.Rect(x, y, x+window, y+window)
			if wet(r) || slices.ContainsFunc(taken, func(b image.Rectangle) bool { return b.Overlaps(r) }) {
				continue
			}
			if v, ok := windowAt(c.Image, x, y); ok {
				out = append(out, measure(v))
			}
		}
	}
	return out
}

// realWindows measures plain windows of the open pictures of half A.
func realWindows(t *testing.T) map[string][]figures {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/open/halves.json")
	if err != nil {
		t.Fatal(err)
	}
	var halves struct{ A []string }
	if err := json.Unmarshal(raw, &halves); err != nil {
		t.Fatal(err)
	}
	out := map[string][]figures{}
	for _, pattern := range halves.A {
		files, err := filepath.Glob(filepath.Join("../../../shared/open-data", pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			f, err := os.Open(name)
			if err != nil {
				t.Fatal(err)
			}
			img, _, err := image.Decode(f)
			f.Close()
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			group := filepath.Base(filepath.Dir(name))
			b := img.Bounds()
			for y := 0; y+window <= b.Dy(); y += window {
				for x := 0; x+window <= b.Dx(); x += window {
					if v, ok := windowAt(img, x, y); ok {
						out[group] = append(out[group], measure(v))
					}
				}
			}
		}
	}
	return out
}

func quantile(v []figures, k int, q float64) float64 {
	s := make([]float64, len(v))
	for i := range v {
		s[i] = v[i][k]
	}
	slices.Sort(s)
	return s[min(len(s)-1, int(q*float64(len(s))))]
}

// Windows of real bottoms lie inside what Wide draws, figure by figure.
func TestWideCoversRealTexture(t *testing.T) {
	open := realWindows(t)
	if len(open) == 0 {
		t.Skip("the open pictures (harbour-swaths, survey-lines, river-bottom) are not here")
	}
	const scenes = 84
	found := make([][]figures, scenes)
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.NumCPU() {
		wg.Go(func() {
			for i := range next {
				c, err := Render(context.Background(), Wide(100_500+int64(i)))
				if err != nil {
					t.Error(err)
					continue
				}
				found[i] = sceneWindows(c)
			}
		})
	}
	for i := range scenes {
		next <- i
	}
	close(next)
	wg.Wait()
	drawn := slices.Concat(found...)
	used := 0
	for _, f := range found {
		if len(f) > 0 {
			used++
		}
	}
	t.Logf("%d windows of %d scenes", len(drawn), used)
	if used < 60 {
		t.Fatalf("only %d scenes hold a window of plain bottom", used)
	}
	for k, name := range figureNames {
		lo, hi := quantile(drawn, k, 0.01), quantile(drawn, k, 0.99)
		in, n := 0, 0
		for group, v := range open {
			t.Logf("%-14s %-14s %4d windows: %.2f / %.2f / %.2f", name, group, len(v),
				quantile(v, k, 0.05), quantile(v, k, 0.5), quantile(v, k, 0.95))
			for i := range v {
				n++
				if v[i][k] >= lo && v[i][k] <= hi {
					in++
				}
			}
		}
		t.Logf("%-14s scenes 1 / 5 / 50 / 95 / 99 %%: %.2f / %.2f / %.2f / %.2f / %.2f; %.3f of the real inside", name, lo,
			quantile(drawn, k, 0.05), quantile(drawn, k, 0.5), quantile(drawn, k, 0.95), hi, float64(in)/float64(n))
		if float64(in) < 0.95*float64(n) {
			t.Errorf("%s: %d of %d real windows lie between %.3f and %.3f", name, in, n, lo, hi)
		}
	}
}
