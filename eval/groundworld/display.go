package groundworld

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// picture is the record as shown.
type picture struct {
	img  image.Image
	box  detect.Box // of the record
	tone []float32  // 0 to 1 by pixel of the box, before colour
	lost [][2]int   // rows of the picture
	gone []bool     // the same, by row of the box
}

// The kernels that a display enlarges or reduces with.
const (
	kernelBox = iota
	kernelTent
	kernelSpline // through the points, with overshoot
	kernelNearest
	kernels
)

// show draws a record and reads it back as stored.
func show(w *world, r *record) (*picture, error) {
	p := &picture{box: detect.Box{X: w.margin[0], Y: w.margin[1], W: w.wide, H: w.high}}
	t := w.tone
	g := tones(r, t)
	p.tone = resample(g, r.cols, r.rows, w.wide, w.high, t.kernel)
	if t.soften {
		soften(p.tone, w.wide, w.high)
	}
	p.loseRows(w)
	img := p.paint(w)
	var err error
	p.img, err = stored(img, t.jpeg)
	return p, err
}

// tones bends strengths to what a screen shows; the mean of what is not dark comes out at the exposure.
func tones(r *record, t tone) []float32 {
	const steps = 4096
	top := float32(40)
	bend := make([]float32, steps+1)
	for i := range bend {
		x := float64(top) * math.Pow(float64(i)/steps, 3)
		bend[i] = float32(math.Pow(x, t.gamma))
	}
	g := make([]float32, len(r.v))
	sum, n := 0.0, 0.0
	for i, v := range r.v {
		at := float32(math.Cbrt(float64(min(v, top)/top))) * steps
		k := min(steps-1, int(at))
		g[i] = bend[k] + (at-float32(k))*(bend[k+1]-bend[k])
		if v > 0.15 {
			sum += float64(g[i])
			n++
		}
	}
	scale := float32(t.exposure * n / max(1e-9, sum))
	for i := range g {
		g[i] = min(1, max(0, g[i]*scale-float32(t.black)))
	}
	return g
}

// taps are the weights of the inputs from first on that make one output.
type taps struct {
	first  int
	weight []float32
}

// tapsOf lays out a kernel from n inputs to m outputs.
func tapsOf(n, m, kernel int) []taps {
	scale := float64(n) / float64(m)
	wide := max(1, scale)
	list := make([]taps, m)
	for i := range list {
		mid := (float64(i)+0.5)*scale - 0.5
		if kernel == kernelNearest {
			list[i] = taps{min(n-1, max(0, int(math.Round(mid)))), []float32{1}}
			continue
		}
		reach := wide * []float64{0.5, 1, 2}[kernel]
		t := taps{first: max(0, int(math.Ceil(mid-reach)))}
		sum := float32(0)
		for j := t.first; j <= min(n-1, int(math.Floor(mid+reach))); j++ {
			v := float32(kernelAt(kernel, (float64(j)-mid)/wide))
			t.weight = append(t.weight, v)
			sum += v
		}
		if sum < 1e-3 {
			list[i] = taps{min(n-1, max(0, int(math.Round(mid)))), []float32{1}}
			continue
		}
		for j := range t.weight {
			t.weight[j] /= sum
		}
		list[i] = t
	}
	return list
}

func kernelAt(kernel int, x float64) float64 {
	x = math.Abs(x)
	switch {
	case kernel == kernelBox:
		return 1
	case kernel == kernelTent:
		return max(0, 1-x)
	case x < 1:
		return 1 + x*x*(1.5*x-2.5)
	case x < 2:
		return 2 + x*(-4+x*(2.5-0.5*x))
	}
	return 0
}

// resample brings a plane to another size.
func resample(in []float32, w, h, w2, h2, kernel int) []float32 {
	mid := make([]float32, w2*h)
	across := tapsOf(w, w2, kernel)
	for y := range h {
		row, to := in[y*w:(y+1)*w], mid[y*w2:(y+1)*w2]
		for x := range to {
			t := &across[x]
			sum := float32(0)
			for j, k := range t.weight {
				sum += k * row[t.first+j]
			}
			to[x] = sum
		}
	}
	out := make([]float32, w2*h2)
	for y, t := range tapsOf(h, h2, kernel) {
		to := out[y*w2 : (y+1)*w2]
		for j, k := range t.weight {
			for x, v := range mid[(t.first+j)*w2 : (t.first+j+1)*w2] {
				to[x] += k * v
			}
		}
	}
	return out
}

// soften smooths a plane by 1-2-1 along both axes.
func soften(f []float32, w, h int) {
	above := make([]float32, w)
	for y := range h {
		row := f[y*w : (y+1)*w]
		left := row[0]
		for x := 0; x+1 < w; x++ {
			v := row[x]
			row[x] = 0.25*left + 0.5*v + 0.25*row[x+1]
			left = v
		}
		for x, v := range row {
			if y > 0 {
				row[x] = 0.5*v + 0.5*above[x]
			}
			above[x] = v
		}
	}
}

// loseRows blanks runs of rows.
func (p *picture) loseRows(w *world) {
	p.gone = make([]bool, w.high)
	for range w.faults.lost {
		y := w.d.IntN(w.high)
		blank := float32(w.d.IntN(3) / 2)
		for end := min(w.high, y+w.d.upTo(1, 5)); y < end; y++ {
			p.gone[y] = true
			for x := range w.wide {
				p.tone[y*w.wide+x] = blank
			}
		}
	}
	for y := 0; y < w.high; y++ {
		if !p.gone[y] {
			continue
		}
		end := y
		for end < w.high && p.gone[end] {
			end++
		}
		p.lost = append(p.lost, [2]int{p.box.Y + y, p.box.Y + end})
		y = end
	}
}

// paint colours the tones and draws what is round them.
func (p *picture) paint(w *world) *image.RGBA {
	b := p.box
	img := image.NewRGBA(image.Rect(0, 0, b.X+b.W+w.margin[2], b.Y+b.H+w.margin[3]))
	back := uint8(w.d.IntN(256))
	for i := range img.Pix {
		img.Pix[i] = back | uint8(i&3/3*255)
	}
	table := w.tone.palette.table()
	for y := range b.H {
		row := img.Pix[img.PixOffset(b.X, b.Y+y):]
		for x, v := range p.tone[y*b.W : (y+1)*b.W] {
			c := table[int(1023*min(1, max(0, v)))]
			row[4*x], row[4*x+1], row[4*x+2] = c.R, c.G, c.B
		}
	}
	if w.tone.nadirLine {
		line := color.RGBA{uint8(w.d.IntN(256)), uint8(w.d.IntN(256)), uint8(w.d.IntN(256)), 255}
		for y := range b.H {
			img.SetRGBA(b.X+b.W/2, b.Y+y, line)
		}
	}
	return img
}

// stored encodes a picture and decodes it as a reader would.
func stored(img image.Image, quality int) (image.Image, error) {
	if quality > 0 {
		return eval.AsJPEG(img, quality)
	}
	var buf bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&buf, img); err != nil {
		return nil, fmt.Errorf("store picture: %w", err)
	}
	out, err := png.Decode(&buf)
	if err != nil {
		return nil, fmt.Errorf("read picture back: %w", err)
	}
	return out, nil
}
