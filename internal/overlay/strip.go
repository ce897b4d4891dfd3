package overlay

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"

	"shadowgap/detect"
	"shadowgap/features"
)

// ErrNoStrip says that a mark has neither highlight nor shadow inside the picture, so there is nothing to plot.
var ErrNoStrip = errors.New("no echo to plot: the mark lies outside the picture")

// Strip is the echo along range through a mark, from nearer to the boat to farther out.
type Strip struct {
	SlantPx   []float64 // distance from the nadir in pixels of slant range, or from the strip's near end when no nadir is known
	Echo      []float64 // 0 to 1, median over the mark's rows
	Highlight [2]float64
	Shadow    [2]float64 // near and far edge in the same pixels; both 0 when there is none
	FromNadir bool
	RealEcho  bool // Echo is echo strength; otherwise it is the picture's brightness
}

// StripOf takes the echo along range through m: over the highlight's rows (the shadow's where there is no highlight), at
// every column of the mark and as much again on both sides. echo is the panel's echo strength with column 0 at the panel's
// left edge; when nil the picture's brightness stands in for it, which runs the other way on an inverted palette. It returns
// ErrNoStrip when the mark lies outside the picture.
func StripOf(img image.Image, capt detect.CaptureRecord, m detect.MarkRecord, echo *features.Grid) (*Strip, error) {
	core := m.Highlight
	if core == nil {
		core = m.Shadow
	}
	if core == nil {
		core = &m.Box
	}
	bounds := img.Bounds()
	area := image.Rect(0, 0, bounds.Dx(), bounds.Dy())
	var panel *detect.PanelRecord
	if m.Panel >= 0 && m.Panel < len(capt.Panels) {
		panel = &capt.Panels[m.Panel]
		if r := panel.Box.Rect().Intersect(area); !r.Empty() {
			area = r
		}
	}
	pad := max(20, m.Box.W/2)
	r := image.Rect(m.Box.X-pad, core.Y, m.Box.X+m.Box.W+pad, core.Y+core.H).Intersect(area)
	if r.Empty() {
		return nil, ErrNoStrip
	}
	sample := func(x, y int) float64 { return luminance(img, bounds.Min.X+x, bounds.Min.Y+y) }
	s := &Strip{}
	if echo != nil && panel != nil && echo.Rows == panel.Box.H && echo.Cols == panel.Box.W {
		s.RealEcho = true
		sample = func(x, y int) float64 { return float64(echo.At(y-panel.Box.Y, x-panel.Box.X)) }
	}
	row := float64(core.Y) + float64(core.H)/2
	origin, dir := float64(r.Min.X), 1.0
	if m.Side == detect.Port {
		origin, dir = float64(r.Max.X), -1
	}
	if panel != nil {
		if x, ok := xAt(panel.Nadir, row); ok {
			origin, s.FromNadir = x, true
		}
	}
	col := make([]float64, 0, r.Dy())
	for x := r.Min.X; x < r.Max.X; x++ {
		col = col[:0]
		for y := r.Min.Y; y < r.Max.Y; y++ {
			col = append(col, sample(x, y))
		}
		slices.Sort(col)
		s.SlantPx = append(s.SlantPx, dir*(float64(x)+0.5-origin))
		s.Echo = append(s.Echo, col[len(col)/2])
	}
	if dir < 0 {
		slices.Reverse(s.SlantPx)
		slices.Reverse(s.Echo)
	}
	span := func(b *detect.Box) [2]float64 {
		if b == nil {
			return [2]float64{}
		}
		a, z := dir*(float64(b.X)-origin), dir*(float64(b.X+b.W)-origin)
		return [2]float64{min(a, z), max(a, z)}
	}
	s.Highlight, s.Shadow = span(m.Highlight), span(m.Shadow)
	return s, nil
}

// xAt interpolates a profile sorted by row; it is false for an empty one.
func xAt(line []detect.RowX, row float64) (float64, bool) {
	if len(line) == 0 {
		return 0, false
	}
	i, _ := slices.BinarySearchFunc(line, row, func(p detect.RowX, r float64) int {
		switch {
		case p[0] < r:
			return -1
		case p[0] > r:
			return 1
		}
		return 0
	})
	if i == 0 {
		return line[0][1], true
	}
	if i == len(line) {
		return line[i-1][1], true
	}
	a, b := line[i-1], line[i]
	t := (row - a[0]) / (b[0] - a[0])
	return a[1] + t*(b[1]-a[1]), true
}

