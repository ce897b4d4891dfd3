package frame_test

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"testing"
)

// field is a w × h array of values.
type field struct {
	w, h int
	v    []float64
}

func (f field) at(x, y int) float64 {
	return f.v[min(f.h-1, max(0, y))*f.w+min(f.w-1, max(0, x))]
}

// fractal sums octaves of smooth noise whose amplitude halves with the wavelength: power falls with about the square of
// frequency, as in natural photographs (D. J. Field, 1987, from memory).
func fractal(rng *rand.Rand, w, h int, finest float64) field {
	f := field{w, h, make([]float64, w*h)}
	total := 0.0
	for size := float64(max(w, h)) / 2; size >= finest; size /= 2 {
		amp := size / float64(max(w, h))
		amp = math.Sqrt(amp) * math.Sqrt(amp)
		gw, gh := int(float64(w)/size)+3, int(float64(h)/size)+3
		g := make([]float64, gw*gh)
		for i := range g {
			g[i] = rng.NormFloat64()
		}
		for y := range h {
			gy := float64(y) / size
			y0 := int(gy)
			ky := ease(gy - float64(y0))
			for x := range w {
				gx := float64(x) / size
				x0 := int(gx)
				kx := ease(gx - float64(x0))
				a := g[y0*gw+x0]*(1-kx) + g[y0*gw+x0+1]*kx
				b := g[(y0+1)*gw+x0]*(1-kx) + g[(y0+1)*gw+x0+1]*kx
				f.v[y*w+x] += amp * (a*(1-ky) + b*ky)
			}
		}
		total += amp * amp
	}
	for i := range f.v {
		f.v[i] /= math.Sqrt(total)
	}
	return f
}

func ease(t float64) float64 { return t * t * (3 - 2*t) }

func byteOf(v float64) uint8 { return uint8(min(255, max(0, v))) }

// greyPhoto is a photograph-like picture without colour; noise is the sensor's.
func greyPhoto(rng *rand.Rand, w, h int, noise float64) image.Image {
	f := fractal(rng, w, h, 1)
	m := image.NewGray(image.Rect(0, 0, w, h))
	for i, v := range f.v {
		m.Pix[i] = byteOf(125 + 45*v + noise*rng.NormFloat64())
	}
	return m
}

// colourPhoto has three channels that share most of their light, as photographs do.
func colourPhoto(rng *rand.Rand, w, h int, noise float64) image.Image {
	light, a, b := fractal(rng, w, h, 1), fractal(rng, w, h, 2), fractal(rng, w, h, 2)
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for i, v := range light.v {
		l := 120 + 42*v
		m.Pix[4*i] = byteOf(l + 24*a.v[i] + noise*rng.NormFloat64())
		m.Pix[4*i+1] = byteOf(l - 8*a.v[i] + 10*b.v[i] + noise*rng.NormFloat64())
		m.Pix[4*i+2] = byteOf(l - 22*a.v[i] - 18*b.v[i] + noise*rng.NormFloat64())
		m.Pix[4*i+3] = 255
	}
	return m
}

