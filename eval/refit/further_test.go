package refit

import (
	"testing"

	"shadowgap/detect"
	"shadowgap/eval/screenworld"
)

// A screen with two records: the sides of the second, whose things aren't labelled, are no sides for a fit.
func TestSidesOfFurtherPanels(t *testing.T) {
	c, err := screenworld.Render(t.Context(), 40016) // one whose two records are both read
	if err != nil {
		t.Fatal(err)
	}
	var d detect.Detector
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	views, err := d.Views(t.Context(), c.Image, detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	further := 0
	for _, v := range views {
		if showsFurther(v, c.Label.Panels) {
			further++
		}
	}
	if further != 2 || len(views) != 4 {
		t.Errorf("%d of %d sides are the second record's, want 2 of 4", further, len(views))
	}
}
