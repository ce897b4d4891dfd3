package eval

import (
	"encoding/json"

	"shadowgap/detect"
)

// resultsSchema is the schema number of results.json.
const resultsSchema = 1

// Options say what counts. The zero value of a field is not its default: start from DefaultOptions.
type Options struct {
	Gate        Gate    `json:"gate"`
	MinLabelPx  int     `json:"min_label_px"` // a label narrower or lower than this neither counts as missed nor makes its mark false
	MinContrast float64 `json:"min_contrast"` // nor does one whose stated contrast is below this
	MinScore    float64 `json:"min_score"`    // a mark is reported when its class is not clutter and 1 - odds of clutter is at least this
	MinGapPx    float64 `json:"min_gap_px"`   // a suspended label counts in bottom-against-suspended when its true gap is at least this
	Bins        int     `json:"bins"`         // of the reliability diagram
	Resamples   int     `json:"resamples"`    // of the bootstrap; 0 = no intervals by bootstrap
	Seed        uint64  `json:"seed"`
	WorstMisses int     `json:"worst_misses"` // how many to keep of each sort
}

// DefaultOptions returns the options the project's own figures use. A contrast of a quarter over 25 pixels of single-look
// speckle (deviation 0.52 of the mean) is 2.4 deviations of their mean: about where a person begins to see it.
func DefaultOptions() Options {
	return Options{Gate: DefaultGate(), MinLabelPx: 5, MinContrast: 0.25, MinGapPx: 4, Bins: 10, Resamples: 1000, Seed: 1, WorstMisses: 12}
}

// Number is a float64 that JSON shows as null where it is not a finite number: nothing was there to measure.
type Number float64

// MarshalJSON writes the number or null.
func (n Number) MarshalJSON() ([]byte, error) { return json.Marshal(finite(float64(n))) }

// Results is everything Score found out. Rates carry Wilson intervals, estimates bootstrap intervals over captures, both
// 95 %.
type Results struct {
	Schema      int             `json:"schema"`
	Options     Options         `json:"options"`
	Captures    CaptureTally    `json:"captures"`
	Labels      LabelTally      `json:"labels"`
	Detection   Detection       `json:"detection"`
	Classes     []ClassResult   `json:"classes"`
	MeanAP      Estimate        `json:"mean_ap"`
	RightClass  Rate            `json:"right_class"` // of the labels found
	BottomOrNot BottomOrNot     `json:"bottom_or_suspended"`
	Hanging     Hanging         `json:"hanging"`
	Confusion   Confusion       `json:"confusion"`
	FROC        FROC            `json:"froc"`
	Calibration Calibration     `json:"calibration"`
	Reading     PictureReading  `json:"reading"`
	Nadir       ProfileError    `json:"nadir_px"`
	FirstReturn ProfileError    `json:"first_return_px"`
	Altitude    ProfileError    `json:"altitude_px"`
	Relative    ProfileError    `json:"altitude_share"` // altitude error over true altitude
	Height      ValueError      `json:"height_m"`
	OffBottom   ValueError      `json:"off_bottom_m"`
	Gap         ValueError      `json:"gap_px"`
	Humps       HumpResult      `json:"humps"`
	Breakdowns  []Breakdown     `json:"breakdowns"`
	Worst       []Miss          `json:"worst"`
	WorstLines  []LineMiss      `json:"worst_first_returns"`
	PerCapture  []CaptureResult `json:"per_capture"`
}

// CaptureTally counts captures.
type CaptureTally struct {
	Labelled   int `json:"labelled"`
	Unlabelled int `json:"unlabelled"`        // in the run but not in the labels: not scored
	Lacking    int `json:"lacking,omitempty"` // in the labels but not in the run: not scored
	NoPanel    int `json:"no_panel"`          // of the labelled
	Unreadable int `json:"unreadable"`        // of the labelled
}

// LabelTally counts mark labels. Only Counted ones can be missed.
type LabelTally struct {
	Total    int `json:"total"`
	Counted  int `json:"counted"`
	TooSmall int `json:"too_small"`
	TooFaint int `json:"too_faint"`
	Unsure   int `json:"unsure"`
	Clutter  int `json:"clutter"` // labelled as clutter: never to be found
}

