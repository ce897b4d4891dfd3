package review

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/files"
	"shadowgap/internal/overlay"
	"shadowgap/internal/words"
)

//go:embed explain.html
var explainHTML string

// ExplainOptions say how one capture is explained. The zero value shows metres and the picture's brightness.
type ExplainOptions struct {
	Units overlay.Units
	// Echo holds the echo strength of each panel, in the order of the capture record's panels; a nil or missing grid is
	// stood in for by the picture's brightness, and the plot's axis says which it is.
	Echo []*features.Grid
}

// WriteExplain writes explain.html (self-contained: pictures embedded, no network), overlay.png and, for each panel with an
// altitude, altitude.png (altitude-2.png … for further panels) into dir, which it makes. marks are numbered in the order
// given. It returns an error when ctx ends or a file can't be written.
func WriteExplain(
	ctx context.Context, dir string, img image.Image, capt detect.CaptureRecord, marks []detect.MarkRecord, opt ExplainOptions,
) error {
	if opt.Units == "" {
		opt.Units = overlay.Metres
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("explaining %s: making its folder: %w", capt.Capture, err)
	}
	page := explainPage{
		Name: capt.Capture, Status: capt.Status, Width: capt.Width, Height: capt.Height,
		Cautions: detect.Cautions(), Notes: slices.Clone(capt.Notes), CSP: staticCSP(explainHTML),
	}
	if capt.Why != nil {
		page.Why = *capt.Why
	}
	for _, c := range detect.Classes {
		st := overlay.StyleOf(c)
		page.Legend = append(page.Legend, legendRow{Class: string(c), Name: st.Name, Line: st.Line, Count: countClass(marks, c)})
	}
	drawn, err := encodePNG(overlay.Draw(img, capt, marks, overlay.Options{Legend: true, ClassLabels: len(marks) <= 12}))
	if err != nil {
		return fmt.Errorf("explaining %s: %w", capt.Capture, err)
	}
	if err := files.Write(filepath.Join(dir, "overlay.png"), drawn); err != nil {
		return fmt.Errorf("explaining %s: %w", capt.Capture, err)
	}
	page.Overlay = dataURI(drawn)
	for i, p := range capt.Panels {
		var b bytes.Buffer
		page.Notes = append(page.Notes, p.Notes...)
		switch err := overlay.AltitudePlot(&b, p, opt.Units); {
		case errors.Is(err, overlay.ErrNoAltitude):
			continue
		case err != nil:
			return fmt.Errorf("explaining %s: panel %d: %w", capt.Capture, i+1, err)
		}
		name := "altitude.png"
		if len(page.Altitude) > 0 {
			name = fmt.Sprintf("altitude-%d.png", i+1)
		}
		if err := files.Write(filepath.Join(dir, name), b.Bytes()); err != nil {
			return fmt.Errorf("explaining %s: %w", capt.Capture, err)
		}
		page.Altitude = append(page.Altitude, dataURI(b.Bytes()))
	}
	for i, m := range marks {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("explaining %s: %w", capt.Capture, err)
		}
		em, err := explainMark(i+1, img, capt, m, opt)
		if err != nil {
			return fmt.Errorf("explaining %s: mark %d: %w", capt.Capture, i+1, err)
		}
		page.Marks = append(page.Marks, em)
	}
	tmpl, err := template.New("explain").Parse(explainHTML)
	if err != nil {
		return fmt.Errorf("explaining %s: page template: %w", capt.Capture, err)
	}
	var out bytes.Buffer
	if err := tmpl.Execute(&out, page); err != nil {
		return fmt.Errorf("explaining %s: page: %w", capt.Capture, err)
	}
	if err := files.Write(filepath.Join(dir, "explain.html"), out.Bytes()); err != nil {
		return fmt.Errorf("explaining %s: %w", capt.Capture, err)
	}
	return nil
}

type explainPage struct {
	CSP           string
	Name, Why     string
	Status        detect.Status
	Width, Height int
	Overlay       template.URL
	Altitude      []template.URL
	Legend        []legendRow
	Marks         []explainedMark
	Notes         []string
	Cautions      []string
}

type legendRow struct {
	Class, Name, Line string
	Count             int
}

type oddsRow struct {
	Class, Name, Percent string
	Meter                float64
}

type explainedMark struct {
	Number         int
	Class, Verdict string
	Alt            string
	Chip, Strip    template.URL
	StripNote      string
	Odds           []oddsRow
	Facts          []fact
	Reasons        []string
	Doubts         []string
}

func explainMark(n int, img image.Image, capt detect.CaptureRecord, m detect.MarkRecord, opt ExplainOptions) (explainedMark, error) {
	em := explainedMark{
		Number: n, Class: string(m.Class), Verdict: Verdict(m), Alt: describe(n, m),
		Facts: factsOf(m, opt.Units), Reasons: words.Why(&m, opt.Units), Doubts: doubtsOf(capt, m),
	}
	for _, c := range rankedOdds(m.Odds) {
		em.Odds = append(em.Odds, oddsRow{string(c), overlay.StyleOf(c).Name, percent(m.Odds[c]), m.Odds[c]})
	}
	if chip := overlay.Chip(img, m, overlay.ChipOptions{Size: 420}); !chip.Bounds().Empty() {
		b, err := encodePNG(chip)
		if err != nil {
			return em, err
		}
		em.Chip = dataURI(b)
	}
	var echo *features.Grid
	if m.Panel >= 0 && m.Panel < len(opt.Echo) {
		echo = opt.Echo[m.Panel]
	}
	s, err := overlay.StripOf(img, capt, m, echo)
	if errors.Is(err, overlay.ErrNoStrip) {
		return em, nil
	}
	if err != nil {
		return em, err
	}
	var b bytes.Buffer
	if err := overlay.StripPlot(&b, s, overlay.StyleOf(m.Class), overlay.RangePerPx(m), opt.Units); err != nil {
		return em, err
	}
	em.Strip = dataURI(b.Bytes())
	if !s.RealEcho {
		em.StripNote = "The line is the picture's own brightness; on an inverted palette dark means a strong echo."
	}
	return em, nil
}

// describe says what a mark's close-up shows, for those who hear the page.
func describe(n int, m detect.MarkRecord) string {
	s := fmt.Sprintf("Close-up of mark %d, %s side, drawn in a %s", n, m.Side, overlay.StyleOf(m.Class).Line)
	switch {
	case m.Highlight == nil:
		return s + ": a shadow without a clear highlight."
	case m.Shadow == nil:
		return s + ": a highlight without a shadow."
	case m.GapPx != nil:
		return fmt.Sprintf("%s: highlight, a gap of %s pixels, then the shadow.", s, plusMinus(m.GapPx.Value, m.GapPx.SD))
	}
	return s + ": a highlight with a shadow behind it."
}

func countClass(marks []detect.MarkRecord, c detect.Class) int {
	n := 0
	for _, m := range marks {
		if m.Class == c {
			n++
		}
	}
	return n
}

func encodePNG(img image.Image) ([]byte, error) {
	var b bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := enc.Encode(&b, img); err != nil {
		return nil, fmt.Errorf("encoding picture: %w", err)
	}
	return b.Bytes(), nil
}

// dataURI embeds a PNG made here; its content is ours and needs no escaping.
func dataURI(pngData []byte) template.URL {
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(pngData))
}
