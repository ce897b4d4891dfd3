package eval

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"

	"github.com/disintegration/imaging"
	"gonum.org/v1/plot/palette"
	"gonum.org/v1/plot/palette/moreland"

	"shadowgap/detect"
)

// Way is one way of showing a picture differently, as displays, screenshots and mail programs do.
type Way struct {
	Name  string
	Scale float64 // of both axes
	show  func(image.Image) (image.Image, error)
}

// Ways lists the ways a swath is shown in: softer, larger and smaller by four kernels, stored again, without its colours, in the
// reverse, and in three published palettes (gonum's package moreland, which names its sources).
func Ways() []Way {
	var out []Way
	same := func(name string, show func(image.Image) image.Image) {
		out = append(out, Way{name, 1, func(img image.Image) (image.Image, error) { return show(img), nil }})
	}
	for _, sigma := range []float64{0.5, 1, 1.5} {
		same(fmt.Sprintf("blurred, sigma %g px", sigma), func(img image.Image) image.Image { return imaging.Blur(img, sigma) })
	}
	for _, scale := range []float64{0.33, 0.5, 1.5, 2, 2.5} {
		for _, kernel := range []struct {
			name   string
			filter imaging.ResampleFilter
		}{{"nearest", imaging.NearestNeighbor}, {"area", imaging.Box}, {"cubic", imaging.CatmullRom}, {"Lanczos", imaging.Lanczos}} {
			filter := kernel.filter
			if scale > 1 && kernel.name == "area" { // enlarged by area is nearest again
				kernel.name, filter = "linear", imaging.Linear
			}
			out = append(out, Way{fmt.Sprintf("%g times as large, %s", scale, kernel.name), scale, func(img image.Image) (image.Image, error) {
				b := img.Bounds()
				return imaging.Resize(img, scaledPx(b.Dx(), scale), scaledPx(b.Dy(), scale), filter), nil
			}})
		}
	}
	out = append(out, Way{"JPEG of quality 60", 1, func(img image.Image) (image.Image, error) { return AsJPEG(img, 60) }})
	same("grey", func(img image.Image) image.Image { return imaging.Grayscale(img) })
	same("inverted", func(img image.Image) image.Image { return imaging.Invert(img) })
	for _, p := range []struct {
		name   string
		colors palette.ColorMap
	}{
		{"Kindlmann", moreland.Kindlmann()},
		{"extended Kindlmann", moreland.ExtendedKindlmann()},
		{"extended black body", moreland.ExtendedBlackBody()},
	} {
		out = append(out, Way{"palette " + p.name, 1, func(img image.Image) (image.Image, error) { return recoloured(img, p.colors) }})
	}
	return out
}

func scaledPx(n int, by float64) int { return max(1, int(math.Round(float64(n)*by))) }

// AsJPEG is a picture as a JPEG file of a quality, 1 to 100, gives it back. It returns an error for a picture that JPEG can't hold.
func AsJPEG(img image.Image, quality int) (image.Image, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("storing a picture as JPEG: %w", err)
	}
	out, err := jpeg.Decode(&b)
	if err != nil {
		return nil, fmt.Errorf("reading back a picture stored as JPEG: %w", err)
	}
	return out, nil
}

// recoloured shows a picture's luminance in other colours, darkest first.
func recoloured(img image.Image, colors palette.ColorMap) (image.Image, error) {
	colors.SetMin(0)
	colors.SetMax(math.MaxUint8)
	var table [math.MaxUint8 + 1]color.Color
	for v := range table {
		c, err := colors.At(float64(v))
		if err != nil {
			return nil, err
		}
		table[v] = c
	}
	grey := imaging.Grayscale(img)
	out := image.NewRGBA(grey.Bounds())
	for y := range grey.Rect.Dy() {
		for x := range grey.Rect.Dx() {
			out.Set(x, y, table[grey.Pix[grey.PixOffset(x, y)]])
		}
	}
	return out, nil
}

// Look reads one picture.
type Look func(context.Context, image.Image) (*detect.Result, error)

// keptShare of the panel's width is how far a first return may move and still be the same.
const keptShare = 0.01

// seenAs is what became of one picture shown in one way.
type seenAs struct {
	read       bool
	kept, rows int // rows and sides with a first return in the picture as it is, and those where it is still the same
}

// ShownPicture is one picture shown in all ways.
type ShownPicture struct {
	plain bool // read as it is
	ways  []seenAs
}