// Detection tells how well things are found, whatever their class.
type Detection struct {
	Precision          Rate     `json:"precision"`
	Recall             Rate     `json:"recall"`
	F1                 Estimate `json:"f1"`
	FalsePerCapture    Estimate `json:"false_per_capture"`
	InRegionPerCapture Estimate `json:"in_region_per_capture"` // unlabelled marks inside labelled regions, counted apart
	DontCare           int      `json:"dont_care"`             // marks on labels that don't count
	EmptyCaptures      int      `json:"empty_captures"`        // labelled captures with no label and no region
	MarksPerEmpty      Estimate `json:"marks_per_empty_capture"`
}

// ClassResult tells how well one class is found and called by its name.
type ClassResult struct {
	Class     detect.Class `json:"class"`
	Labels    int          `json:"labels"`
	Precision Rate         `json:"precision"` // of the reported marks of this class
	Recall    Rate         `json:"recall"`    // of the labels of this class, found and so called
	F1        Number       `json:"f1"`
	AP        Estimate     `json:"average_precision"`
	ROCAUC    Number       `json:"roc_auc"`
	Brier     Number       `json:"brier"`
	ECE       Number       `json:"ece"`
	Curve     []CurvePoint `json:"curve"`
}

// BottomOrNot tells how often a found thing is put on the right side of the one question that matters: on the bottom or
// hanging over it. A mark answers by whichever of the two odds is greater.
type BottomOrNot struct {
	Suspended Rate `json:"suspended"` // true gap at least MinGapPx
	Bottom    Rate `json:"bottom"`
	Both      Rate `json:"both"`
}

// Hanging tells how things that hang closely over the bottom fare, by the class that was given: what a person reads.
type Hanging struct {
	SmallGaps Rate `json:"small_gap_recall"` // of suspended labels that count, true gap 3 to 10 px
	Suspended Rate `json:"suspended_right"`  // of the suspended found, true gap at least 3 px, those called so
	Bottom    Rate `json:"bottom_right"`     // of the bottom objects found, those called so
}

// Confusion counts marks and labels: a row for each true class and one for marks where nothing is, a column for each class
// given and one for labels missed.
type Confusion struct {
	Truth []string `json:"truth"`
	Given []string `json:"given"`
	Count [][]int  `json:"count"` // len(Truth) × len(Given)
}

// The extra row and column of a confusion.
const (
	NothingThere = "nothing there"
	Missed       = "missed"
)

// Calibration tells whether the chance that a mark is real, 1 - odds of clutter, can be believed.
type Calibration struct {
	Marks  int              `json:"marks"`
	Brier  Number           `json:"brier"`
	ECE    Estimate         `json:"ece"`
	ROCAUC Number           `json:"roc_auc"`
	Bins   []ReliabilityBin `json:"bins"`
}

// HumpResult tells how well humps are found: row ranges that share at least three tenths of what they cover together.
type HumpResult struct {
	Recall    Rate `json:"recall"`
	Precision Rate `json:"precision"`
}

// Miss is one thing the detector got wrong.
type Miss struct {
	Capture string       `json:"capture"`
	Sort    string       `json:"sort"` // "missed", "false mark" or "wrong class"
	Truth   detect.Class `json:"truth,omitempty"`
	Kind    string       `json:"kind,omitempty"`
	Given   detect.Class `json:"given,omitempty"`
	Score   Number       `json:"score"`           // of the mark; null for a missed label
	Label   *detect.Box  `json:"label,omitempty"` // highlight, or shadow where there is none
	Mark    *detect.Box  `json:"mark,omitempty"`
	Shadow  *detect.Box  `json:"shadow,omitempty"` // the mark's, or a missed label's
	Weight  float64      `json:"weight"`           // how bad: odds given to the wrong answer, or size and contrast of what was missed
}

// The sorts of a Miss.
const (
	missMissed = "missed"
	missFalse  = "false mark"
	missClass  = "wrong class"
)

// LineMiss is one side of one capture whose first return is badly off.
type LineMiss struct {
	Capture string      `json:"capture"`
	Side    detect.Side `json:"side"`
	Rows    int         `json:"rows"`      // labelled
	Off     Rate        `json:"off"`       // rows more than 6 px off or without an answer
	Absent  int         `json:"absent"`    // of these, rows without an answer
	Median  Number      `json:"median_px"` // of the absolute error where there is an answer
}

// CaptureResult is the tally of one capture, the unit that runs are compared by.
type CaptureResult struct {
	Capture    string        `json:"capture"`
	Status     detect.Status `json:"status"`
	Labels     int           `json:"labels"` // that count
	Found      int           `json:"found"`
	RightClass int           `json:"right_class"`
	False      int           `json:"false"`
	InRegion   int           `json:"in_region"`
	DontCare   int           `json:"dont_care"`
}