// fur draws hairs: noise smeared along a direction that turns slowly over the picture, light and shade, dark stripes.
func fur(rng *rand.Rand, w, h int, length float64, colour bool) image.Image {
	turn, shade, stripe := fractal(rng, w, h, float64(w)/8), fractal(rng, w, h, float64(w)/8), fractal(rng, w, h, float64(w)/16)
	noise := field{w, h, make([]float64, w*h)}
	for i := range noise.v {
		noise.v[i] = rng.NormFloat64()
	}
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			angle := 0.7 + 0.6*turn.at(x, y)
			dx, dy := math.Cos(angle), math.Sin(angle)
			sum, n := 0.0, 0.0
			for t := -length / 2; t <= length/2; t++ {
				sum += noise.at(int(float64(x)+t*dx), int(float64(y)+t*dy))
				n++
			}
			v := 118 + 28*sum/math.Sqrt(n) + 22*shade.at(x, y)
			if stripe.at(x, y) > 0.5 {
				v *= 0.6
			}
			c := color.RGBA{byteOf(v), byteOf(v), byteOf(v), 255}
			if colour {
				c = color.RGBA{byteOf(v * 1.18), byteOf(v * 0.92), byteOf(v*0.66 + 4*shade.at(x, y)), 255}
			}
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

// chart has flat bands of depth with thin lines between and a few words' worth of strokes.
func chart(rng *rand.Rand, w, h int) image.Image {
	f := fractal(rng, w, h, float64(w)/8)
	bands := []color.RGBA{{222, 208, 160, 255}, {190, 220, 235, 255}, {150, 195, 225, 255}, {110, 165, 210, 255}, {80, 135, 190, 255}}
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			k := int(min(4, max(0, 2.5+1.4*f.at(x, y))))
			c := bands[k]
			if x > 0 && int(min(4, max(0, 2.5+1.4*f.at(x-1, y)))) != k {
				c = color.RGBA{60, 80, 110, 255}
			}
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

// page looks like lines of text: short dark strokes in rows on white.
func page(rng *rand.Rand, w, h int) image.Image {
	m := image.NewGray(image.Rect(0, 0, w, h))
	for i := range m.Pix {
		m.Pix[i] = 250
	}
	for y := 20; y+12 < h; y += 18 {
		for x := 20; x < w-20; {
			word := 3 + rng.IntN(8)
			for range word {
				for k := range 9 {
					m.SetGray(x, y+k, color.Gray{30})
					if rng.IntN(3) > 0 {
						m.SetGray(x+1+rng.IntN(4), y+k, color.Gray{60})
					}
				}
				x += 7
			}
			x += 6
		}
	}
	return m
}

// history is a down-looking record: noise at the top, water, a bottom line that wanders, its tail below.
func history(rng *rand.Rand, w, h int) image.Image {
	f := fractal(rng, w, 2, float64(w)/16)
	m := image.NewGray(image.Rect(0, 0, w, h))
	for x := range w {
		bottom := float64(h) * (0.55 + 0.06*f.at(x, 0))
		for y := range h {
			v := 0.04 + 0.04*rng.Float64()
			d := float64(y) - bottom
			if y < 8 {
				v = 0.5 + 0.5*rng.Float64()
			} else if d > 0 {
				v = (0.2 + 0.75*math.Exp(-d/25)) * math.Sqrt(rng.ExpFloat64()) * 0.9
			}
			m.SetGray(x, y, color.Gray{byteOf(255 * v)})
		}
	}
	return m
}

// windows is a desk of flat windows with gradients.
func windows(rng *rand.Rand, w, h int) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetRGBA(x, y, color.RGBA{byteOf(40 + 100*float64(y)/float64(h)), byteOf(60 + 80*float64(x)/float64(w)), 140, 255})
		}
	}
	for range 6 {
		x, y := rng.IntN(w/2), rng.IntN(h/2)
		r := image.Rect(x, y, x+w/3, y+h/3)
		draw.Draw(m, r, image.NewUniform(color.RGBA{235, 235, uint8(200 + rng.IntN(50)), 255}), image.Point{}, draw.Src)
		draw.Draw(m, r.Inset(20), page(rng, r.Dx(), r.Dy()), image.Point{}, draw.Src)
	}
	return m
}

func viaJPEG(t testing.TB, m image.Image, quality int) image.Image {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	out, err := jpeg.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// fakes are pictures without side-scan, by name.
func fakes(t testing.TB, seed uint64, w, h int) map[string]image.Image {
	rng := rand.New(rand.NewPCG(seed, 7))
	out := map[string]image.Image{
		"grey photo":         greyPhoto(rng, w, h, 0),
		"grey photo noisy":   greyPhoto(rng, w, h, 5),
		"colour photo":       colourPhoto(rng, w, h, 0),
		"colour photo noisy": colourPhoto(rng, w, h, 5),
		"fur":                fur(rng, w, h, 14, true),
		"fur grey":           fur(rng, w, h, 14, false),
		"fur short":          fur(rng, w, h, 7, true),
		"chart":              chart(rng, w, h),
		"page":               page(rng, w, h),
		"history":            history(rng, w, h),
		"windows":            windows(rng, w, h),
	}
	for _, name := range []string{"grey photo", "colour photo noisy", "fur", "chart", "page", "history", "windows"} {
		out[name+" jpeg"] = viaJPEG(t, out[name], 82)
	}
	return out
}