// LookAtAll shows a picture in all ways and compares what look says with what it says of the picture as it is. Where a picture is not
// read as it is, no row can be compared. panel is the labelled panel, nil = the first one found. It returns an error when ctx ends,
// when a picture can't be made, or when look fails.
func LookAtAll(ctx context.Context, img image.Image, panel *detect.Box, ways []Way, look Look) (ShownPicture, error) {
	var out ShownPicture
	first, err := look(ctx, img)
	if err != nil {
		return out, fmt.Errorf("reading it as it is: %w", err)
	}
	base := overlapping(first.Panels, panel)
	out.plain = base != nil
	for _, w := range ways {
		shown, err := w.show(img)
		if err != nil {
			return out, fmt.Errorf("showing it %s: %w", w.Name, err)
		}
		res, err := look(ctx, shown)
		if err != nil {
			return out, fmt.Errorf("reading it %s: %w", w.Name, err)
		}
		was, size := img.Bounds().Size(), shown.Bounds().Size()
		out.ways = append(out.ways, compared(base, res.Panels, float64(size.X)/float64(was.X), float64(size.Y)/float64(was.Y)))
	}
	return out, nil
}

// compared lays what was found in a picture scaled by kx and ky against base.
func compared(base *detect.PanelRecord, panels []detect.PanelRecord, kx, ky float64) seenAs {
	s := seenAs{read: len(panels) > 0}
	if base == nil {
		return s
	}
	want := detect.Box{
		X: int(float64(base.Box.X) * kx), Y: int(float64(base.Box.Y) * ky), W: scaledPx(base.Box.W, kx), H: scaledPx(base.Box.H, ky),
	}
	got := overlapping(panels, &want)
	if got == nil {
		got = &detect.PanelRecord{}
	}
	for _, side := range []struct{ was, is []detect.RowX }{
		{base.FirstReturn.Port, got.FirstReturn.Port}, {base.FirstReturn.Starboard, got.FirstReturn.Starboard},
	} {
		for _, q := range side.was {
			s.rows++
			// Whole numbers are pixel centres.
			x, ok := atRow(side.is, (q[0]+0.5)*ky-0.5)
			if ok && math.Abs((x+0.5)/kx-0.5-q[1]) <= keptShare*float64(base.Box.W) {
				s.kept++
			}
		}
	}
	return s
}

// overlapping is the panel that overlaps want most, or the first; nil without panels.
func overlapping(panels []detect.PanelRecord, want *detect.Box) *detect.PanelRecord {
	var best *detect.PanelRecord
	most := -1.0
	for i := range panels {
		share := 0.0
		if want != nil {
			share = IoU(*want, panels[i].Box)
		}
		if share > most {
			best, most = &panels[i], share
		}
	}
	return best
}

// ShownResult tells how much a reading depends on how a swath is shown.
type ShownResult struct {
	Schema   int        `json:"schema"`
	Pictures int        `json:"pictures"`
	Plain    Rate       `json:"read_as_it_is"`
	Read     PointShare `json:"read"` // of all pictures in all ways
	Kept     PointShare `json:"kept"` // of the rows and sides with a first return in the picture as it is; no answer is none kept
	Ways     []ShownWay `json:"ways"`
}

// ShownWay is the same for one way.
type ShownWay struct {
	Name string     `json:"name"`
	Read Rate       `json:"read"`
	Kept PointShare `json:"kept"`
}

// Shown sums pictures up that were each shown in all these ways.
func Shown(list []ShownPicture, ways []Way, opt Options) ShownResult {
	r := ShownResult{Schema: resultsSchema, Pictures: len(list)}
	n := len(list)
	plain, read, shown, kept, rows := 0, make([]int, n), make([]int, n), make([]int, n), make([]int, n)
	for i, p := range list {
		if p.plain {
			plain++
		}
		for _, s := range p.ways {
			shown[i]++
			if s.read {
				read[i]++
			}
			kept[i], rows[i] = kept[i]+s.kept, rows[i]+s.rows
		}
	}
	r.Plain, r.Read, r.Kept = NewRate(plain, n), newPointShare(read, shown, opt), newPointShare(kept, rows, opt)
	for w, way := range ways {
		seen, k, of := 0, make([]int, n), make([]int, n)
		for i, p := range list {
			if p.ways[w].read {
				seen++
			}
			k[i], of[i] = p.ways[w].kept, p.ways[w].rows
		}
		r.Ways = append(r.Ways, ShownWay{way.Name, NewRate(seen, n), newPointShare(k, of, opt)})
	}
	return r
}

// WholeSwaths are the labels of captures that show both sides with their lines labelled.
func (l *Labels) WholeSwaths() []CaptureLabel {
	var out []CaptureLabel
	for i := range l.Captures {
		if l.Captures[i].wholeSwath() {
			out = append(out, l.Captures[i])
		}
	}
	return out
}
