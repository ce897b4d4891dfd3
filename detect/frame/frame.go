// Package frame finds the side-scan panels in a decoded screen capture, traces nadir and first return roughly, and turns the
// panel's colours into echo strength, whatever the palette. What is screen, furniture, water or bottom is told by a small
// network that looks at the whole capture; a picture without side-scan gives no panel and the reason.
package frame

import (
	"context"
	"fmt"
	"image"
	"math"
	"slices"

	"shadowgap/detect/palette"
	"shadowgap/detect/pixels"
	"shadowgap/detect/ruled"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// Options are what a person knows about the screen, and what the caller lends. The zero value is right for any capture.
type Options struct {
	Panel  image.Rectangle // the side-scan panel, set by hand; empty = find it
	NadirX float64         // column of the nadir in pixels of the capture, set by hand; 0 = find it
	Side   string          // "port" or "starboard": the only side in view, set by hand; "" = find out
	Strong string          // "dark" or "bright": how strong echoes are shown, set by hand; "" = find out
	Reader *reader.Reader  // runs the network; nil = load one for this capture
	Arena  *features.Arena // gives the memory of panels, which hold until its reset; nil = new memory
}

// Sides of a panel, as indices.
const (
	port = iota
	starboard
)

// Panel is one side-scan panel of a capture.
type Panel struct {
	Box   image.Rectangle // pixels of the capture, its bounds' origin at 0, 0; of Upright's rectangle where that is not nil
	Whole image.Rectangle // Box and, under it, what the record has not filled yet
	Echo  *features.Grid  // rows × columns of Box, echo strength 0..1, 1 = strongest the display can show
	Valid []uint8         // rows × columns; 1 = echo, 0 = screen furniture drawn over it, or padding
	// Nadir is the rough column of the nadir in panel pixels, per row; nil when it is not in view.
	Nadir []float64
	// Side is the only side in view, "port" or "starboard"; "" when both are.
	Side     string
	SideSure float64 // how sure the map is of Side, 0..1
	// First is where bottom begins, roughly: per side (port, starboard) and row the panel column, NaN where the map doesn't
	// show it; nil for a side that is not in view or shows no water column.
	First [2][]float64
	// Sure is how clearly the map shows First, 0..1, per side and row.
	Sure       [2][]float64
	CellPx     float64 // panel columns a cell of the map covers: how rough Nadir and First are
	Inverted   bool    // the display shows strong echoes dark
	Palette    string  // "grey" or "colour"
	Confidence float64 // 0..1 that this is side-scan
	Notes      []string
	Copy       bool     // it shows the same record as a larger one, which comes before it
	Upright    *Upright // set when the panel was photographed askew: what is told of it is told of the rectangle

	pattern *features.Pattern // what stands in it
}

const (
	minPicture = 48        // least side of a picture worth looking at, pixels: two dozen cells of speckle
	minSide    = 12        // least side of a panel, pixels: the stages after this one need as much
	minArea    = 0.03      // least part of the picture that a panel covers: smaller ones are cells astray
	sureSonar  = 0.5       // the network's own even odds that a picture holds side-scan at all
	sureCell   = 0.5       // and that a cell belongs to a panel
	leastCell  = 0.76      // least mean of those odds over a panel: with less it has not leastOdds
	leastOdds  = 0.87      // least odds of a panel: of 595 pictures kept out of the fit 8 have them, and 692 of 700 developing captures
	sureColumn = 0.5       // least mean odds of a first return that show a water column clearly
	invertedAt = 0.5       // and that strong echoes are dark
	tooFlat    = 2.0 / 255 // spread of a panel's echo below which nothing is drawn in it
)

// Find returns the side-scan panels of img, largest first, or none and the reason. It returns an error only when ctx
// ends or the network can't be run.
func Find(ctx context.Context, img image.Image, opt Options) (panels []Panel, why string, err error) {
	b := img.Bounds()
	if b.Dx() < minPicture || b.Dy() < minPicture {
		return nil, fmt.Sprintf("too small: %d × %d pixels, at least %d × %d needed", b.Dx(), b.Dy(), minPicture, minPicture), nil
	}
	if err := ctx.Err(); err != nil {
		return nil, "", fmt.Errorf("finding the panel: %w", err)
	}
	px := pixels.New(img)
	if opt.NadirX > float64(px.W) {
		return nil, fmt.Sprintf("the nadir set by hand, column %g, lies outside the picture, which has %d", opt.NadirX, px.W), nil
	}
	if c, flat := px.Flat(); flat {
		return nil, fmt.Sprintf("flat picture: every sampled pixel has colour #%06x", c), nil
	}
	v, err := look(px, opt)
	if err != nil {
		return nil, "", fmt.Errorf("finding the panel: %w", err)
	}
	places, why, err := placesOf(v, opt)
	if err != nil {
		return nil, "", fmt.Errorf("finding the panel: %w", err)
	}
	for _, at := range places {
		if err := ctx.Err(); err != nil {
			return nil, "", fmt.Errorf("finding the panel: %w", err)
		}
		pan, err := panel(at, opt)
		if err != nil {
			return nil, "", err
		}
		if not := whyNot(pan, opt); not != "" {
			why = not
			continue
		}
		pan.pattern = at.pattern(at.box)
		panels = append(panels, *pan)
	}
	if len(panels) > 0 {
		why = ""
	}
	return records(panels), why, nil
}

// records are those of panels, largest first, that show a record: beside one that shows a nadir or clearly a water column, bottom alone is
// not enough, and a chart may look like it; but a record may be shown twice.
func records(panels []Panel) []Panel {
	first := max(0, slices.IndexFunc(panels, func(p Panel) bool { return p.Nadir != nil || p.column() }))
	var out []Panel
	for i, pan := range panels {
		pan.Copy = slices.ContainsFunc(out, func(larger Panel) bool { return pan.alike(&larger) >= copyAlike })
		if i == first || pan.Nadir != nil || pan.Copy {
			out = append(out, pan)
		}
	}
	return out
}

// column tells whether the map shows a water column clearly on either side. A chart beside a record reached 0.22; of 31 records of one side
// all but two have 0.6 and more.
func (p *Panel) column() bool {
	return slices.ContainsFunc(p.Sure[:], func(sure []float64) bool {
		sum := 0.0
		for _, v := range sure {
			sum += v
		}
		return len(sure) > 0 && sum >= sureColumn*float64(len(sure))
	})
}

// placesOf are the places where a panel may lie, or none and the reason: the one set by hand, or else those that the map shows.
func placesOf(v *sight, opt Options) ([]place, string, error) {
	if opt.Panel.Empty() {
		return regions(v, opt)
	}
	box := opt.Panel.Intersect(image.Rect(0, 0, v.px.W, v.px.H))
	if min(box.Dx(), box.Dy()) < minPicture {
		return nil, fmt.Sprintf("the panel set by hand, %v, covers less than %d × %d pixels of the picture",
			opt.Panel, minPicture, minPicture), nil
	}
	return []place{{sight: v, box: box}}, "", nil
}

// whyNot tells why what was read at a place, nil when nothing is drawn there, is no panel; "" when it is one.
func whyNot(pan *Panel, opt Options) string {
	if pan == nil {
		return "the panel is drawn in one shade: there is no echo in it"
	}
	what := "what may be side-scan or anything else"
	if pan.Nadir == nil && pan.First[port] == nil && pan.First[starboard] == nil {
		what = "texture without a nadir or a water column, which may be bottom or anything else"
	}
	if pan.Confidence < leastOdds && opt.Panel.Empty() {
		return fmt.Sprintf("%s (odds %.0f %%): set the panel by hand if it is", what, 100*pan.Confidence)
	}
	return ""
}

// panel reads one panel, or returns nil when nothing is drawn in it.
func panel(at place, opt Options) (*Panel, error) {
	px, m, box := at.px, at.m, at.box
	w := newWindow(m, px, box)
	pan := &Panel{Box: box, Whole: box, Upright: at.upright, CellPx: w.cellX, Confidence: w.odds()}
	pan.Inverted = opt.Strong == "dark" || opt.Strong == "" && w.inverted() > invertedAt
	pal := palette.Learn(histogram(px, box, w))
	if pal == nil {
		pal = palette.Learn(histogram(px, box, nil))
	}
	pal.SetFlip(pan.Inverted)
	pan.Palette = pal.Name()
	if opt.Panel.Empty() {
		pan.Whole = at.whole(pal)
	}
	if err := write(px, pal, pan, opt.Arena); err != nil {
		return nil, fmt.Errorf("writing echo strength: %w", err)
	}
	if spread(pan) < tooFlat {
		return nil, nil
	}
	w.cover(pan)
	w.trace(pan, opt)
	pan.Notes = w.against(pan, opt)
	nadir := math.NaN()
	if pan.Nadir != nil {
		nadir = pan.Nadir[len(pan.Nadir)/2]
	}
	lines := ruled.Mask(pan.Echo, pan.Valid, nadir)
	if n := countZero(pan.Valid); n > 0 {
		pan.Notes = append(pan.Notes, fmt.Sprintf("furniture over the panel: %.1f %% of it, %d ruled lines among it",
			100*float64(n)/float64(len(pan.Valid)), lines))
	}
	pan.Notes = append(pan.Notes, pal.String())
	if pan.Whole != box {
		pan.Notes = append(pan.Notes, fmt.Sprintf("the record fills %d of the panel's %d rows so far", box.Dy(), pan.Whole.Dy()))
	}
	if pan.Upright != nil {
		pan.Notes = append(pan.Notes, "photographed askew: read as a rectangle, told where it lies in the photograph")
	}
	if pan.Inverted {
		pan.Notes = append(pan.Notes, "the display shows strong echoes dark")
	}
	return pan, nil
}

// spread is the standard deviation of a panel's echo over a thinned choice of its pixels.
func spread(pan *Panel) float64 {
	var n, sum, square float64
	step := max(1, len(pan.Echo.V)/20000)
	for i := 0; i < len(pan.Echo.V); i += step {
		v := float64(pan.Echo.V[i])
		n, sum, square = n+1, sum+v, square+v*v
	}
	return math.Sqrt(max(0, square/n-sum*sum/n/n))
}
