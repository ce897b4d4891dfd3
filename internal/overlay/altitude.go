package overlay

import (
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"shadowgap/detect"
)

// ErrNoAltitude says that a panel has no altitude to plot, as when no water column is in view.
var ErrNoAltitude = errors.New("no altitude: no first return was found")

// AltitudePlot writes a PNG of a panel's altitude over the bottom: rows of the picture down the left, newest on top as in
// the capture, altitude along the bottom in u where the range setting is known and in pixels of slant range where it is
// not. The band is one standard deviation; humps are shaded. It returns ErrNoAltitude when there is nothing to plot.
func AltitudePlot(w io.Writer, rec detect.PanelRecord, u Units) error {
	rows, unit, scale := rec.AltitudePx, "px of slant range", 1.0
	if len(rec.AltitudeM) > 0 {
		rows, unit, scale = rec.AltitudeM, u.Symbol(), u.FromMetres(1)
	}
	var line, band plotter.XYs
	var back plotter.XYs
	hi := 0.0
	for _, r := range rows {
		row, h, sd := r[0], r[1]*scale, r[2]*scale
		if !finite(row) || !finite(h) {
			continue
		}
		if !finite(sd) || sd < 0 {
			sd = 0
		}
		line = append(line, plotter.XY{X: h, Y: row})
		band = append(band, plotter.XY{X: max(0, h-sd), Y: row})
		back = append(back, plotter.XY{X: h + sd, Y: row})
		hi = max(hi, h+sd)
	}
	if len(line) == 0 {
		return ErrNoAltitude
	}
	for i := len(back) - 1; i >= 0; i-- {
		band = append(band, back[i])
	}
	p := newPlot()
	p.Title.Text = "Altitude over the bottom"
	p.X.Label.Text = fmt.Sprintf("altitude (%s)", unit)
	p.Y.Label.Text = "row of the picture (px, newest on top)"
	p.X.Min, p.X.Max = 0, max(hi*1.08, 1e-6)
	p.Y.Min, p.Y.Max = float64(rec.Box.Y), float64(rec.Box.Y+rec.Box.H)
	if rec.Box.H <= 0 {
		p.Y.Min, p.Y.Max = line[0].Y, line[len(line)-1].Y+1
	}
	p.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	p.Add(plotter.NewGrid())
	for _, h := range rec.Humps {
		poly, err := plotter.NewPolygon(plotter.XYs{
			{X: 0, Y: float64(h.Rows[0])}, {X: p.X.Max, Y: float64(h.Rows[0])},
			{X: p.X.Max, Y: float64(h.Rows[1])}, {X: 0, Y: float64(h.Rows[1])},
		})
		if err != nil {
			return fmt.Errorf("plotting altitude: hump: %w", err)
		}
		poly.Color = color.NRGBA{vermillion.R, vermillion.G, vermillion.B, 0x38}
		poly.Width = 0
		label, err := plotter.NewLabels(plotter.XYLabels{
			XYs:    plotter.XYs{{X: 0.02 * p.X.Max, Y: float64(h.Rows[0]+h.Rows[1]) / 2}},
			Labels: []string{"hump"},
		})
		if err != nil {
			return fmt.Errorf("plotting altitude: hump's label: %w", err)
		}
		p.Add(poly, label)
	}
	if len(band) > 2 {
		poly, err := plotter.NewPolygon(band)
		if err != nil {
			return fmt.Errorf("plotting altitude: error band: %w", err)
		}
		poly.Color = color.NRGBA{blue.R, blue.G, blue.B, 0x48}
		poly.Width = 0
		p.Add(poly)
	}
	l, err := plotter.NewLine(line)
	if err != nil {
		return fmt.Errorf("plotting altitude: %w", err)
	}
	l.Color, l.Width = blue, vg.Points(1.5)
	p.Add(l)
	return writePlot(w, p, 9*vg.Centimeter, 14*vg.Centimeter)
}

func newPlot() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = color.White
	return p
}

func writePlot(w io.Writer, p *plot.Plot, width, height vg.Length) error {
	c := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(110))
	p.Draw(draw.New(c))
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(w); err != nil {
		return fmt.Errorf("writing plot: %w", err)
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
