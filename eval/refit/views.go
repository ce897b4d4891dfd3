package refit

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"shadowgap/detect"
	"shadowgap/eval"
)

// viewHeader stands before the planes of a side: its length as uint32, little-endian, then itself as JSON.
type viewHeader struct {
	Group string `json:"group"`
	// Source is rendered, other (rendered by another hand), set-in (rendered things in a real picture), labelled (a real picture) or tile
	// (one of the effigy's).
	Source string  `json:"source"`
	Rows   int     `json:"rows"`
	Cols   int     `json:"cols"`
	Scale  float64 `json:"scale"`
	// Whole is false where real things are left unlabelled: only what is marked counts then.
	Whole  bool         `json:"whole"`
	Marks  []viewMark   `json:"marks"`
	Ignore [][4]float64 `json:"ignore"` // row from, row to, range from, range to, in cells: nothing is said of what lies there
}

type viewMark struct {
	Class     int         `json:"class"` // index into detect.Classes
	Highlight *[4]float64 `json:"highlight"`
	Shadow    *[4]float64 `json:"shadow"`
}

// showsFurther tells whether a view is a side of one of further panels: it has the middle of one half of it.
func showsFurther(v *detect.FinderView, panels []eval.PanelLabel) bool {
	return slices.ContainsFunc(panels, func(p eval.PanelLabel) bool {
		b := p.Box
		for _, x := range [...]int{b.X + b.W/4, b.X + b.W*3/4} {
			if _, _, _, _, ok := v.Cells(detect.Box{X: x, Y: b.Y + b.H/2, W: 1, H: 1}); ok {
				return true
			}
		}
		return false
	})
}

// writeViews writes the sides of a capture that are labelled.
func (w *writer) writeViews(from origin, views []*detect.FinderView, label eval.CaptureLabel) error {
	for _, v := range views {
		if showsFurther(v, label.Panels) { // whose things aren't labelled
			continue
		}
		h := viewHeader{
			Group: from.group, Source: from.source, Rows: v.Rows, Cols: v.Cols, Scale: v.Scale,
			Whole: !strings.HasPrefix(from.group, realTilesGroup), Marks: []viewMark{}, Ignore: [][4]float64{},
		}
		cells := func(b *detect.Box) *[4]float64 {
			if b == nil {
				return nil
			}
			if r0, r1, k0, k1, ok := v.Cells(*b); ok {
				return &[4]float64{r0, r1, k0, k1}
			}
			return nil
		}
		for _, m := range label.Marks {
			c := viewMark{Class: slices.Index(detect.Classes[:], m.Class), Highlight: cells(m.Highlight), Shadow: cells(m.Shadow)}
			switch {
			case c.Highlight == nil && (m.Highlight != nil || c.Shadow == nil):
			case m.Sure != nil && !*m.Sure:
				for _, b := range []*[4]float64{c.Highlight, c.Shadow} {
					if b != nil {
						h.Ignore = append(h.Ignore, *b)
					}
				}
			default:
				h.Marks = append(h.Marks, c)
			}
		}
		for _, g := range label.Regions {
			if b := cells(&g.Box); b != nil && !eval.NothingIn(g.Kind) {
				h.Ignore = append(h.Ignore, *b)
			}
		}
		head, err := json.Marshal(h)
		if err != nil {
			return fmt.Errorf("writing views: %w", err)
		}
		if err := w.write(binary.LittleEndian.AppendUint32(nil, uint32(len(head))), head, v.Planes); err != nil {
			return err
		}
	}
	return nil
}
