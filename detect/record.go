package detect

import (
	"encoding/json"
	"fmt"
	"image"
	"strings"
	"time"

	"shadowgap/features"
)

// SchemaVersion is the number every record carries in its "schema" field.
const SchemaVersion = 1

// Class names what a mark most likely is.
type Class string

// The classes a mark's odds are spread over.
const (
	BottomObject    Class = "bottom-object"    // highlight and shadow touch: it lies on the bottom
	SuspendedTarget Class = "suspended-target" // a gap between them, or a highlight inside the water column
	RaisedStructure Class = "raised-structure" // a long broad shadow
	Clutter         Class = "clutter"          // texture, interference or screen furniture
)

// Classes lists every class in the order odds are stored and shown.
var Classes = [...]Class{BottomObject, SuspendedTarget, RaisedStructure, Clutter}

// Side is the side of the boat a mark lies on.
type Side string

// Port is drawn left of the nadir and starboard right of it (common practice, no source).
const (
	Port      Side = "port"
	Starboard Side = "starboard"
)

// Status tells how far a capture got.
type Status string

// The three ways a capture can end.
const (
	StatusRead       Status = "read"
	StatusNoPanel    Status = "no-panel"
	StatusUnreadable Status = "unreadable"
)

// Box is a half-open rectangle in pixels of the capture as stored, after EXIF orientation.
type Box struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

// BoxOf converts an image rectangle.
func BoxOf(r image.Rectangle) Box { return Box{r.Min.X, r.Min.Y, r.Dx(), r.Dy()} }

// Rect converts to an image rectangle.
func (b Box) Rect() image.Rectangle { return image.Rect(b.X, b.Y, b.X+b.W, b.Y+b.H) }

// Odds are the chances of each class, summing to 1.
type Odds map[Class]float64

// Position is a place on the WGS84 ellipsoid in decimal degrees with a one-standard-deviation radius in metres.
type Position struct {
	Lat    float64 `json:"lat"`
	Lon    float64 `json:"lon"`
	ErrorM float64 `json:"error_m"`
}

// MarkRecord is one line of marks.jsonl: a highlight with the shadow behind it. Lengths in metres are nil where the scale
// is unknown; their pixel twins are always there unless the thing itself is absent (no shadow, no gap).
type MarkRecord struct {
	Schema     int                `json:"schema"`
	Capture    string             `json:"capture"`
	SHA256     string             `json:"sha256"`
	Mark       string             `json:"mark"`
	Panel      int                `json:"panel"`
	Side       Side               `json:"side"`
	Class      Class              `json:"class"`
	Odds       Odds               `json:"odds"`
	Box        Box                `json:"box"` // hull of highlight and shadow
	Highlight  *Box               `json:"highlight"`
	Shadow     *Box               `json:"shadow"`
	Rows       [2]int             `json:"rows"`
	SlantPx    features.Measured  `json:"slant_px"`
	GapPx      *features.Measured `json:"gap_px"`
	ShadowPx   *features.Measured `json:"shadow_px"`
	SlantM     *features.Measured `json:"slant_m"`
	GroundM    *features.Measured `json:"ground_m"`
	AltitudeM  *features.Measured `json:"altitude_m"`
	GapM       *features.Measured `json:"gap_m"`
	ShadowM    *features.Measured `json:"shadow_m"`
	HeightM    *features.Measured `json:"height_m"`
	OffBottomM *features.Measured `json:"off_bottom_m"`
	LengthM    *features.Measured `json:"length_m"`
	Contrast   float64            `json:"contrast"` // highlight strength over the local bottom, in speckle standard deviations
	Position   *Position          `json:"position"`
	OnHump     bool               `json:"on_hump"`
	Hold       *string            `json:"hold"`
	Reasons    []string           `json:"reasons"`
	Axis       *Axis              `json:"axis,omitempty"` // the highlight's long axis
	// AxisDeg is its bearing over the ground, degrees true, 0 to 180; nil unless long and its scale and course are known.
	AxisDeg   *features.Measured `json:"axis_deg,omitempty"`
	LongFace  bool               `json:"long_face,omitempty"`  // a face with dark behind it was followed along the track: a wall or a bank
	Evidence  map[string]float64 `json:"evidence,omitempty"`   // the numbers the classifier weighed, by the model's names for them
	Time      *time.Time         `json:"time,omitempty"`       // UTC, when the mark's middle row was recorded
	CourseDeg *float64           `json:"course_deg,omitempty"` // course over ground at that time, degrees true
	Sighting  *string            `json:"sighting,omitempty"`   // id of the thing that several marks are looks at
}

// Axis is the long axis of a highlight in the picture, from its second moments.
type Axis struct {
	LengthPx float64 `json:"length_px"` // of the rectangle with the same moments
	WidthPx  float64 `json:"width_px"`  // its other side
	AngleDeg float64 `json:"angle_deg"` // from the picture's right towards its bottom, -90 to 90
}

