package alike

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/features"
)

func metres(v, sd float64) *features.Measured { return &features.Measured{Value: v, SD: sd} }

// lake is a run over two captures: one with a target over the bottom and a stone beside it, one that can't be read.
func lake() *eval.Run {
	target := detect.MarkRecord{
		Schema: 1, Capture: "a.png", Mark: "target", Side: detect.Port, Class: detect.SuspendedTarget,
		Odds:      detect.Odds{detect.SuspendedTarget: 0.7, detect.BottomObject: 0.1, detect.Clutter: 0.2},
		Box:       detect.Box{X: 10, Y: 10, W: 40, H: 6},
		Highlight: &detect.Box{X: 42, Y: 10, W: 8, H: 6}, Shadow: &detect.Box{X: 10, Y: 10, W: 12, H: 6},
		SlantPx: features.Measured{Value: 120, SD: 0.5}, GapPx: metres(20, 1), HeightM: metres(0.4, 0.1), OffBottomM: metres(1.2, 0.2),
		Contrast: 5, Evidence: map[string]float64{"mass": 3},
	}
	stone := target
	stone.Mark, stone.Class = "stone", detect.BottomObject
	stone.Odds = detect.Odds{detect.BottomObject: 0.6, detect.Clutter: 0.4}
	stone.Box, stone.Highlight, stone.Shadow = detect.Box{X: 10, Y: 80, W: 8, H: 6}, &detect.Box{X: 10, Y: 80, W: 8, H: 6}, nil
	stone.GapPx, stone.OffBottomM = nil, nil
	return &eval.Run{
		Captures: []detect.CaptureRecord{
			{Schema: 1, Capture: "a.png", SHA256: "a", Status: detect.StatusRead, Panels: []detect.PanelRecord{{
				Box: detect.Box{W: 400, H: 300}, AltitudePx: []detect.RowAltitude{{0, 60, 1}, {10, 62, 1}},
			}}},
			{Schema: 1, Capture: "b.jpg", SHA256: "b", Status: detect.StatusUnreadable},
		},
		Marks: []detect.MarkRecord{target, stone},
	}
}

// A change is made to one of two equal runs.
type change struct {
	name    string
	change  func(r *eval.Run)
	against []string // what of it goes against the promise
	fields  []string // what of marks differs at all
	differ  int      // marks that do in more than the evidence
}

func TestCompareMarks(t *testing.T) {
	check(t, []change{
		{name: "nothing", change: func(*eval.Run) {}},
		{name: "other order", change: func(r *eval.Run) { slices.Reverse(r.Marks); slices.Reverse(r.Captures) }},
		{
			name: "class", change: func(r *eval.Run) { r.Marks[0].Class = detect.RaisedStructure },
			against: []string{"class"}, fields: []string{"class"}, differ: 1,
		},
		{
			name: "odds", change: func(r *eval.Run) { r.Marks[0].Odds = detect.Odds{detect.SuspendedTarget: 0.69, detect.Clutter: 0.2} },
			fields: []string{"odds"}, differ: 1,
		},
		{name: "length within", change: func(r *eval.Run) { r.Marks[0].GapPx = metres(20.19, 1) }, fields: []string{"gap_px"}, differ: 1},
		{
			name: "length beyond", change: func(r *eval.Run) { r.Marks[0].GapPx = metres(20.21, 1) },
			against: []string{"gap_px"}, fields: []string{"gap_px"}, differ: 1,
		},
		{
			name: "length only here", change: func(r *eval.Run) { r.Marks[0].OffBottomM = nil },
			against: []string{"off_bottom_m"}, fields: []string{"off_bottom_m"}, differ: 1,
		},
		{name: "its error", change: func(r *eval.Run) { r.Marks[0].GapPx = metres(20, 3) }, fields: []string{"gap_px"}, differ: 1},
		{
			name:   "last digit of next to nothing",
			change: func(r *eval.Run) { r.Marks[0].HeightM = metres(0.4001, 0.1) },
			fields: []string{"height_m"}, differ: 1,
		},
		{
			name: "edge by a pixel", change: func(r *eval.Run) { r.Marks[0].Shadow = &detect.Box{X: 10, Y: 10, W: 13, H: 6} },
			fields: []string{"shadow"}, differ: 1,
		},
		{
			name: "edge by two", change: func(r *eval.Run) { r.Marks[0].Shadow = &detect.Box{X: 10, Y: 10, W: 14, H: 6} },
			against: []string{"shadow"}, fields: []string{"shadow"}, differ: 1,
		},
		{
			name: "shadow lost", change: func(r *eval.Run) { r.Marks[0].Shadow = nil },
			against: []string{"shadow"}, fields: []string{"shadow"}, differ: 1,
		},
		{
			name: "evidence", change: func(r *eval.Run) { r.Marks[0].Evidence = map[string]float64{"mass": 3.01} },
			fields: []string{"evidence"},
		},
		{name: "evidence's last digit", change: func(r *eval.Run) { r.Marks[0].Evidence = map[string]float64{"mass": 3 + 1e-15} }},
		{name: "mark lost", change: func(r *eval.Run) { r.Marks = r.Marks[:1] }, against: []string{"mark"}, differ: 1},
		{
			name:    "mark elsewhere",
			change:  func(r *eval.Run) { r.Marks[1].Highlight = &detect.Box{X: 20, Y: 80, W: 8, H: 6} },
			against: []string{"mark", "mark"}, differ: 2,
		},
		{name: "other side", change: func(r *eval.Run) { r.Marks[1].Side = detect.Starboard }, against: []string{"mark", "mark"}, differ: 2},
	})
}

