package frame_test

import (
	"image"
	"strings"
	"testing"

	"shadowgap/detect/frame"
	"shadowgap/eval/scene"
)

// What was set by hand counts, and a panel says where the picture clearly shows otherwise.
func TestSetByHandAgainstThePicture(t *testing.T) {
	c, img := shown(t, scene.Random(30101, scene.Kinds()[0]))
	box, nadir := c.Label.Panel.Rect(), c.Label.Nadir[len(c.Label.Nadir)/2][1]
	half := box
	half.Min.X += box.Dx() / 4
	for name, tc := range map[string]struct {
		opt  frame.Options
		want string // in its note; "" = there is none
	}{
		"nothing":                  {frame.Options{}, ""},
		"the nadir where it is":    {frame.Options{NadirX: nadir}, ""},
		"a nadir on plain bottom":  {frame.Options{NadirX: nadir + float64(box.Dx())/4}, "the nadir at column"},
		"one side of two":          {frame.Options{Side: "port"}, "port alone, where it shows both sides"},
		"the panel where it is":    {frame.Options{Panel: box}, ""},
		"a panel without its end":  {frame.Options{Panel: half}, "goes on to the left"},
		"a panel past the picture": {frame.Options{Panel: image.Rect(0, 0, 5000, 5000)}, "leaves the picture"},
	} {
		p, why, err := frame.Find(t.Context(), img, tc.opt)
		if err != nil || len(p) == 0 {
			t.Fatalf("%s: %d panels, %q, %v", name, len(p), why, err)
		}
		said := ""
		for _, n := range p[0].Notes {
			if note, ok := strings.CutPrefix(n, frame.ByHand); ok {
				said += note
			}
		}
		if (said == "") != (tc.want == "") || !strings.Contains(said, tc.want) {
			t.Errorf("%s: %q, want %q", name, said, tc.want)
		}
	}
}
