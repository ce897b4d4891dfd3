package scene

import (
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a rendered picture and what is really in it.
type Capture struct {
	Image *image.RGBA
	Label eval.CaptureLabel // its Capture field is empty until the picture has a name
	Spec  Spec
}

// Encode writes the picture as JPEG or PNG, as its Spec says.
func (c *Capture) Encode(w io.Writer) error {
	if q := c.Spec.Output.JPEGQuality; q > 0 {
		if err := jpeg.Encode(w, c.Image, &jpeg.Options{Quality: q}); err != nil {
			return fmt.Errorf("encoding JPEG: %w", err)
		}
		return nil
	}
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := e.Encode(w, c.Image); err != nil {
		return fmt.Errorf("encoding PNG: %w", err)
	}
	return nil
}

// Ext is the file name extension of what Encode writes, with its dot.
func (c *Capture) Ext() string {
	if c.Spec.Output.JPEGQuality > 0 {
		return ".jpg"
	}
	return ".png"
}

// Render makes the capture a Spec describes. It returns an error for a Spec that makes no sense and when ctx ends.
func Render(ctx context.Context, s Spec) (*Capture, error) {
	if err := s.check(); err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	pings := track(&s)
	cast := newCast(&s)
	swaths, err := cast.cast(ctx, pings)
	if err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	seen := sense(&s, pings, cast, swaths)
	screen, err := paintScreen(&s, seen.sides)
	if err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	t := newTruth(&s, cast.things, seen.sides)
	t.shade = screen.chain.shade()
	l := placer{spec: &s}
	var img *image.RGBA
	img, l.screen = finish(screen.img, &s)
	l.warp = l.screen.after(s.shown())
	l.bounds = img.Bounds()
	label := eval.CaptureLabel{By: "scene", RangeM: s.RangeM, Palette: s.Display.Palette, DarkIsStrong: screen.darkIsStrong}
	panel := s.panelBox()
	if b, ok := l.clipScreen(panel); ok {
		label.Panel = &b
	}
	label.Nadir = l.profile(pings, func(int) float64 { return float64(s.PortPx) })
	side := func(i int, sign float64) []detect.RowX {
		if seen.first[i] == nil {
			return nil
		}
		return l.profile(pings, func(r int) float64 {
			if s.Display.SlantCorrected {
				return float64(s.PortPx)
			}
			return float64(s.PortPx) + sign*seen.first[i][r]/s.PixelM()
		})
	}
	label.FirstReturn = detect.FirstReturn{Port: side(portSide, -1), Starboard: side(starboardSide, 1)}
	label.Marks = l.marks(t.marks())
	label.Regions = l.regions(t.regions(cast.fieldOf, len(s.Fields)))
	label.Humps = l.humps(seen.still)
	if s.Detailed {
		l.detail(&label, screen.drawn)
	}
	return &Capture{Image: img, Label: label, Spec: s}, nil
}

// view is what the sonar made of the scene.
type view struct {
	sides [2]*drawn
	// first is the first return the sonar saw, metres; still leaves the boat's heave out, so that it holds relief alone.
	first, still [2][]float64
}

// sense turns what returned into strength as drawn.
func sense(s *Spec, pings []ping, cast *castList, swaths [2]*swath) *view {
	v := &view{}
	for side, w := range swaths {
		if w == nil {
			continue
		}
		if s.Record.On {
			wallOff(w, s, side, cast.quays)
			stand(w, s, side, cast.frames)
		}
		beamBlur(w, s)
		pulseBlur(w, float32(s.Sonar.PulseBlur))
		sign := float64(2*side - 1)
		for r, p := range pings {
			if s.Record.On {
				v.first[side] = append(v.first[side], w.first[r])
				v.still[side] = append(v.still[side], w.first[r]+s.AltitudeM-p.h)
				continue
			}
			v.first[side] = append(v.first[side], cast.ground.firstReturn(p.y, p.h, sign))
			v.still[side] = append(v.still[side], cast.ground.firstReturn(p.y, s.AltitudeM, sign))
		}
	}
	var rec *recorder
	if s.Record.On {
		rec = newRecorder(s, pings, swaths)
	}
	for side, w := range swaths {
		if w == nil {
			continue
		}
		var d *drawn
		if rec != nil {
			d = rec.side(side)
		} else {
			d = drawSide(w, s, pings, side)
		}
		if s.Display.SlantCorrected {
			d = correct(d, s, v.first[side])
		}
		v.sides[side] = d
	}
	return v
}

// check refuses what can't be rendered.
func (s *Spec) check() error {
	if err := s.checkScreen(); err != nil {
		return err
	}
	if err := s.checkSonar(); err != nil {
		return err
	}
	// Swaths number things in 16 bits.
	n := 1 + len(s.Ridges) + len(s.Humps) + len(s.Rocks) + len(s.Timber) + len(s.Structures) + len(s.Fish) + len(s.Frames)
	for _, f := range s.Fields {
		n += 1 + len(f.Rocks)
	}
	if n > math.MaxUint16 {
		return fmt.Errorf("%d things in the scene: want at most %d", n, math.MaxUint16)
	}
	return nil
}

func (s *Spec) checkScreen() error {
	if s.ScreenW < 16 || s.ScreenH < 16 || s.ScreenW > 8192 || s.ScreenH > 8192 {
		return fmt.Errorf("screen of %d × %d pixels: want 16 to 8192 each", s.ScreenW, s.ScreenH)
	}
	if s.PortPx < 0 || s.StarboardPx < 0 || s.PortPx+s.StarboardPx < 8 {
		return fmt.Errorf("sides of %d and %d pixels: want 8 or more together", s.PortPx, s.StarboardPx)
	}
	screen := image.Rect(0, 0, s.ScreenW, s.ScreenH)
	if !in(screen, s.PanelX, s.PanelY, s.shownW(), s.shownH()) {
		return fmt.Errorf("panel at %d, %d does not fit the screen", s.PanelX, s.PanelY)
	}
	if s.Pings < 1 || s.Pings > s.Rows {
		return fmt.Errorf("%d pings for %d rows: want 1 to the rows of the panel", s.Pings, s.Rows)
	}
	if c := s.Output; c.CropW > 0 && (c.CropH < 1 || !in(screen, c.CropX, c.CropY, c.CropW, c.CropH)) {
		return fmt.Errorf("crop of %d × %d at %d, %d does not fit the screen", c.CropW, c.CropH, c.CropX, c.CropY)
	}
	return nil
}

// in tells whether a box of w × h pixels at x, y lies in the screen.
func in(screen image.Rectangle, x, y, w, h int) bool {
	return x >= 0 && y >= 0 && x+w <= screen.Max.X && y+h <= screen.Max.Y
}

func (s *Spec) checkSonar() error {
	switch {
	case !(s.RangeM > 0) || !(s.AltitudeM > 0) || !(s.SpeedMps > 0) || !(s.PingHz > 0):
		return fmt.Errorf("range %g m, altitude %g m, speed %g m/s and %g pings a second must be positive",
			s.RangeM, s.AltitudeM, s.SpeedMps, s.PingHz)
	case s.AltitudeM >= s.RangeM:
		return fmt.Errorf("altitude %g m leaves no bottom within range %g m", s.AltitudeM, s.RangeM)
	case !(s.Bottom.Reflectivity > 0):
		return fmt.Errorf("bottom reflectivity %g must be positive", s.Bottom.Reflectivity)
	case s.Record.On && !(s.Record.Looks > 0):
		return fmt.Errorf("%g looks: must be positive", s.Record.Looks)
	case !s.Record.On && (s.Sonar.Looks < 1 || s.Sonar.Looks > maxLooks):
		return fmt.Errorf("%d looks: want 1 to %d", s.Sonar.Looks, maxLooks)
	case s.Display.Log && !(s.Display.RangeDB > 0):
		return fmt.Errorf("logarithmic display over %g dB: must be positive", s.Display.RangeDB)
	}
	return nil
}