func TestCompareCaptures(t *testing.T) {
	check(t, []change{
		{name: "time taken", change: func(r *eval.Run) { r.Captures[0].MS.Detect = 99 }},
		{name: "status", change: func(r *eval.Run) { r.Captures[1].Status = detect.StatusNoPanel }, against: []string{"status"}},
		{name: "another picture", change: func(r *eval.Run) { r.Captures[1].SHA256 = "c" }, against: []string{"sha256"}},
		{name: "capture lost", change: func(r *eval.Run) { r.Captures = r.Captures[:1] }, against: []string{"capture"}},
		{
			name: "altitude within",
			change: func(r *eval.Run) {
				r.Captures[0].Panels[0].AltitudePx = []detect.RowAltitude{{0, 60.5, 1}, {10, 62, 1}}
			},
		},
		{
			name:    "altitude beyond",
			change:  func(r *eval.Run) { r.Captures[0].Panels[0].AltitudePx = []detect.RowAltitude{{0, 60, 1}, {10, 63, 1}} },
			against: []string{"altitude_px of panel 0"},
		},
		{
			name:    "altitude of fewer rows",
			change:  func(r *eval.Run) { r.Captures[0].Panels[0].AltitudePx = []detect.RowAltitude{{0, 60, 1}} },
			against: []string{"altitude_px of panel 0"},
		},
		{name: "panel", change: func(r *eval.Run) { r.Captures[0].Panels[0].Box.X = 5 }, against: []string{"panel 0"}},
		{name: "panel lost", change: func(r *eval.Run) { r.Captures[0].Panels = nil }, against: []string{"panels"}},
	})
}

func check(t *testing.T, tests []change) {
	t.Helper()
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			other := lake()
			tt.change(other)
			r, err := Compare(lake(), other, Promised())
			if err != nil {
				t.Fatal(err)
			}
			var against []string
			for _, d := range r.Against {
				against = append(against, d.What)
			}
			if !slices.Equal(against, tt.against) || r.Agree() != (len(tt.against) == 0) {
				t.Errorf("against the promise: %v, want %v", r.Against, tt.against)
			}
			if fields := slices.Sorted(maps.Keys(r.Fields)); !slices.Equal(fields, tt.fields) {
				t.Errorf("fields that differ: %v, want %v", fields, tt.fields)
			}
			if r.Differ != tt.differ || r.Captures != 2 {
				t.Errorf("%d of %d captures' marks differ, want %d of 2", r.Differ, r.Captures, tt.differ)
			}
		})
	}
}

// Of two marks that overlap, each is paired with the one that it covers best, in whatever order they come.
func TestCompareCrowded(t *testing.T) {
	crowded := func() *eval.Run {
		r := lake()
		near := r.Marks[1]
		near.Mark, near.Class = "near", detect.RaisedStructure
		near.Highlight = &detect.Box{X: 11, Y: 80, W: 8, H: 6}
		r.Marks = append(r.Marks, near)
		return r
	}
	other := crowded()
	slices.Reverse(other.Marks)
	r, err := Compare(crowded(), other, Promised())
	if err != nil {
		t.Fatal(err)
	}
	if !r.Agree() || r.Paired != 3 || r.Differ != 0 {
		t.Errorf("%d pairs, %d differ, against: %v", r.Paired, r.Differ, r.Against)
	}
}

func TestPrint(t *testing.T) {
	other := lake()
	other.Marks[0].Class = detect.BottomObject
	other.Marks[0].GapPx = metres(19, 1)
	r, err := Compare(lake(), other, Promised())
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := r.Print(&b, "here", "there"); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"2 captures; 2 marks in here, 2 in there, 2 in both; 1 differ in more than the evidence.\n",
		"gap_px              1 0.05\n",
		"     1 a.png\n",
		"They don't agree (here | there):\n",
		"  a.png target: gap_px: 20.0000 ± 1.0000 | 19.0000 ± 1.0000\n",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is not in\n%s", want, &b)
		}
	}
}
