package pulseworld

import (
	"image"
	"image/color"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// display is how the record is shown.
type display struct {
	w, h      int
	panel     detect.Box
	oneSide   bool
	port      int     // bins left of the nadir
	fx, fy    float64 // pixels a bin and a ping
	plan      *bottomPlan
	stones    []area
	ref       float32
	middle    float64 // value of the middle echo of the bottom, 0 to 1
	decibels  float64 // full scale of a logarithmic display; 0 for a power law
	power     float64
	curve     float64
	offset    float64
	kernX     int
	kernY     int
	blur      float64
	jpeg      int
	palette   [256]color.RGBA
	inverted  bool
	furniture []eval.FurnitureLabel
}

func newDisplay(d *dice) display {
	p := display{
		w: int(d.logu(500, 1921)), middle: d.uni(0.1, 0.65), power: d.logu(0.2, 0.75), curve: d.uni(-0.6, 1), kernX: d.IntN(4), kernY: d.IntN(4),
	}
	p.h = min(1300, max(300, int(float64(p.w)*d.logu(0.35, 1.15))))
	x0, y0, x1, y1 := 0, 0, p.w, p.h
	if d.chance(0.35) {
		y0 = int(d.logu(8, 90))
	}
	if d.chance(0.25) {
		y1 -= int(d.logu(8, 70))
	}
	if d.chance(0.22) {
		x0 = int(d.logu(4, 0.2*float64(p.w)))
	}
	if d.chance(0.25) {
		x1 -= int(d.logu(4, 0.22*float64(p.w)))
	}
	p.panel = detect.Box{X: x0, Y: y0, W: x1 - x0, H: y1 - y0}
	if d.chance(0.45) {
		p.decibels = d.uni(18, 48)
	}
	if d.chance(0.25) {
		p.offset = d.uni(-0.15, 0.12)
	}
	if d.chance(0.35) {
		p.blur = d.uni(0.3, 1.5)
	}
	if d.chance(0.65) {
		p.jpeg = d.int(60, 95)
	}
	p.inverted = d.chance(0.13)
	p.mixPalette(d)
	return p
}

// mixPalette computes a ramp through colours of rising luminance: grey, a copper-like ramp of one hue, or one through several hues.
func (p *display) mixPalette(d *dice) {
	var knots [][3]float64
	lum := func(c [3]float64) float64 { return 0.299*c[0] + 0.587*c[1] + 0.114*c[2] }
	switch u := d.Float64(); {
	case u < 0.36:
		knots = [][3]float64{{0, 0, 0}, {1, 1, 1}}
	case u < 0.74:
		r := [3]float64{1, d.uni(0.4, 0.8), d.uni(0, 0.5)}
		if d.chance(0.35) {
			i, j := d.IntN(3), d.IntN(3)
			r[i], r[j] = r[j], r[i]
		}
		knots = [][3]float64{{0, 0, 0}, {r[0] * 0.55, r[1] * 0.5, r[2] * 0.5}, {min(1, r[0]*1.1), min(1, r[1]*1.1+0.1), r[2]*1.1 + 0.1}}
		if d.chance(0.5) {
			knots = append(knots, [3]float64{1, 1, d.uni(0.6, 1)})
		}
	default:
		n := d.int(3, 5)
		knots = append(knots, [3]float64{d.uni(0, 0.1), d.uni(0, 0.06), d.uni(0, 0.3)})
		for i := 1; i <= n; i++ {
			c := [3]float64{d.Float64(), d.Float64(), d.Float64()}
			want := float64(i) / float64(n) * d.uni(0.85, 1)
			f := want / max(lum(c), 0.05)
			for k := range c {
				c[k] = min(1, c[k]*f)
			}
			if l := lum(c); l < want { // what a pure colour can't reach is mixed with white
				for k := range c {
					c[k] += (1 - c[k]) * (want - l) / (1 - l)
				}
			}
			knots = append(knots, c)
		}
	}
	slices.SortFunc(knots, func(a, b [3]float64) int {
		if lum(a) < lum(b) {
			return -1
		}
		return 1
	})
	dark := d.uni(0, 0.1)
	for i := range p.palette {
		t := dark + (1-dark)*float64(i)/255
		if p.inverted {
			t = 1 - float64(i)/255
		}
		t *= float64(len(knots) - 1)
		k := min(int(t), len(knots)-2)
		t -= float64(k)
		mix := func(c int) uint8 { return uint8(255*(knots[k][c]+(knots[k+1][c]-knots[k][c])*t) + 0.5) }
		p.palette[i] = color.RGBA{mix(0), mix(1), mix(2), 255}
	}
}

// show maps the record to a picture and gives it back as a reader would decode it.
func (w *world) show() (image.Image, error) {
	p := &w.disp
	grey, wide := w.composeRecord()
	grey = resample(grey, wide, w.pings, p.panel.W, p.panel.H, p.kernX, p.kernY)
	if p.blur > 0 {
		blur(grey, p.panel.W, p.panel.H, p.blur)
	}
	img := image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	w.drawRims(img)
	for y := range p.panel.H {
		line := img.Pix[img.PixOffset(p.panel.X, p.panel.Y+y):]
		for x, v := range grey[y*p.panel.W : (y+1)*p.panel.W] {
			c := p.palette[int(min(max(v, 0), 1)*255)]
			line[4*x], line[4*x+1], line[4*x+2], line[4*x+3] = c.R, c.G, c.B, 255
		}
	}
	w.furnish(img)
	if p.jpeg == 0 {
		return img, nil
	}
	return eval.AsJPEG(img, p.jpeg)
}

// composeRecord lays port and starboard side by side as display values. The curve is looked up by the upper bits of the echo's
// floating-point form, whose 8 bits of mantissa are finer than a step of the display.
func (w *world) composeRecord() (grey []float32, wide int) {
	p := &w.disp
	const cut = 15
	tab := make([]float32, 1<<(31-cut))
	for i := range tab {
		e := float64(math.Float32frombits(uint32(i)<<cut)) / float64(p.ref)
		v := 0.0
		switch {
		case !(e > 0) || math.IsInf(e, 0):
			if math.IsInf(e, 0) {
				v = 1
			}
		case p.decibels > 0:
			v = p.middle + 10*math.Log10(e)/p.decibels
		default:
			v = p.middle * math.Pow(e, p.power)
		}
		v = min(max(v+p.offset, 0), 1)
		tab[i] = float32(v + p.curve*0.5*(v*v*(3-2*v)-v))
	}
	for _, sw := range w.swaths {
		wide += sw.nb
	}
	grey = make([]float32, wide*w.pings)
	for _, sw := range w.swaths {
		for q := range w.pings {
			echo := sw.echo[q*sw.nb : (q+1)*sw.nb]
			line := grey[q*wide : (q+1)*wide]
			if sw.side == detect.Port {
				for b, e := range echo {
					line[p.port-1-b] = tab[math.Float32bits(e)>>cut]
				}
				continue
			}
			for b, e := range echo {
				line[p.port+b] = tab[math.Float32bits(e)>>cut]
			}
		}
	}
	return grey, wide
}

// resample scales rows and columns, each with its own kernel: 0 nearest, 1 box, 2 triangle, 3 Catmull-Rom.
func resample(v []float32, w0, h0, w1, h1, kx, ky int) []float32 {
	at, wt, n := taps(w0, w1, kx)
	mid := make([]float32, w1*h0)
	for y := range h0 {
		in, out := v[y*w0:(y+1)*w0], mid[y*w1:(y+1)*w1]
		for x := range out {
			var s float32
			for k := x * n; k < (x+1)*n; k++ {
				s += wt[k] * in[at[k]]
			}
			out[x] = s
		}
	}
	at, wt, n = taps(h0, h1, ky)
	res := make([]float32, w1*h1)
	for y := range h1 {
		out := res[y*w1 : (y+1)*w1]
		for k := y * n; k < (y+1)*n; k++ {
			if wt[k] == 0 {
				continue
			}
			in, t := mid[at[k]*w1:(at[k]+1)*w1], wt[k]
			for x, u := range in {
				out[x] += t * u
			}
		}
	}
	return res
}

// taps gives the n sources and weights of each of n1 values from n0.
func taps(n0, n1, kernel int) (at []int, wt []float32, n int) {
	scale := float64(n0) / float64(n1)
	wide := max(1, scale)
	reach := wide
	switch kernel {
	case 0:
		reach = 0.5
	case 1:
		reach = wide / 2
	case 3:
		reach = 2 * wide
	}
	n = int(2*reach) + 2
	at, wt = make([]int, n*n1), make([]float32, n*n1)
	for i := range n1 {
		c := (float64(i)+0.5)*scale - 0.5
		first := int(math.Ceil(c - reach))
		var sum float64
		for k := range n {
			d := math.Abs(float64(first+k)-c) / wide
			u := kernelAt(kernel, d)
			if kernel == 0 {
				u = 0
				if first+k == int(math.Floor(c+0.5)) {
					u = 1
				}
			}
			at[i*n+k], wt[i*n+k] = min(max(first+k, 0), n0-1), float32(u)
			sum += u
		}
		if sum == 0 {
			at[i*n], wt[i*n], sum = min(max(int(c+0.5), 0), n0-1), 1, 1
		}
		for k := range n {
			wt[i*n+k] /= float32(sum)
		}
	}
	return at, wt, n
}

func kernelAt(kernel int, d float64) float64 {
	switch {
	case kernel == 1 && d <= 0.5001:
		return 1
	case kernel == 2 && d < 1:
		return 1 - d
	case kernel == 3 && d < 1:
		return 1.5*d*d*d - 2.5*d*d + 1
	case kernel == 3 && d < 2:
		return -0.5*d*d*d + 2.5*d*d - 4*d + 2
	}
	return 0
}

// blur softens in place with a Gaussian of the given sd, pixels.
func blur(v []float32, w, h int, sd float64) {
	n := int(math.Ceil(2.5 * sd))
	k := make([]float32, n+1)
	sum := float32(0)
	for i := range k {
		k[i] = float32(math.Exp(-float64(i*i) / (2 * sd * sd)))
		sum += 2 * k[i]
	}
	sum -= k[0]
	for i := range k {
		k[i] /= sum
	}
	tmp := make([]float32, len(v))
	for y := range h {
		in, out := v[y*w:(y+1)*w], tmp[y*w:(y+1)*w]
		for x := range out {
			s := k[0] * in[x]
			for i := 1; i <= n; i++ {
				s += k[i] * (in[max(0, x-i)] + in[min(w-1, x+i)])
			}
			out[x] = s
		}
	}
	for y := range h {
		out := v[y*w : (y+1)*w]
		mid := tmp[y*w : (y+1)*w]
		for x := range out {
			out[x] = k[0] * mid[x]
		}
		for i := 1; i <= n; i++ {
			a, b := tmp[max(0, y-i)*w:], tmp[min(h-1, y+i)*w:]
			t := k[i]
			for x := range out {
				out[x] += t * (a[x] + b[x])
			}
		}
	}
}

func quantile(v []float32, q float64) float32 {
	slices.Sort(v)
	return v[min(len(v)-1, int(q*float64(len(v))))]
}
