package overlay

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"git.sr.ht/~sbinet/gg"

	"shadowgap/detect"
)

// Options say how much is drawn and how heavy. The zero value draws everything in line widths that suit the picture.
type Options struct {
	LineWidth   float64 // pixels of the drawn picture; 0 = from the picture's size
	FontSize    float64 // pixels; 0 = from the picture's size
	NoLabels    bool
	NoProfiles  bool // leave out nadir and first return
	NoHumps     bool
	NoRegions   bool
	ClassLabels bool // write the class beside the number
	Legend      bool // add a strip below the picture that explains colours and lines

	Numbers []int // of the marks, where they are not 1, 2 and so on: those left out keep theirs
}

// Draw returns a copy of img with the marks of one capture outlined: highlight and shadow in their class's colour and line
// style, a thin leader that spans the gap between them, its number, and the panels' nadir, first
// return, humps and rock fields. Nothing is drawn inside a mark's boxes, so the evidence stays in view. Boxes and profiles
// are pixels of img with its bounds' origin at 0, 0. With Options.Legend the result is taller than img by the legend's strip.
func Draw(img image.Image, capt detect.CaptureRecord, marks []detect.MarkRecord, opt Options) *image.RGBA {
	b := img.Bounds()
	c := newCanvas(img, 1, 0, opt)
	legendH := 0
	if opt.Legend {
		legendH = c.legendHeight(b.Dx())
		opt.LineWidth, opt.FontSize = c.lw, c.font // as without the strip
		c = newCanvas(img, 1, legendH, opt)
	}
	c.panels(capt)
	c.marks(marks)
	c.regionNames(capt, marks)
	c.writeLabels()
	if legendH > 0 {
		c.legend(b.Dx(), b.Dy(), legendH)
	}
	return c.dst
}

// canvas is a drawing in progress: points of the capture are moved by -ox, -oy and scaled by k before they are drawn.
type canvas struct {
	dc     *gg.Context
	dst    *image.RGBA // what dc draws on
	opt    Options
	ox, oy float64
	k      float64
	lw     float64
	font   float64
	view   image.Rectangle   // of the picture, without a legend under it
	placed []image.Rectangle // where labels lie, in drawn pixels
	labels []label           // that are yet to be written
}

// newCanvas copies img, moved to the origin, with extra empty rows below it.
func newCanvas(img image.Image, k float64, extra int, opt Options) *canvas {
	b := img.Bounds()
	dst := image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy()+extra))
	draw.Draw(dst, image.Rect(0, 0, b.Dx(), b.Dy()), img, b.Min, draw.Src)
	c := canvasOn(dst, k, opt)
	c.view.Max.Y = b.Dy()
	return c
}

// canvasOn draws on a picture itself.
func canvasOn(dst *image.RGBA, k float64, opt Options) *canvas {
	dc := gg.NewContextForRGBA(dst)
	c := &canvas{dc: dc, dst: dst, view: dst.Bounds(), opt: opt, k: k, lw: opt.LineWidth, font: opt.FontSize}
	short := float64(min(dc.Width(), dc.Height()))
	if c.lw <= 0 {
		c.lw = clamp(short/400, 1.2, 4)
	}
	if c.font <= 0 {
		c.font = clamp(short/50, 12, 30)
	}
	if f := face(c.font); f != nil {
		dc.SetFontFace(f)
	}
	return c
}

func (c *canvas) pt(x, y float64) (float64, float64) { return (x - c.ox) * c.k, (y - c.oy) * c.k }