// RowX is a point [row, x] of a profile, in pixels of the capture; whole numbers are pixel centres, so the left edge of the
// picture is x = -0.5.
type RowX [2]float64

// RowAltitude is [row, altitude, sd]; the altitude is in pixels of slant range or in metres as its field says.
type RowAltitude [3]float64

// FirstReturn holds where bottom begins on each side; a side that is not in view is nil.
type FirstReturn struct {
	Port      []RowX `json:"port"`
	Starboard []RowX `json:"starboard"`
}

// Hump is a stretch of rows where the altitude dips and recovers.
type Hump struct {
	Rows     [2]int             `json:"rows"`
	ReliefPx float64            `json:"relief_px"`
	ReliefM  *features.Measured `json:"relief_m"`
}

// Region is an area that is better told as a whole than as its parts.
type Region struct {
	Kind   string             `json:"kind"` // "rock-field"
	Box    Box                `json:"box"`
	AreaM2 *features.Measured `json:"area_m2,omitempty"` // along the bottom; only where the row spacing is known
}

// SideConfidence is how sure the first return is, 0 to 1, for each side in view.
type SideConfidence struct {
	Port      float64 `json:"port"`
	Starboard float64 `json:"starboard"`
}

// PanelRecord is one side-scan panel of a capture. Profiles hold every row or at most 10 apart.
type PanelRecord struct {
	Box Box `json:"box"`
	// Corners are [x, y], clockwise from the upper left, of a panel photographed askew; Box is around them.
	Corners *[4][2]float64 `json:"corners,omitempty"`
	// Whole are such corners of the panel on the screen, where the record has only begun to fill it; nil where it fills it.
	Whole       *[4][2]float64 `json:"whole,omitempty"`
	RangeM      *float64       `json:"range_m"`
	Nadir       []RowX         `json:"nadir"`
	FirstReturn FirstReturn    `json:"first_return"`
	Confidence  SideConfidence `json:"confidence"`
	AltitudePx  []RowAltitude  `json:"altitude_px"`
	AltitudeM   []RowAltitude  `json:"altitude_m"`
	Humps       []Hump         `json:"humps"`
	Regions     []Region       `json:"regions"`
	Notes       []string       `json:"notes,omitempty"`
}

// HoldRecord is a group of suspended targets near a hump.
type HoldRecord struct {
	ID    string   `json:"id"`
	Marks []string `json:"marks"`
	Odds  float64  `json:"odds"`
}

// Timing is what a capture cost, in milliseconds.
type Timing struct {
	Decode float64 `json:"decode"`
	Detect float64 `json:"detect"`
}

// Versions says what made a record, so that a later run knows whether it still holds.
type Versions struct {
	Code     string `json:"code"`
	Model    string `json:"model"`
	Settings string `json:"settings"` // a hash, followed by clutterAsked where the record holds what is likeliest clutter, too
}

const clutterAsked = "+clutter"

// AskClutter makes the settings those of a record that holds what is likeliest clutter, too.
func (v *Versions) AskClutter() { v.Settings += clutterAsked }

// Asked returns the settings without and whether the record holds what is likeliest clutter, too.
func (v Versions) Asked() (settings string, clutter bool) {
	return strings.CutSuffix(v.Settings, clutterAsked)
}

// CaptureRecord is one line of captures.jsonl.
type CaptureRecord struct {
	Schema   int           `json:"schema"`
	Capture  string        `json:"capture"`
	SHA256   string        `json:"sha256"`
	Status   Status        `json:"status"`
	Why      *string       `json:"why"`
	Width    int           `json:"width"`
	Height   int           `json:"height"`
	Panels   []PanelRecord `json:"panels"`
	Holds    []HoldRecord  `json:"holds"`
	Interest float64       `json:"interest"`
	Counts   map[Class]int `json:"counts"`
	MS       Timing        `json:"ms"`
	Versions Versions      `json:"versions"`
	Time     *time.Time    `json:"time,omitempty"`  // UTC, when the capture's newest row was recorded
	Notes    []string      `json:"notes,omitempty"` // conflicts between sources of scale or time, and what was chosen
}

// DecodeMark reads one line of marks.jsonl. It returns an error for broken JSON or another schema number.
func DecodeMark(line []byte) (*MarkRecord, error) {
	var m MarkRecord
	if err := decodeRecord(line, &m, &m.Schema); err != nil {
		return nil, fmt.Errorf("mark record: %w", err)
	}
	return &m, nil
}

// DecodeCapture reads one line of captures.jsonl. It returns an error for broken JSON or another schema number.
func DecodeCapture(line []byte) (*CaptureRecord, error) {
	var c CaptureRecord
	if err := decodeRecord(line, &c, &c.Schema); err != nil {
		return nil, fmt.Errorf("capture record: %w", err)
	}
	return &c, nil
}

func decodeRecord(line []byte, into any, schema *int) error {
	if err := json.Unmarshal(line, into); err != nil {
		return err
	}
	if *schema != SchemaVersion {
		return fmt.Errorf("schema %d, want %d", *schema, SchemaVersion)
	}
	return nil
}
