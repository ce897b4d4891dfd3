package scene

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	xdraw "golang.org/x/image/draw"

	"shadowgap/detect"
)

// warp maps continuous screen coordinates (0, 0 = outer corner of the first pixel) to those of the picture as stored. It
// is a homography, row-major.
type warp [9]float64

func (w warp) apply(x, y float64) (float64, float64) {
	k := w[6]*x + w[7]*y + w[8]
	return (w[0]*x + w[1]*y + w[2]) / k, (w[3]*x + w[4]*y + w[5]) / k
}

// after gives the warp that does first and then w.
func (w warp) after(first warp) warp {
	var out warp
	for r := range 3 {
		for c := range 3 {
			for k := range 3 {
				out[3*r+c] += w[3*r+k] * first[3*k+c]
			}
		}
	}
	return out
}

// inverse is the inverse up to a factor, which a homography does not feel.
func (w warp) inverse() warp {
	a, b, c, d, e, f, g, h, i := w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7], w[8]
	return warp{e*i - f*h, c*h - b*i, b*f - c*e, f*g - d*i, a*i - c*g, c*d - a*f, d*h - e*g, b*g - a*h, a*e - b*d}
}

// box maps a box in screen pixels to the smallest box around it in the picture.
func (w warp) box(b detect.Box) detect.Box {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i := range 4 {
		x, y := w.apply(float64(b.X+b.W*(i&1)), float64(b.Y+b.H*(i>>1)))
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	// A pixel belongs to the box when more than half of it is inside.
	ax, ay := int(math.Round(x0)), int(math.Round(y0))
	return detect.Box{X: ax, Y: ay, W: max(1, int(math.Round(x1))-ax), H: max(1, int(math.Round(y1))-ay)}
}

// squareTo maps the unit square to a quadrilateral given clockwise from the image of (0, 0). (P. Heckbert, Fundamentals of
// Texture Mapping and Image Warping, 1989, section 2.2.3, from memory; the test maps the corners.)
func squareTo(q [4][2]float64) warp {
	dx1, dy1 := q[1][0]-q[2][0], q[1][1]-q[2][1]
	dx2, dy2 := q[3][0]-q[2][0], q[3][1]-q[2][1]
	sx := q[0][0] - q[1][0] + q[2][0] - q[3][0]
	sy := q[0][1] - q[1][1] + q[2][1] - q[3][1]
	det := dx1*dy2 - dx2*dy1
	g, h := (sx*dy2-dx2*sy)/det, (dx1*sy-sx*dy1)/det
	return warp{
		q[1][0] - q[0][0] + g*q[1][0], q[3][0] - q[0][0] + h*q[3][0], q[0][0],
		q[1][1] - q[0][1] + g*q[1][1], q[3][1] - q[0][1] + h*q[3][1], q[0][1],
		g, h, 1,
	}
}

// finish crops, rescales and photographs the screen, and returns the warp from screen to picture.
func finish(screen *image.RGBA, s *Spec) (*image.RGBA, warp) {
	o := s.Output
	w := warp{1, 0, 0, 0, 1, 0, 0, 0, 1}
	img := screen
	if o.CropW > 0 {
		img = image.NewRGBA(image.Rect(0, 0, o.CropW, o.CropH))
		draw.Draw(img, img.Bounds(), screen, image.Pt(o.CropX, o.CropY), draw.Src)
		w = warp{1, 0, -float64(o.CropX), 0, 1, -float64(o.CropY), 0, 0, 1}.after(w)
	}
	if o.Scale > 0 && o.Scale != 1 {
		b := img.Bounds()
		nw, nh := int(math.Round(float64(b.Dx())*o.Scale)), int(math.Round(float64(b.Dy())*o.Scale))
		scaled := image.NewRGBA(image.Rect(0, 0, nw, nh))
		xdraw.BiLinear.Scale(scaled, scaled.Bounds(), img, b, xdraw.Src, nil)
		w = warp{float64(nw) / float64(b.Dx()), 0, 0, 0, float64(nh) / float64(b.Dy()), 0, 0, 0, 1}.after(w)
		img = scaled
	}
	if o.ScaleX > 0 && o.ScaleY > 0 {
		var k warp
		img, k = stretch(img, &o)
		w = k.after(w)
	}
	if o.Photo {
		var p warp
		img, p = photograph(img, s)
		w = p.after(w)
	}
	return img, w
}

// stretch smooths a picture and rescales each axis by the output's kernel.
func stretch(img *image.RGBA, o *Output) (*image.RGBA, warp) {
	b := img.Bounds()
	w, h := max(1, int(math.Round(float64(b.Dx())*o.ScaleX))), max(1, int(math.Round(float64(b.Dy())*o.ScaleY)))
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	tx, ty := kernelTaps(o.Kernel, b.Dx(), w), kernelTaps(o.Kernel, b.Dy(), h)
	for c := range 4 {
		p := &plane{b.Dx(), b.Dy(), make([]float32, b.Dx()*b.Dy())}
		for i := range p.v {
			p.v[i] = float32(img.Pix[4*i+c])
		}
		for i, v := range p.blur(o.Smooth).resample(tx, ty).v {
			out.Pix[4*i+c] = uint8(min(255, max(0, v+0.5)))
		}
	}
	return out, warp{float64(w) / float64(b.Dx()), 0, 0, 0, float64(h) / float64(b.Dy()), 0, 0, 0, 1}
}

// cameraQuad is where a pinhole camera that is turned by yaw, pitch and roll sees the corners of a screen of w × h pixels from
// 1.6 times its longer side away, moved and shrunk until all of it is in view.
func cameraQuad(w, h float64, deg [3]float64) [4][2]float64 {
	sy, cy := math.Sincos(deg[0] * math.Pi / 180)
	sp, cp := math.Sincos(deg[1] * math.Pi / 180)
	sr, cr := math.Sincos(deg[2] * math.Pi / 180)
	away := 1.6 * max(w, h)
	var q [4][2]float64
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i, c := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		x, y := c[0]*w/2, c[1]*h/2
		x, y = cr*x-sr*y, sr*x+cr*y
		z := away + sy*x + sp*y
		q[i] = [2]float64{cy * x / z, cp * y / z}
		x0, y0, x1, y1 = min(x0, q[i][0]), min(y0, q[i][1]), max(x1, q[i][0]), max(y1, q[i][1])
	}
	k := 0.985 * min(w/(x1-x0), h/(y1-y0))
	for i := range q {
		q[i][0] = w/2 + k*(q[i][0]-(x0+x1)/2)
		q[i][1] = h/2 + k*(q[i][1]-(y0+y1)/2)
	}
	return q
}

