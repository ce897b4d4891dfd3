package refit

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// A label's height is the thing's own: what hangs is in most cases lower than the water under it. And eval reads the labels of all worlds.
func TestOtherWorldsLabels(t *testing.T) {
	const seeds = 12
	noHeights := []string{"shoal", "works", "bed"} // of what hangs
	for _, w := range others {
		t.Run(w.name, func(t *testing.T) {
			t.Parallel()
			labels := eval.Labels{Schema: eval.SchemaVersion}
			marks, hanging, lower := 0, 0, 0
			for seed := range int64(seeds) {
				c, err := w.render(context.Background(), 40001+seed)
				if err != nil {
					t.Fatal(err)
				}
				c.Label.Capture = fmt.Sprintf("%d.png", 40001+seed)
				labels.Captures = append(labels.Captures, c.Label)
				for _, m := range c.Label.Marks {
					marks++
					if m.Class != detect.SuspendedTarget || m.OffBottomM == nil || m.HeightM == nil {
						continue
					}
					hanging++
					if *m.HeightM <= 0 {
						t.Errorf("seed %d: a height of %g m", 40001+seed, *m.HeightM)
					}
					if *m.HeightM < *m.OffBottomM {
						lower++
					}
				}
			}
			name := filepath.Join(t.TempDir(), "labels.json")
			if err := eval.WriteJSON(name, labels); err != nil {
				t.Fatal(err)
			}
			if _, err := eval.Load(name); err != nil {
				t.Error(err)
			}
			if marks == 0 {
				t.Error("no marks")
			}
			if hanging == 0 != slices.Contains(noHeights, w.name) || 2*lower < hanging {
				t.Errorf("%d of %d hanging things are lower than the water under them, want half at least", lower, hanging)
			}
		})
	}
}