// stroke draws a polyline of drawn pixels over a dark casing, so that it is seen on bright and on dark ground.
func (c *canvas) stroke(pts [][2]float64, closed bool, col color.NRGBA, dash []float64, width float64) {
	if len(pts) < 2 {
		return
	}
	scaled := make([]float64, len(dash))
	for i, d := range dash {
		scaled[i] = d * max(width, 1.5)
	}
	path := func() {
		c.dc.NewSubPath()
		for i, p := range pts {
			if i == 0 {
				c.dc.MoveTo(p[0], p[1])
				continue
			}
			c.dc.LineTo(p[0], p[1])
		}
		if closed {
			c.dc.ClosePath()
		}
	}
	c.dc.SetLineCapButt()
	c.dc.SetDash(scaled...)
	path()
	c.dc.SetColor(casing)
	c.dc.SetLineWidth(width + 2)
	c.dc.Stroke()
	path()
	c.dc.SetColor(col)
	c.dc.SetLineWidth(width)
	c.dc.Stroke()
	c.dc.SetDash()
}

// outline draws a box of the capture as a frame that lies outside it. Where the mark's other box is too near for both
// frames, the side that faces it is drawn half way between the two.
func (c *canvas) outline(b detect.Box, other *detect.Box, st Style) {
	x0, y0 := c.pt(float64(b.X), float64(b.Y))
	x1, y1 := c.pt(float64(b.X+b.W), float64(b.Y+b.H))
	pad := c.lw/2 + 2
	left, right := x0-pad, x1+pad
	if other != nil {
		ox0, _ := c.pt(float64(other.X), 0)
		ox1, _ := c.pt(float64(other.X+other.W), 0)
		if ox0 > x0 {
			right = min(right, (x1+ox0)/2)
		} else if ox1 < x1 {
			left = max(left, (x0+ox1)/2)
		}
	}
	x0, y0, x1, y1 = snap(left), snap(y0-pad), snap(right), snap(y1+pad)
	c.stroke([][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, true, st.Color, st.Dash, c.lw)
}

// leader spans the gap from the highlight's far edge to the shadow's near edge, with a tick at each end.
func (c *canvas) leader(m detect.MarkRecord, st Style) {
	from, to, y, ok := GapSpan(m)
	if !ok {
		return
	}
	x0, yy := c.pt(from, y)
	x1, _ := c.pt(to, y)
	x0, x1, yy = snap(x0), snap(x1), snap(yy)
	w := max(1, c.lw*0.6)
	tick := 2.5 * c.lw
	c.stroke([][2]float64{{x0, yy - tick}, {x0, yy + tick}}, false, st.Color, nil, w)
	c.stroke([][2]float64{{x1, yy - tick}, {x1, yy + tick}}, false, st.Color, nil, w)
	c.stroke([][2]float64{{x0, yy}, {x1, yy}}, false, st.Color, nil, w)
}

// GapSpan returns where a mark's gap lies in its capture: the x of the highlight's far edge, the x of the shadow's near edge
// and the row, all in pixels. Far means away from the nadir, to the left on port. It is false for a mark that lacks either.
func GapSpan(m detect.MarkRecord) (from, to, row float64, ok bool) {
	if m.Highlight == nil || m.Shadow == nil {
		return 0, 0, 0, false
	}
	h, s := m.Highlight, m.Shadow
	top, bottom := max(h.Y, s.Y), min(h.Y+h.H, s.Y+s.H)
	row = float64(h.Y) + float64(h.H)/2
	if bottom > top {
		row = float64(top+bottom) / 2
	}
	if m.Side == detect.Port {
		return float64(h.X), float64(s.X + s.W), row, true
	}
	return float64(h.X + h.W), float64(s.X), row, true
}

// number is what the mark in place i is called.
func (o Options) number(i int) int {
	if i < len(o.Numbers) {
		return o.Numbers[i]
	}
	return i + 1
}

func (c *canvas) marks(marks []detect.MarkRecord) {
	for _, m := range marks {
		st := StyleOf(m.Class)
		if m.Shadow != nil {
			c.outline(*m.Shadow, m.Highlight, st)
		}
		if m.Highlight != nil {
			c.outline(*m.Highlight, m.Shadow, st)
		}
		if m.Highlight == nil && m.Shadow == nil {
			c.outline(m.Box, nil, st)
		}
		c.leader(m, st)
	}
	if c.opt.NoLabels {
		return
	}
	for i, m := range marks {
		text := fmt.Sprint(c.opt.number(i))
		if c.opt.ClassLabels {
			text += " " + StyleOf(m.Class).Short
		}
		c.label(text, m.Box, StyleOf(m.Class).Color)
	}
}

func (c *canvas) panels(capt detect.CaptureRecord) {
	thin := max(1, c.lw*0.5)
	for _, p := range capt.Panels {
		if !c.opt.NoProfiles {
			c.profile(p.Nadir, paper, nil, thin)
			c.profile(p.FirstReturn.Port, yellow, nil, thin)
			c.profile(p.FirstReturn.Starboard, yellow, nil, thin)
		}
		if !c.opt.NoRegions {
			for _, r := range p.Regions {
				c.region(r)
			}
		}
		if !c.opt.NoHumps {
			for _, h := range p.Humps {
				c.hump(p.Box, h)
			}
		}
	}
}

func (c *canvas) profile(line []detect.RowX, col color.NRGBA, dash []float64, w float64) {
	pts := make([][2]float64, len(line))
	for i, p := range line {
		x, y := c.pt(p[1]+0.5, p[0]+0.5)
		pts[i] = [2]float64{x, y}
	}
	c.stroke(pts, false, col, dash, w)
}

// region frames a rock field in long thin dashes.
func (c *canvas) region(r detect.Region) {
	x0, y0 := c.pt(float64(r.Box.X), float64(r.Box.Y))
	x1, y1 := c.pt(float64(r.Box.X+r.Box.W), float64(r.Box.Y+r.Box.H))
	w := max(1, c.lw*0.5)
	x0, y0, x1, y1 = snap(x0), snap(y0), snap(x1), snap(y1)
	c.stroke([][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, true, paper, []float64{9, 6}, w)
}

// regionNames names rock fields outside their frames, where marks leave room: inside, the names would lie on marks or under them.
func (c *canvas) regionNames(capt detect.CaptureRecord, marks []detect.MarkRecord) {
	if c.opt.NoLabels || c.opt.NoRegions {
		return
	}
	for _, m := range marks {
		x0, y0 := c.pt(float64(m.Box.X), float64(m.Box.Y))
		x1, y1 := c.pt(float64(m.Box.X+m.Box.W), float64(m.Box.Y+m.Box.H))
		c.placed = append(c.placed, image.Rect(int(x0), int(y0), int(math.Ceil(x1)), int(math.Ceil(y1))))
	}
	for _, p := range capt.Panels {
		for _, r := range p.Regions {
			c.label(regionName(r.Kind), r.Box, paper)
		}
	}
}

func regionName(kind string) string {
	if kind == "rock-field" {
		return "rock field"
	}
	return kind
}

// hump draws a bracket along both edges of the panel over the hump's rows.
func (c *canvas) hump(panel detect.Box, h detect.Hump) {
	x0, y0 := c.pt(float64(panel.X), float64(h.Rows[0]))
	x1, y1 := c.pt(float64(panel.X+panel.W), float64(h.Rows[1]))
	arm := 4 * c.lw
	in := c.lw/2 + 2
	y0, y1 = snap(y0), snap(y1)
	left, right := snap(x0+in), snap(x1-in)
	c.stroke([][2]float64{{left + arm, y0}, {left, y0}, {left, y1}, {left + arm, y1}}, false, vermillion, nil, c.lw)
	c.stroke([][2]float64{{right - arm, y0}, {right, y0}, {right, y1}, {right - arm, y1}}, false, vermillion, nil, c.lw)
	if !c.opt.NoLabels {
		w, _ := c.dc.MeasureString("hump")
		base := (y0+y1)/2 + c.font/3
		c.placed = append(c.placed, image.Rect(int(left+arm)-2, int(base-c.font), int(left+arm+w)+3, int(base)+3))
		c.text("hump", left+arm, base, vermillion)
	}
}

// snap moves a coordinate to the middle of its pixel, where a line of one pixel is crisp.
func snap(v float64) float64 { return math.Floor(v) + 0.5 }

func clamp(v, lo, hi float64) float64 { return min(max(v, lo), hi) }
