package demo

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// The chart screen shows this part of the lake, metres east and north of the start.
const (
	chartW, chartH = 870, 510
	chartM         = 0.9 // metres a pixel
	chartWest      = -120.0
	chartNorth     = 320.0
)

// drawChart writes the chart screen as it stood at a shot: depth in bands with their contours, and the way so far.
func (v *Survey) drawChart(w io.Writer, s Shot) error {
	img := image.NewRGBA(image.Rect(0, 0, chartW, chartH))
	bands := []color.RGBA{{218, 226, 196, 255}, {196, 222, 214, 255}, {164, 202, 214, 255}, {130, 178, 206, 255}, {98, 150, 190, 255},
		{74, 124, 170, 255}}
	band := func(x, y int) int {
		d := v.lake.bottomDepthM(chartWest+float64(x)*chartM, chartNorth-float64(y)*chartM)
		return min(len(bands)-1, max(0, int(math.Floor((d-3.2)/1.2))))
	}
	for y := range chartH {
		for x := range chartW {
			b := band(x, y)
			c := bands[b]
			if b != band(x+1, y) || b != band(x, y+1) {
				c = color.RGBA{60, 84, 104, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	mark := func(st state, half int, c color.RGBA) {
		x, y := int((st.e-chartWest)/chartM), int((chartNorth-st.n)/chartM)
		draw.Draw(img, image.Rect(x-half, y-half, x+half+1, y+half+1), image.NewUniform(c), image.Point{}, draw.Src)
	}
	until := s.Time.Sub(departure).Seconds()
	for t := 0.0; t <= until; t++ {
		mark(at(v.legs, t), 1, color.RGBA{150, 30, 80, 255})
	}
	mark(s.at, 5, color.RGBA{20, 20, 24, 255})
	draw.Draw(img, image.Rect(0, chartH-26, chartW, chartH), image.NewUniform(color.RGBA{28, 32, 40, 255}), image.Point{}, draw.Src)
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return fmt.Errorf("reading the screen font: %w", err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: 14, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return fmt.Errorf("sizing the screen font: %w", err)
	}
	defer face.Close()
	pen := font.Drawer{Dst: img, Src: image.NewUniform(color.RGBA{225, 230, 235, 255}), Face: face, Dot: fixed.P(10, chartH-8)}
	pen.DrawString(fmt.Sprintf("Lake Ulvarn    %.1f m    %03.0f deg    %.1f km/h    %s", v.lake.bottomDepthM(s.at.e, s.at.n), s.CourseDeg,
		s.SpeedMps*3.6, s.Time.Format("15:04:05")))
	if err := png.Encode(w, img); err != nil {
		return fmt.Errorf("encoding PNG: %w", err)
	}
	return nil
}
