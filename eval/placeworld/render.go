// Package placeworld draws side-scan captures of invented places, with the truth about what lies and hangs in them.
//
// A place (flooded timber, a dam's riprap, a marina, …) is drawn first as a height map with reflectivity, seen from above, in
// metres. Each ping then looks along its own ground profile: what a nearer and steeper point hides lies in shadow, what faces the
// boat echoes more. Things that hang in the water get their place by slant range and throw their shadow along the same rays.
// Which thing lit or shaded each bin is kept, so that the label's boxes come from what was drawn.
//
// Geometry (derived from similar triangles, common practice, no source): a point at ground range g, with d metres of water
// between it and the height of the transducer, has slant range sqrt(g²+d²); it is seen where g/d is no less than at any nearer
// point of the ping.
package placeworld

import (
	"context"
	"fmt"
	"image"

	"shadowgap/eval"
)

// Capture is a picture and the truth about it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed. The same seed always gives the same capture.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	w := newWorld(seed)
	steps := []func(*world){
		(*world).layBottom, (*world).furnish, (*world).castPings, (*world).addWater, (*world).addFaults,
	}
	for _, step := range steps {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("draw the place of seed %d: %w", seed, err)
		}
		step(w)
	}
	scr, err := w.display()
	if err != nil {
		return nil, fmt.Errorf("draw the screen of seed %d: %w", seed, err)
	}
	label := w.label(scr)
	label.Capture = fmt.Sprintf("placeworld-%d.png", seed)
	return &Capture{Image: scr.img, Label: label}, nil
}
