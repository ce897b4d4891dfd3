package eval

import (
	"bytes"
	"context"
	_ "embed" // the page's template
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"strings"

	"shadowgap/detect"
)

//go:embed report.html
var reportPage string

// reportView is what the page's template sees.
type reportView struct {
	*Results
	Title   string
	Charts  []chartView
	Misses  []missView
	Missing bool // some miss has no picture
	Caution string
	Tiles   []tileRow
}

type chartView struct {
	Title, Alt string
	Source     template.URL
}

type missView struct {
	Miss
	Words  string
	Source template.URL // "" = no picture
}

type tileRow struct {
	Name string
	TileScore
}

// WriteHTML writes the results to file as one page that needs nothing else: tables, plots, and the worst misses cut from the
// captures below inputRoot ("" = without pictures). tiles adds the score of single-object tiles; nil leaves it out. The file is
// there whole or not at all. It returns an error when ctx ends.
func WriteHTML(ctx context.Context, file, title string, r *Results, inputRoot string, tiles *TileResult) error {
	page, err := renderHTML(ctx, title, r, inputRoot, tiles)
	if err != nil {
		return fmt.Errorf("writing %s: %w", file, err)
	}
	return writeWhole(file, page)
}

func renderHTML(ctx context.Context, title string, r *Results, inputRoot string, tiles *TileResult) ([]byte, error) {
	t, err := template.New("report").Funcs(template.FuncMap{
		"rate":     rateText,
		"percent":  percent,
		"estimate": estimateText,
		"number":   numberText,
		"known":    func(n Number) bool { return !math.IsNaN(float64(n)) },
		"apart":    func(row, given string) bool { return row == NothingThere && given == Missed },
		"max": func(row []int) int {
			m := 0
			for _, n := range row {
				m = max(m, n)
			}
			return m
		},
	}).Parse(reportPage)
	if err != nil {
		return nil, fmt.Errorf("page template: %w", err)
	}
	v := reportView{Results: r, Title: title, Caution: strings.Join(detect.Cautions(), " ")}
	drawn, err := charts(r)
	if err != nil {
		return nil, err
	}
	for _, c := range drawn {
		v.Charts = append(v.Charts, chartView{c.Title, c.Alt, dataURL("image/png", c.PNG)})
	}
	pictures := make([][]byte, len(r.Worst))
	if inputRoot != "" {
		if pictures, err = missPictures(ctx, inputRoot, r.Worst); err != nil {
			return nil, err
		}
	}
	for i, m := range r.Worst {
		mv := missView{Miss: m, Words: m.words()}
		if pictures[i] != nil {
			mv.Source = dataURL("image/png", pictures[i])
		} else {
			v.Missing = true
		}
		v.Misses = append(v.Misses, mv)
	}
	if tiles != nil {
		v.Tiles = []tileRow{{"first half by name (may be tuned on)", tiles.First}, {"second half by name (held out)", tiles.Second},
			{"all", tiles.All}}
	}
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return nil, fmt.Errorf("page template: %w", err)
	}
	return b.Bytes(), nil
}

// words says what went wrong in one sentence.
func (m Miss) words() string {
	kind := string(m.Truth)
	if m.Kind != "" {
		kind = fmt.Sprintf("%s (%s)", m.Truth, m.Kind)
	}
	switch m.Sort {
	case missMissed:
		return fmt.Sprintf("missed: %s", kind)
	case missFalse:
		return fmt.Sprintf("nothing labelled here, called %s, chance of being real %s", m.Given, numberText(m.Score, 2))
	}
	return fmt.Sprintf("%s called %s", kind, m.Given)
}

// dataURL packs bytes made here into an address that an <img> shows; scripts don't run in there.
func dataURL(mime string, data []byte) template.URL {
	return template.URL("data:" + mime + ";base64," + base64.StdEncoding.EncodeToString(data))
}
