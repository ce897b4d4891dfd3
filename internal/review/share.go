package review

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"io"
	"io/fs"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
)

// shareLeast is how wide a shared picture is at least, in pixels, so that its words can be read.
const shareLeast = 900

// sharePicture writes one capture as one JPEG to send to somebody: its name, time, depth, range and place, the picture with the
// marks as decided (rejected ones and likeliest clutter left out), what each is, and the cautions. run is the run folder, with the
// pictures that media.Write made; say holds a sentence a mark, head is what stands above the picture. The error wraps fs.ErrNotExist
// when no plain picture was kept.
func sharePicture(
	ctx context.Context, w io.Writer, run fs.FS, c detect.CaptureRecord, marks []detect.MarkRecord, say []string, st *State, head []fact,
) error {
	wrap := func(err error) error { return fmt.Errorf("picture of %s: %w", c.Capture, err) }
	img, err := decodePlain(ctx, run, c)
	if err != nil {
		return wrap(err)
	}
	if err := ctx.Err(); err != nil {
		return wrap(err)
	}
	shown, numbers, lines := sharedMarks(marks, say, st)
	drawn := overlay.Draw(img, c, shown, overlay.Options{Legend: true, LineWidth: media.LineWidth, Numbers: numbers})
	width := max(drawn.Bounds().Dx(), shareLeast)
	size := float64(width) / 62
	page := &poster{width: width, pad: int(size * 0.8)}
	name := c.Capture[strings.LastIndexAny(c.Capture, `/\`)+1:]
	if err := page.add(name, gobold.TTF, size*1.2); err != nil {
		return wrap(err)
	}
	var facts []string
	for _, h := range head {
		facts = append(facts, h.Name+": "+h.Value)
	}
	if len(facts) > 0 {
		if err := page.add(strings.Join(facts, "  ·  "), goregular.TTF, size); err != nil {
			return wrap(err)
		}
	}
	page.picture(drawn)
	const most = 12
	if len(lines) > most {
		lines = append(lines[:most], fmt.Sprintf("and %d more", len(lines)-most))
	}
	for _, l := range append(lines, strings.Join(detect.Cautions(), " ")) {
		if err := page.add(l, goregular.TTF, size); err != nil {
			return wrap(err)
		}
	}
	if err := jpeg.Encode(w, page.compose(), &jpeg.Options{Quality: 88}); err != nil {
		return wrap(err)
	}
	return nil
}

// sharedMarks are the marks that are something, as decided, with the numbers that the page gives them, and a line on each.
func sharedMarks(marks []detect.MarkRecord, say []string, st *State) (shown []detect.MarkRecord, numbers []int, lines []string) {
	for i, m := range marks {
		r := decided.Mark{MarkRecord: m}
		lay(st.Mark(m.Capture, m.Mark), &r)
		if r.Nothing() {
			continue
		}
		shown, numbers = append(shown, r.MarkRecord), append(numbers, i+1)
		line := fmt.Sprintf("%d  %s", i+1, say[i])
		if r.Note != "" {
			line += " Note: " + r.Note
		}
		lines = append(lines, line)
	}
	return shown, numbers, lines
}

// poster stacks lines of text and a picture.
type poster struct {
	width, pad int
	y          int
	paint      []func(*image.RGBA)
}

func (p *poster) picture(img image.Image) {
	b := img.Bounds()
	at := image.Rect(0, 0, b.Dx(), b.Dy()).Add(image.Pt((p.width-b.Dx())/2, p.y+p.pad/2))
	p.paint = append(p.paint, func(dst *image.RGBA) { draw.Draw(dst, at, img, b.Min, draw.Src) })
	p.y = at.Max.Y
}

// add sets a text of the given size in pixels, broken into lines at blanks.
func (p *poster) add(text string, ttf []byte, size float64) error {
	f, err := opentype.Parse(ttf)
	if err != nil {
		return err
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return err
	}
	line := ""
	put := func(s string) {
		p.y += int(size * 1.4)
		at := fixed.P(p.pad, p.y)
		p.paint = append(p.paint, func(dst *image.RGBA) {
			d := font.Drawer{Dst: dst, Src: image.NewUniform(color.Gray{0x1b}), Face: face, Dot: at}
			d.DrawString(s)
		})
	}
	for _, word := range strings.Fields(text) {
		next := strings.TrimSpace(line + " " + word)
		if line != "" && font.MeasureString(face, next).Ceil() > p.width-2*p.pad {
			put(line)
			next = word
		}
		line = next
	}
	put(line)
	return nil
}

func (p *poster) compose() *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, p.width, p.y+p.pad))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	for _, f := range p.paint {
		f(out)
	}
	return out
}
