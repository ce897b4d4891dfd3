// Package detect turns the picture of a side-scan capture into marks: read, frame, nadir, first return, level, segment,
// find, measure, classify, hold. Every stage is a function from a value to a value in a file of its own name; pipeline.go calls
// them in their order.
package detect

import (
	"errors"
	"fmt"
	"image"
	"math"

	"shadowgap/detect/frame"
	"shadowgap/features"
	"shadowgap/models"
	"shadowgap/models/axis"
	"shadowgap/models/finder"
	"shadowgap/models/outward"
	"shadowgap/models/reader"
)

// Options are what the user knows about a capture. The zero value means nothing is known.
type Options struct {
	RangeM         float64                            // range setting per side in metres, slant; 0 = unknown
	Panel          image.Rectangle                    // the side-scan panel in pixels of the capture, set by hand; empty = find it
	NadirX         float64                            // column of the nadir in pixels of the capture, set by hand; 0 = find it
	Side           Side                               // the only side in view, set by hand; "" = find out
	Strong         Strong                             `json:",omitempty"` // how the display shows strong echoes, set by hand; "" = find out
	Layouts        []Layout                           // by screen size, for what the four above leave open
	NewestAtBottom bool                               // rows run the other way
	SlantCorrected bool                               // columns are ground range, not slant range
	RowSpacingM    float64                            // distance made good between two rows in metres; 0 = unknown
	Model          *models.Model                      // nil = the one the program ships with
	KeepClutter    bool                               // also return what is most likely clutter, for fitting
	AskClutter     bool                               `json:",omitempty"` // also return what of it may be something, called clutter, last
	visit          func(p *frame.Panel, sv *sideView) // shown every side once it is leveled; nothing is looked for then
}

// Strong is how a display shows strong echoes.
type Strong string

// The ways a display shows strong echoes.
const (
	Dark   Strong = "dark"
	Bright Strong = "bright"
)

// check tells what is wrong with the options, or nil.
func (opt Options) check() error {
	if opt.RangeM < 0 || math.IsNaN(opt.RangeM) || math.IsInf(opt.RangeM, 0) {
		return fmt.Errorf("range %v m per side: must be positive, or 0 when unknown", opt.RangeM)
	}
	if opt.Side != "" && opt.Side != Port && opt.Side != Starboard {
		return fmt.Errorf("side %q is neither %s nor %s", opt.Side, Port, Starboard)
	}
	if opt.Strong != "" && opt.Strong != Dark && opt.Strong != Bright {
		return fmt.Errorf("strong echoes %q are neither %s nor %s", opt.Strong, Dark, Bright)
	}
	return nil
}

// Result is what one capture holds, before it is given a name, a hash and a position.
type Result struct {
	Status   Status
	Why      string // set when Status is not StatusRead
	Panels   []PanelRecord
	Marks    []MarkRecord // most interesting first
	Holds    []HoldRecord
	Interest float64 // 0 to 1
	Counts   map[Class]int
}

// Detector detects marks in one capture after another. It keeps memory from each for the next, and nothing else; the zero value
// is ready. Close frees what it holds outside Go's memory. It is not for use by several goroutines at once.
type Detector struct {
	// Finder is a finder's network, in ONNX, to look with in place of the one that the program ships with; nil = that one. Fits look
	// with one that has not seen what they show it.
	Finder []byte

	arena   features.Arena
	reader  *reader.Reader // loaded by the first Run, like finder
	finder  *finder.Finder
	outward *outward.Outward // loaded by the first side that needs it
	axis    *axis.Axis       // loaded by the first panel with a nadir
	model   *models.Model    // what judge was laid out from
	judge   *models.Forest   // model, for many marks at once
}

// load loads what Run needs and an earlier one has not left; m is the model to judge by, nil for the one the program ships with.
func (d *Detector) load(m *models.Model) error {
	if m == nil {
		embedded, err := models.Embedded()
		if err != nil {
			return err
		}
		m = embedded
	}
	if d.reader == nil {
		r, err := reader.New()
		if err != nil {
			return err
		}
		d.reader = r
	}
	if d.finder == nil {
		f, err := d.loadFinder()
		if err != nil {
			return err
		}
		d.finder = f
	}
	if d.model != m {
		d.model, d.judge = m, models.NewForest(m)
	}
	return nil
}

func (d *Detector) loadFinder() (*finder.Finder, error) {
	if d.Finder != nil {
		return finder.Read(d.Finder)
	}
	return finder.New()
}

// Close frees the networks that Run loaded. The Detector can be used again; the next Run loads them anew.
func (d *Detector) Close() error {
	var err error
	if d.reader != nil {
		err = d.reader.Close()
	}
	if d.finder != nil {
		err = errors.Join(err, d.finder.Close())
	}
	if d.outward != nil {
		err = errors.Join(err, d.outward.Close())
	}
	if d.axis != nil {
		err = errors.Join(err, d.axis.Close())
	}
	d.reader, d.finder, d.outward, d.axis = nil, nil, nil, nil
	return err
}
