package detect

import (
	"testing"

	"shadowgap/features"
)

// BenchmarkStages sets what the stages of one side cost beside each other: one of two of a panel that fills a screen of 1920 × 1080,
// with a water column over a quarter of its range.
func BenchmarkStages(b *testing.B) {
	const rows, cols, water = 920, 1700, 210
	g, valid := speckled(b, seeded(41), rows, cols, 0.3)
	near := make([]float64, rows)
	edge := &bottomEdge{k: make([]float64, rows)}
	for r := range rows {
		near[r], edge.k[r] = cols/2, water+float64(r%64)/4
		for k := cols/2 - water; k < cols/2+water; k++ {
			g.V[r*cols+k] *= 0.2
		}
	}
	var arena features.Arena
	stage := func(name string, do func() error) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				mark := arena.Mark()
				if err := do(); err != nil {
					b.Fatal(err)
				}
				arena.Release(mark)
			}
		})
	}
	s, err := cutSwath(g, valid, near, Port, true, &arena)
	if err != nil {
		b.Fatal(err)
	}
	lv, err := level(s, edge)
	if err != nil {
		b.Fatal(err)
	}
	stage("stage=cut", func() error {
		_, err := cutSwath(g, valid, near, Port, true, &arena)
		return err
	})
	stage("stage=level", func() error {
		_, err := level(s, edge)
		return err
	})
	stage("stage=segment", func() error {
		_, err := segment(s, lv)
		return err
	})
	stage("stage=lines", func() error {
		linesOf(lv)
		return nil
	})
	stage("stage=walls", func() error {
		_, err := wallsOf(s, lv)
		return err
	})
	stage("stage=view", func() error {
		newFinderView(s, lv, &arena)
		return nil
	})
}
