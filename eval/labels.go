// Package eval compares what the detector found with labels: truth from a rendered scene or boxes drawn by hand.
package eval

import "shadowgap/detect"

// SchemaVersion is the schema number of labels.json.
const SchemaVersion = 1

// Labels is the content of a labels.json: what is really there, capture by capture.
type Labels struct {
	Schema   int            `json:"schema"`
	Captures []CaptureLabel `json:"captures"`
}

// CaptureLabel is the truth or a person's reading of one capture. Rows and x are pixels of the capture as stored.
type CaptureLabel struct {
	Capture string      `json:"capture"` // path relative to the labels file's folder, with forward slashes
	By      string      `json:"by"`      // "hand" or "scene"
	RangeM  float64     `json:"range_m,omitempty"`
	Panel   *detect.Box `json:"panel,omitempty"` // the side-scan panel in the capture
	Palette string      `json:"palette,omitempty"`
	// DarkIsStrong is true where the display shows strong echoes dark.
	DarkIsStrong bool `json:"dark_is_strong,omitempty"`

	Nadir       []detect.RowX      `json:"nadir,omitempty"`
	FirstReturn detect.FirstReturn `json:"first_return"`
	Marks       []MarkLabel        `json:"marks"`
	Humps       [][2]int           `json:"humps"`
	Regions     []detect.Region    `json:"regions,omitempty"`
	// Side is set where the picture shows one side of the swath only.
	Side detect.Side `json:"side,omitempty"`
	// Furniture is everything drawn over the panel that is no echo.
	Furniture []FurnitureLabel `json:"furniture,omitempty"`
	// Panels are further side-scan panels, of the same record unless they say otherwise; marks in them are not labelled.
	Panels []PanelLabel `json:"panels,omitempty"`
	// Quad is the panel's corners [x, y] in a photographed picture, clockwise from the one that was upper left.
	Quad [][2]float64 `json:"quad,omitempty"`
	// LostRows are half-open stretches of rows that hold no echo.
	LostRows [][2]int `json:"lost_rows,omitempty"`
}

// Strong is how the display shows strong echoes.
func (l *CaptureLabel) Strong() detect.Strong {
	if l.DarkIsStrong {
		return detect.Dark
	}
	return detect.Bright
}

// FurnitureLabel is something drawn over a panel: "text", "plate" (text on a filled box), "bar", "line", "cursor".
type FurnitureLabel struct {
	Kind string     `json:"kind"`
	Box  detect.Box `json:"box"`
}

// PanelLabel is one more side-scan panel in the same picture. Where it shows another record than the first, Own says what is to be seen of
// that.
type PanelLabel struct {
	Box detect.Box `json:"box"`
	Own *OwnLabel  `json:"own,omitempty"`
}

// OwnLabel is the truth of a further panel's own record, in pixels of the capture, as in CaptureLabel.
type OwnLabel struct {
	Nadir       []detect.RowX      `json:"nadir,omitempty"`
	FirstReturn detect.FirstReturn `json:"first_return"`
	Side        detect.Side        `json:"side,omitempty"`
}

// MarkLabel is one thing in a capture. Heights are metres.
type MarkLabel struct {
	Class      detect.Class `json:"class"`
	Kind       string       `json:"kind"` // "rock", "timber", "fish", "weed", …
	Side       detect.Side  `json:"side,omitempty"`
	Highlight  *detect.Box  `json:"highlight"`
	Shadow     *detect.Box  `json:"shadow"`
	HeightM    *float64     `json:"height_m,omitempty"`
	OffBottomM *float64     `json:"off_bottom_m,omitempty"`
	SlantM     *float64     `json:"slant_m,omitempty"`
	GapPx      *float64     `json:"gap_px,omitempty"`   // true slant gap between highlight and shadow, pixels of the capture
	Contrast   *float64     `json:"contrast,omitempty"` // mean highlight over mean surrounding echo strength as drawn, minus 1
	Sure       *bool        `json:"sure,omitempty"`     // hand labels: false where the person was not sure
}
