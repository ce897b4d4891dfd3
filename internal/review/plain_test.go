package review

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// What a person reads of a mark has no negative length and none of the detector's own terms.
func TestFactsArePlain(t *testing.T) {
	below := &features.Measured{Value: -0.31, SD: 0.2}
	b := detect.Box{X: 5, Y: 5, W: 4, H: 9}
	m := detect.MarkRecord{
		Side: detect.Port, Class: detect.BottomObject, Odds: detect.Odds{detect.BottomObject: 0.9}, Highlight: &b, Shadow: &b,
		Rows: [2]int{5, 14}, Contrast: 1.2,
		SlantPx: features.Measured{Value: 90, SD: 1}, GapPx: &features.Measured{Value: -3.1, SD: 2},
		ShadowPx: &features.Measured{Value: 9, SD: 2},
		GapM:     below, HeightM: below, OffBottomM: below, Position: &detect.Position{Lat: 60, Lon: 20, ErrorM: 4.21},
	}
	bad := regexp.MustCompile(`-\d|standard deviation|spread|least size|strength`)
	var all []string
	for _, f := range factsOf(m, units.Feet) {
		all = append(all, f.Name+": "+f.Value)
	}
	all = append(all, doubtsOf(detect.CaptureRecord{}, m)...)
	for _, s := range all {
		if bad.MatchString(s) {
			t.Errorf("%q", s)
		}
	}
	text := strings.Join(all, "\n")
	for _, want := range []string{"gap: none: the shadow touches it", "height: under 1 ft", "within about 14 ft", "The echo is faint"} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q:\n%s", want, text)
		}
	}
	if got := words.Mark(&m, units.Feet); !strings.HasPrefix(got, "Under 1 ft high, lying on the bottom") {
		t.Errorf("sentence %q", got)
	}
}

// A mark that is not worth telling by its odds is shown on request only, as one that is called clutter.
func TestPageTellsLikeliestClutter(t *testing.T) {
	s := scene()
	marks := slices.Clone(s.marks)
	marks[1].Odds = detect.Odds{detect.BottomObject: 0.3, detect.Clutter: 0.7}
	for i, m := range summary(s.capt, marks).Marks {
		if want := i == 1 || marks[i].Class == detect.Clutter; m[6] != want {
			t.Errorf("mark %d, %s: left out unasked: %v, want %v", i, marks[i].Class, m[6], want)
		}
	}
	p, err := firstPage([]detect.CaptureRecord{s.capt}, marks, PageOptions{})
	if err != nil {
		t.Fatal(err)
	}
	things := decodeMain(t, p).Things
	if len(things) != len(marks) {
		t.Fatalf("%d things of %d marks", len(things), len(marks))
	}
	for i, thing := range things {
		at := thing.Marks[0][1]
		if want := at == 1 || marks[at].Class == detect.Clutter; thing.Dull != want || want != (i >= len(things)-2) {
			t.Errorf("thing %d of mark %d: left out unasked: %v, want %v; those come last", i, at, thing.Dull, want)
		}
	}
}

// A picture to share shows what the page shows: likeliest clutter only where a person says that it is there.
func TestSharedMarksLeaveLikeliestClutterOut(t *testing.T) {
	marks := slices.Clone(scene().marks)
	dull := detect.Odds{detect.BottomObject: 0.3, detect.Clutter: 0.7}
	marks[0].Odds, marks[1].Odds = dull, dull
	say := make([]string, len(marks))
	shown, numbers, lines := sharedMarks(marks, say, Fold([]Decision{decision(Accept, marks[1]), decision(Reject, marks[2])}))
	if len(shown) != 2 || len(lines) != 2 || shown[0].Mark != marks[1].Mark || shown[1].Mark != marks[3].Mark {
		t.Errorf("%d marks, %q; want the accepted one and the one that is likely there", len(shown), lines)
	}
	// They are called as on the page, whatever is left out.
	if !slices.Equal(numbers, []int{2, 4}) || !strings.HasPrefix(lines[0], "2 ") || !strings.HasPrefix(lines[1], "4 ") {
		t.Errorf("numbers %v, lines %q; want 2 and 4", numbers, lines)
	}
}

// A display that is slant-corrected tells ground ranges and no slant ranges: its range setting is known all the same.
func TestDoubtsTellOfAnUnknownRangeOnly(t *testing.T) {
	at := &features.Measured{Value: 21, SD: 1}
	for _, tt := range []struct {
		name string
		m    detect.MarkRecord
		want bool
	}{
		{"no range", detect.MarkRecord{}, true},
		{"slant range", detect.MarkRecord{SlantM: at, GroundM: at}, false},
		{"slant-corrected", detect.MarkRecord{GroundM: at}, false},
	} {
		told := strings.Join(doubtsOf(detect.CaptureRecord{}, tt.m), "\n")
		got := strings.Contains(told, "range setting is unknown")
		if got != tt.want {
			t.Errorf("%s: told as unknown %v, want %v", tt.name, got, tt.want)
		}
	}
}
