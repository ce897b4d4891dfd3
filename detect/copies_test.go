package detect_test

import (
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval/scene"
)

// What a screen shows twice is marked once, in the larger panel; the other is measured all the same and says why it holds no marks.
func TestOneThingOneMark(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a capture")
	}
	spec := scene.Wide(136866) // a record above the same, larger
	c, err := scene.Render(t.Context(), spec)
	if err != nil {
		t.Fatal(err)
	}
	res, err := fresh(t.Context(), c.Image, detect.Options{KeepClutter: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Panels) != 2 || len(res.Marks) == 0 {
		t.Fatalf("%d panels with %d marks, want two panels and some marks", len(res.Panels), len(res.Marks))
	}
	for _, m := range res.Marks {
		if m.Panel != 0 {
			t.Errorf("a mark at %v in the copy", m.Box)
		}
	}
	says := func(p detect.PanelRecord) bool {
		return slices.ContainsFunc(p.Notes, func(n string) bool { return strings.Contains(n, "same record") })
	}
	larger, copied := res.Panels[0], res.Panels[1]
	if says(larger) || !says(copied) {
		t.Errorf("notes %q and %q: want it said of the smaller panel only", larger.Notes, copied.Notes)
	}
	if copied.Nadir == nil || copied.FirstReturn.Port == nil || copied.FirstReturn.Starboard == nil || copied.AltitudePx == nil {
		t.Error("the copy has no nadir, first return or altitude")
	}
	if len(copied.Humps) > 0 {
		t.Errorf("the copy's humps %v count twice", copied.Humps)
	}
}