// luminance is the brightness of a pixel, 0 to 1, with the weights of ITU-R BT.601 as image/color's grey model has them.
func luminance(img image.Image, x, y int) float64 {
	return float64(color.Gray16Model.Convert(img.At(x, y)).(color.Gray16).Y) / 0xFFFF
}

// StripPlot writes a PNG of the echo along range through a mark with the highlight, gap and shadow spans marked. The
// range axis is in u when rangePerPx (metres of slant range a pixel) is above 0, else in pixels.
func StripPlot(w io.Writer, s *Strip, st Style, rangePerPx float64, u Units) error {
	scale, unit := 1.0, "px"
	if rangePerPx > 0 {
		scale, unit = u.FromMetres(rangePerPx), u.Symbol()
	}
	p := newPlot()
	p.X.Label.Text = fmt.Sprintf("slant range (%s)", unit)
	if !s.FromNadir {
		p.X.Label.Text = fmt.Sprintf("slant distance from the strip's near end (%s)", unit)
	}
	p.Y.Label.Text = "picture brightness (0–1)"
	if s.RealEcho {
		p.Y.Label.Text = "echo strength (0–1)"
	}
	pts := make(plotter.XYs, 0, len(s.Echo))
	for i, e := range s.Echo {
		if finite(e) {
			pts = append(pts, plotter.XY{X: s.SlantPx[i] * scale, Y: e})
		}
	}
	if len(pts) == 0 {
		return ErrNoStrip
	}
	p.Y.Min, p.Y.Max = 0, 1.2
	p.X.Min, p.X.Max = pts[0].X, max(pts[len(pts)-1].X, pts[0].X+1e-9)
	if err := addSpans(p, s, st, scale); err != nil {
		return err
	}
	l, err := plotter.NewLine(pts)
	if err != nil {
		return fmt.Errorf("plotting echo strip: %w", err)
	}
	l.Width = vg.Points(1.2)
	p.Add(l)
	return writePlot(w, p, 13*vg.Centimeter, 6*vg.Centimeter)
}

// addSpans shades highlight, gap and shadow over the strip and names each above it.
func addSpans(p *plot.Plot, s *Strip, st Style, scale float64) error {
	type span struct {
		name string
		x    [2]float64
		fill color.NRGBA
		y    float64
	}
	var spans []span
	hasH, hasS := s.Highlight != [2]float64{}, s.Shadow != [2]float64{}
	if hasH {
		spans = append(spans, span{"highlight", s.Highlight, color.NRGBA{st.Color.R, st.Color.G, st.Color.B, 0x66}, 1.03})
	}
	if hasS {
		spans = append(spans, span{"shadow", s.Shadow, color.NRGBA{0, 0, 0, 0x38}, 1.03})
	}
	if hasH && hasS && s.Shadow[0]-s.Highlight[1] >= 1 {
		spans = append(spans, span{"gap", [2]float64{s.Highlight[1], s.Shadow[0]}, color.NRGBA{}, 1.11})
	}
	for _, sp := range spans {
		a, z := clamp(sp.x[0]*scale, p.X.Min, p.X.Max), clamp(sp.x[1]*scale, p.X.Min, p.X.Max)
		poly, err := plotter.NewPolygon(plotter.XYs{{X: a, Y: 0}, {X: z, Y: 0}, {X: z, Y: sp.y - 0.02}, {X: a, Y: sp.y - 0.02}})
		if err != nil {
			return fmt.Errorf("plotting echo strip: %s: %w", sp.name, err)
		}
		poly.Color = sp.fill
		poly.Width = vg.Points(0.5)
		poly.LineStyle.Color = color.NRGBA{0, 0, 0, 0x90} // poly.Color is the fill
		if sp.name == "gap" {
			poly.Dashes = []vg.Length{vg.Points(2), vg.Points(2)}
		}
		label, err := plotter.NewLabels(plotter.XYLabels{
			XYs: plotter.XYs{{X: (a + z) / 2, Y: sp.y}}, Labels: []string{sp.name},
		})
		if err != nil {
			return fmt.Errorf("plotting echo strip: %s: %w", sp.name, err)
		}
		label.TextStyle[0].XAlign = -0.5
		p.Add(poly, label)
	}
	return nil
}

// RangePerPx returns metres of slant range a pixel at a mark, from its slant range in both units; 0 when the scale is unknown.
func RangePerPx(m detect.MarkRecord) float64 {
	if m.SlantM == nil || m.SlantPx.Value <= 0 || math.IsNaN(m.SlantM.Value) {
		return 0
	}
	return m.SlantM.Value / m.SlantPx.Value
}