// photograph renders a camera's view of a screen: perspective, a dark surround, a reflection, vignetting and noise.
func photograph(img *image.RGBA, s *Spec) (*image.RGBA, warp) {
	rng := newRand(s.Seed, streamScreen+200)
	b := img.Bounds()
	bw, bh := float64(b.Dx()), float64(b.Dy())
	var quad [4][2]float64
	for i, c := range [4][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
		in := func() float64 { return s.Output.PhotoTilt * (0.25 + 0.75*rng.Float64()) }
		quad[i] = [2]float64{bw * (c[0] + (1-2*c[0])*in()), bh * (c[1] + (1-2*c[1])*in())}
	}
	if s.Output.CameraDeg != [3]float64{} {
		quad = cameraQuad(bw, bh, s.Output.CameraDeg)
	}
	to := squareTo(quad).after(warp{1 / bw, 0, 0, 0, 1 / bh, 0, 0, 0, 1})
	back := to.inverse()
	out := image.NewRGBA(b)
	tilt := 0.6 + 0.8*rng.Float64()
	for y := range b.Dy() {
		for x := range b.Dx() {
			u, v := back.apply(float64(x)+0.5, float64(y)+0.5)
			px := bilinear(img, u-0.5, v-0.5)
			fx, fy := float64(x)/bw-0.5, float64(y)/bh-0.5
			k := 1.03 - 0.5*(fx*fx+fy*fy)
			gx, gy := float64(x)/bw-s.Output.GlareX, float64(y)/bh-s.Output.GlareY
			shine := s.Output.Glare * 255 / (1 + 40*(gx*gx+tilt*gy*gy+1.4*gx*gy*0.5))
			grain := float64(rng.Uint32()&15) - 7.5
			o := out.PixOffset(x, y)
			for c := range 3 {
				out.Pix[o+c] = uint8(min(255, max(0, px[c]*k+shine+grain*0.5)))
			}
			out.Pix[o+3] = 255
		}
	}
	return out, to
}

// bilinear reads img between pixels; outside lies the dark rim of the screen.
func bilinear(img *image.RGBA, x, y float64) [3]float64 {
	rim := color.RGBA{18, 18, 20, 255}
	b := img.Bounds()
	x0, y0 := int(math.Floor(x)), int(math.Floor(y))
	if x0 < -1 || y0 < -1 || x0 >= b.Dx() || y0 >= b.Dy() {
		return [3]float64{float64(rim.R), float64(rim.G), float64(rim.B)}
	}
	fx, fy := x-float64(x0), y-float64(y0)
	x1, y1 := min(x0+1, b.Dx()-1), min(y0+1, b.Dy()-1)
	x0, y0 = max(x0, 0), max(y0, 0)
	p, q, r, t := img.PixOffset(x0, y0), img.PixOffset(x1, y0), img.PixOffset(x0, y1), img.PixOffset(x1, y1)
	var out [3]float64
	for c := range out {
		top := float64(img.Pix[p+c])*(1-fx) + float64(img.Pix[q+c])*fx
		low := float64(img.Pix[r+c])*(1-fx) + float64(img.Pix[t+c])*fx
		out[c] = top*(1-fy) + low*fy
	}
	return out
}
