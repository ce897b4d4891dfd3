package eval

import (
	"image"
	"strings"

	"shadowgap/detect"
)

// Run is what the detector said about a set of captures.
type Run struct {
	Captures  []detect.CaptureRecord
	Marks     []detect.MarkRecord
	InputRoot string // folder the capture paths are relative to; "" = pictures are not at hand
}

// sizes returns the size of each capture by its path, 0 × 0 where it could not be read.
func (r *Run) sizes() map[string]image.Point {
	m := make(map[string]image.Point, len(r.Captures))
	for _, c := range r.Captures {
		m[c.Capture] = image.Pt(c.Width, c.Height)
	}
	return m
}

// rebased returns labels with each capture under the path the run has it by. Labels name captures from their own folder and a
// run from its input root; where these differ, one path ends in the other. Labels that fit no capture, or more than one,
// are left for Check to name.
func rebased(l Labels, sizes map[string]image.Point) Labels {
	out := l
	out.Captures = append([]CaptureLabel(nil), l.Captures...)
	for i := range out.Captures {
		name := out.Captures[i].Capture
		if _, exact := sizes[name]; exact || name == "" {
			continue
		}
		var fits []string
		for have := range sizes {
			if strings.HasSuffix(have, "/"+name) || strings.HasSuffix(name, "/"+have) {
				fits = append(fits, have)
			}
		}
		if len(fits) == 1 {
			out.Captures[i].Capture = fits[0]
		}
	}
	return out
}
