package overlay

import (
	"image"
	"image/color"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"

	"shadowgap/detect"
)

// face returns the built-in bold face at a size in pixels, or the fixed 7 × 13 one should it fail to parse.
func face(px float64) font.Face {
	f, err := opentype.Parse(gobold.TTF)
	if err != nil {
		return basicfont.Face7x13
	}
	fc, err := opentype.NewFace(f, &opentype.FaceOptions{Size: px, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return basicfont.Face7x13
	}
	return fc
}

// text writes s with its baseline at x, y in drawn pixels, over a dark plate that keeps it readable on any palette.
func (c *canvas) text(s string, x, y float64, col color.NRGBA) {
	x, y = math.Round(x), math.Round(y)
	w, _ := c.dc.MeasureString(s)
	c.dc.SetColor(plate)
	c.dc.DrawRoundedRectangle(x-2, y-0.86*c.font, w+4, 1.12*c.font, 2)
	c.dc.Fill()
	c.dc.SetColor(col)
	c.dc.DrawString(s, x, y)
}

// labelRings is how many times farther from its box than beside it a label is tried.
const labelRings = 4

// label places s beside a box of the capture, for writeLabels, at the first of eight places that stays in the picture and off other
// labels; where all are taken, farther out, with a thin line to the box. When those are taken too it goes above the box even so: a crowded
// label is better than a mark without a number.
func (c *canvas) label(s string, b detect.Box, col color.NRGBA) {
	w, _ := c.dc.MeasureString(s)
	h := c.font
	x0, y0 := c.pt(float64(b.X), float64(b.Y))
	x1, y1 := c.pt(float64(b.X+b.W), float64(b.Y+b.H))
	places := func(off, edge float64) [8][2]float64 { // top left of the text
		mid := (y0+y1)/2 - h/2
		return [...][2]float64{
			{x0 - edge, y0 - off - h}, {x1 - w + edge, y0 - off - h},
			{x0 - edge, y1 + off}, {x1 - w + edge, y1 + off},
			{x1 + off, mid}, {x0 - off - w, mid},
			{x1 + off, y0 - off - h}, {x0 - off - w, y1 + off},
		}
	}
	rect := func(p [2]float64) image.Rectangle {
		return image.Rect(int(p[0])-1, int(p[1])-1, int(math.Ceil(p[0]+w))+1, int(math.Ceil(p[1]+h))+1)
	}
	off := c.lw + 4
	edge := off / 2
	first := places(off, edge)[0]
	at := [2]float64{clamp(first[0], 2, max(2, float64(c.view.Dx())-w-2)), clamp(first[1], 2, max(2, float64(c.view.Dy())-h-2))}
search:
	for ring := range labelRings {
		for _, p := range places(off+float64(ring)*(h+off), edge) {
			if r := rect(p); r.In(c.view) && !c.taken(r) {
				if at = p; ring > 0 {
					x, y := at[0]+w/2, at[1]+h/2
					c.stroke([][2]float64{{clamp(x, x0, x1), clamp(y, y0, y1)}, {x, y}}, false, col, nil, 1)
				}
				break search
			}
		}
	}
	c.placed = append(c.placed, rect(at))
	c.labels = append(c.labels, label{s, at[0], at[1] + 0.8*h, col})
}

// label is a text with its baseline at x, y in drawn pixels.
type label struct {
	text string
	x, y float64
	col  color.NRGBA
}

// writeLabels writes the labels that were placed, over all lines.
func (c *canvas) writeLabels() {
	for _, l := range c.labels {
		c.text(l.text, l.x, l.y, l.col)
	}
	c.labels = nil
}

func (c *canvas) taken(r image.Rectangle) bool {
	for _, o := range c.placed {
		if r.Overlaps(o) {
			return true
		}
	}
	return false
}

// legendItem is one entry of the legend: a line sample or a bracket, and what it means.
type legendItem struct {
	style Style
	name  string
}

func legendItems() []legendItem {
	items := make([]legendItem, 0, len(detect.Classes)+4)
	for _, cl := range detect.Classes {
		st := StyleOf(cl)
		items = append(items, legendItem{st, st.Name})
	}
	return append(items,
		legendItem{Style{Color: paper}, "nadir"},
		legendItem{Style{Color: yellow}, "first return"},
		legendItem{Style{Color: vermillion}, "bracket: hump"},
		legendItem{Style{Color: paper, Dash: []float64{9, 6}}, "rock field"},
	)
}

const legendSample = 34 // length of a line sample, pixels

// legendRows lays the items out in lines no wider than width pixels.
func (c *canvas) legendRows(width int) [][]legendItem {
	var rows [][]legendItem
	x := float64(width) + 1
	for _, it := range legendItems() {
		w, _ := c.dc.MeasureString(it.name)
		w += legendSample + 24
		if x+w > float64(width) {
			rows, x = append(rows, nil), 8
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], it)
		x += w
	}
	return rows
}

func (c *canvas) legendHeight(width int) int {
	return int(float64(len(c.legendRows(width)))*(c.font+8)) + 8
}

func (c *canvas) legend(width, top, height int) {
	c.dc.SetColor(casing)
	c.dc.DrawRectangle(0, float64(top), float64(width), float64(height))
	c.dc.Fill()
	y := float64(top) + 4
	for _, row := range c.legendRows(width) {
		x := 8.0
		y += c.font + 4
		for _, it := range row {
			ly := snap(y - c.font/3)
			c.stroke([][2]float64{{x, ly}, {x + legendSample, ly}}, false, it.style.Color, it.style.Dash, max(c.lw, 1.5))
			c.text(it.name, x+legendSample+6, y, paper)
			w, _ := c.dc.MeasureString(it.name)
			x += w + legendSample + 24
		}
		y += 4
	}
}
