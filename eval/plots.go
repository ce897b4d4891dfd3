package eval

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"unicode/utf8"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"shadowgap/detect"
)

// chart is one drawn plot.
type chart struct {
	Title string
	Alt   string // what it shows, for those who can't see it
	PNG   []byte
}

const (
	chartWidth  = 12 * vg.Centimeter
	chartHeight = 8.5 * vg.Centimeter
	chartDPI    = 160
	lineWidth   = vg.Length(1.8)
	// errorShown is how far the plot of first return errors reaches, in pixels; what lies beyond shows as a curve that ends
	// short of 1.
	errorShown = 20
)

// look is how a class is drawn: its colour from Okabe & Ito's palette for the colour-blind and a line style of its own.
type look struct {
	color color.NRGBA
	dash  []float64 // on, off, … in pixels; nil = solid
}

var (
	grey  = color.NRGBA{0x80, 0x80, 0x80, 0xFF}
	ink   = color.NRGBA{0x00, 0x72, 0xB2, 0xFF}
	faint = color.NRGBA{0xDD, 0xDD, 0xDD, 0xFF}
)

func lookOf(c detect.Class) look {
	switch c {
	case detect.BottomObject:
		return look{color.NRGBA{0xE6, 0x9F, 0x00, 0xFF}, nil}
	case detect.SuspendedTarget:
		return look{color.NRGBA{0x56, 0xB4, 0xE9, 0xFF}, []float64{5, 3}}
	case detect.RaisedStructure:
		return look{color.NRGBA{0x00, 0x9E, 0x73, 0xFF}, []float64{7, 2.5, 1.5, 2.5}}
	}
	return look{color.NRGBA{0xCC, 0x79, 0xA7, 0xFF}, []float64{1.5, 2}}
}

func (l look) dashes() []vg.Length {
	out := make([]vg.Length, len(l.dash))
	for i, d := range l.dash {
		out[i] = vg.Points(d)
	}
	return out
}

// charts draws every plot the results have data for.
func charts(r *Results) ([]chart, error) {
	var out []chart
	for _, draw := range []func(*Results) (*chart, error){frocChart, precisionRecallChart, reliabilityChart, firstReturnChart,
		func(r *Results) (*chart, error) { return valueChart("Height", "m", r.Height) },
		func(r *Results) (*chart, error) { return valueChart("Underside over the bottom", "m", r.OffBottom) },
		func(r *Results) (*chart, error) { return valueChart("Gap", "px", r.Gap) }} {
		c, err := draw(r)
		if err != nil {
			return nil, fmt.Errorf("drawing plots: %w", err)
		}
		if c != nil {
			out = append(out, *c)
		}
	}
	for _, b := range r.Breakdowns {
		c, err := breakdownChart(b)
		if err != nil {
			return nil, fmt.Errorf("drawing plots: recall by %s: %w", b.By, err)
		}
		out = append(out, *c)
	}
	return out, nil
}

func frocChart(r *Results) (*chart, error) {
	if len(r.FROC.Points) == 0 {
		return nil, nil
	}
	p := newPlot("false marks per capture (count)", "recall (share of labels)")
	pts := plotter.XYs{{X: 0, Y: 0}}
	for _, q := range r.FROC.Points {
		pts = append(pts, plotter.XY{X: q.FalsePerCapture, Y: pts[len(pts)-1].Y}, plotter.XY{X: q.FalsePerCapture, Y: q.Recall})
	}
	l, err := line(pts, look{color: ink})
	if err != nil {
		return nil, err
	}
	here, err := plotter.NewScatter(plotter.XYs{{X: r.Detection.FalsePerCapture.Value, Y: r.Detection.Recall.Value}})
	if err != nil {
		return nil, err
	}
	here.GlyphStyle = draw.GlyphStyle{Color: color.Black, Radius: 4, Shape: draw.CrossGlyph{}}
	p.Add(l, here)
	p.Legend.Add("any threshold", l)
	p.Legend.Add("as reported", here)
	p.X.Min, p.Y.Min, p.Y.Max = 0, 0, 1
	p.X.Max = math.Max(1, p.X.Max)
	return render(p, "Recall against false marks",
		"Free-response curve: recall rises from 0 as more false marks per capture are allowed; a cross shows the run as reported.")
}

