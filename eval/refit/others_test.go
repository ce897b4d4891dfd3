package refit

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Every world holds marks, and eval reads its labels. A label's height, where a world tells it, is the thing's own: what hangs is
// in most cases lower than the water under it.
func TestOtherWorldsLabels(t *testing.T) {
	const seeds = 12
	for _, w := range others {
		t.Run(w.name, func(t *testing.T) {
			t.Parallel()
			labels := eval.Labels{Schema: eval.SchemaVersion}
			marks, tall, lower := 0, 0, 0
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
					tall++
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
			if 2*lower < tall {
				t.Errorf("%d of %d hanging things are lower than the water under them, want half at least", lower, tall)
			}
		})
	}
}