func precisionRecallChart(r *Results) (*chart, error) {
	p := newPlot("recall (share of labels)", "precision (share of marks)")
	drawn := false
	for _, c := range r.Classes {
		if len(c.Curve) == 0 {
			continue
		}
		pts := make(plotter.XYs, 0, len(c.Curve)+1)
		pts = append(pts, plotter.XY{X: 0, Y: c.Curve[0].Precision})
		for _, q := range c.Curve {
			pts = append(pts, plotter.XY{X: q.Recall, Y: q.Precision})
		}
		l, err := line(pts, lookOf(c.Class))
		if err != nil {
			return nil, err
		}
		p.Add(l)
		p.Legend.Add(string(c.Class), l)
		drawn = true
	}
	if !drawn {
		return nil, nil
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 1, 0, 1
	p.Legend.Top, p.Legend.Left = false, true
	return render(p, "Precision and recall by class", "Precision against recall for each class as the threshold on its odds falls.")
}

func reliabilityChart(r *Results) (*chart, error) {
	if len(r.Calibration.Bins) == 0 {
		return nil, nil
	}
	p := newPlot("promised chance of being real (share)", "really there (share of marks)")
	diagonal, err := line(plotter.XYs{{X: 0, Y: 0}, {X: 1, Y: 1}}, look{grey, []float64{4, 3}})
	if err != nil {
		return nil, err
	}
	var e ratePoints
	for _, b := range r.Calibration.Bins {
		e.add(b.Promised, b.True)
	}
	p.Add(diagonal)
	if err := e.addTo(p, ink); err != nil {
		return nil, err
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 1, 0, 1
	return render(p, "Calibration, with 95 % intervals (dashed: promise kept)",
		"Share of marks that are really there against the chance they were given, with 95 % intervals; on the diagonal promises are kept.")
}

func firstReturnChart(r *Results) (*chart, error) {
	abs := r.FirstReturn.abs
	if len(abs) == 0 {
		return nil, nil
	}
	p := newPlot("first return error up to (px)", "rows (share)")
	pts := make(plotter.XYs, 0, 501)
	for i := 0; i <= 500; i++ {
		q := float64(i) / 500
		x := sortedQuantile(abs, q)
		if x > errorShown {
			pts = append(pts, plotter.XY{X: errorShown, Y: q})
			break
		}
		pts = append(pts, plotter.XY{X: x, Y: q})
	}
	l, err := line(pts, look{color: ink})
	if err != nil {
		return nil, err
	}
	p.Add(l)
	p.X.Min, p.Y.Min, p.Y.Max = 0, 0, 1
	p.X.Max = math.Min(errorShown, math.Max(2, abs[len(abs)-1]))
	return render(p, "First return error",
		fmt.Sprintf("Share of rows whose first return is off by at most so many pixels, up to %d.", errorShown))
}

func valueChart(name, unit string, e ValueError) (*chart, error) {
	if len(e.pairs) == 0 {
		return nil, nil
	}
	p := newPlot(fmt.Sprintf("true %s (%s)", lowerFirst(name), unit), fmt.Sprintf("measured %s (%s)", lowerFirst(name), unit))
	pts := make(plotter.XYs, len(e.pairs))
	bars := make(plotter.YErrors, len(e.pairs))
	lo, hi := 0.0, 0.0
	for i, v := range e.pairs {
		pts[i] = plotter.XY{X: v.truth, Y: v.got.Value}
		bars[i].Low, bars[i].High = v.got.SD, v.got.SD
		lo, hi = min(lo, v.truth, v.got.Value), max(hi, v.truth, v.got.Value)
	}
	diagonal, err := line(plotter.XYs{{X: lo, Y: lo}, {X: hi, Y: hi}}, look{grey, []float64{4, 3}})
	if err != nil {
		return nil, err
	}
	s, err := plotter.NewScatter(pts)
	if err != nil {
		return nil, err
	}
	s.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: 2, Shape: draw.CircleGlyph{}}
	b, err := plotter.NewYErrorBars(struct {
		plotter.XYer
		plotter.YErrorer
	}{pts, bars})
	if err != nil {
		return nil, err
	}
	b.Color = grey
	p.Add(b, diagonal, s)
	return render(p, name+", measured and true (dashed: equal)",
		fmt.Sprintf("%s measured against truth in %s for %d marks, bars of one standard deviation.", name, unit, len(e.pairs)))
}

func breakdownChart(b Breakdown) (*chart, error) {
	x := b.By
	if b.Unit != "" {
		x += " (" + b.Unit + ")"
	}
	p := newPlot(x, "recall (share of labels)")
	var e ratePoints
	names, letters := make([]string, len(b.Bins)), 0
	for i, bin := range b.Bins {
		e.add(float64(i), bin.Recall)
		names[i] = bin.Name
		letters += utf8.RuneCountInString(bin.Name)
	}
	if err := e.addTo(p, ink); err != nil {
		return nil, err
	}
	p.NominalX(names...)
	if letters > 36 {
		p.X.Tick.Label.Rotation = 0.6
		p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = draw.XRight, draw.YCenter
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -0.5, float64(len(names))-0.5, 0, 1
	return render(p, "Recall by "+b.By+", with 95 % intervals",
		"Recall with 95 % intervals for each group of labels by "+b.By+"; the table below holds the numbers.")
}

// ratePoints draws rates with their intervals.
type ratePoints struct {
	plotter.XYs
	plotter.YErrors
}

func (e *ratePoints) add(x float64, r Rate) {
	if r.N == 0 {
		return
	}
	e.XYs = append(e.XYs, plotter.XY{X: x, Y: r.Value})
	e.YErrors = append(e.YErrors, struct{ Low, High float64 }{r.Value - r.Low, r.High - r.Value})
}

func (e *ratePoints) addTo(p *plot.Plot, c color.Color) error {
	if len(e.XYs) == 0 {
		return nil
	}
	bars, err := plotter.NewYErrorBars(e)
	if err != nil {
		return err
	}
	bars.Color = c
	bars.Width = lineWidth
	dots, err := plotter.NewScatter(e.XYs)
	if err != nil {
		return err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: c, Radius: 3, Shape: draw.CircleGlyph{}}
	p.Add(bars, dots)
	return nil
}

func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = x, y
	p.X.Label.TextStyle.Font.Size, p.Y.Label.TextStyle.Font.Size = 11, 11
	p.X.Padding, p.Y.Padding = 4, 4
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = faint, faint
	p.Add(grid)
	p.Legend.Padding = 2
	p.Legend.XOffs, p.Legend.YOffs = -6, 6
	return p
}

func line(pts plotter.XYs, l look) (*plotter.Line, error) {
	out, err := plotter.NewLine(pts)
	if err != nil {
		return nil, err
	}
	out.LineStyle = draw.LineStyle{Color: l.color, Width: lineWidth, Dashes: l.dashes()}
	return out, nil
}

func render(p *plot.Plot, title, alt string) (*chart, error) {
	if p.Legend.Left {
		p.Legend.XOffs = 6
	}
	c := vgimg.NewWith(vgimg.UseWH(chartWidth, chartHeight), vgimg.UseDPI(chartDPI))
	// The last tick label of an axis reaches past its end: leave it room.
	p.Draw(draw.Crop(draw.New(c), 4, -14, 4, -8))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("%s: %w", title, err)
	}
	return &chart{title, alt, b.Bytes()}, nil
}

func lowerFirst(s string) string {
	if s == "" || s[0] < 'A' || s[0] > 'Z' {
		return s
	}
	return string(s[0]-'A'+'a') + s[1:]
}
