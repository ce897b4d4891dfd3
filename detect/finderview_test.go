package detect

import "testing"

// Sums gathered cell by cell are, to the last bit, those of pixels shared out one by one.
func TestCellSums(t *testing.T) {
	rng := seeded(17)
	for _, tt := range []struct {
		pixels int
		scale  float64
	}{{40, 1}, {101, 1.3}, {64, 2}, {853, 1.977}, {30, 3.25}, {7, 9}} {
		along := newSharing(tt.pixels, tt.scale)
		line := pixelLine{make([]float32, tt.pixels), make([]float32, tt.pixels), make([]uint8, tt.pixels)}
		got, want := newCellSums(along.cells), make([]cellSum, along.cells)
		for _, part := range []float32{1, 0.37, 0.63, 1} {
			for k := range line.mask {
				line.leveled[k], line.echo[k], line.mask[k] = float32(rng.ExpFloat64()), rng.Float32(), uint8(rng.IntN(3))
			}
			got.add(line, along, part)
			for k := range line.mask {
				share := func(cell int, w float32) {
					s := &want[cell]
					s.leveled += line.leveled[k] * w
					s.echo += line.echo[k] * w
					s.kind += float32(line.mask[k]) * w
				}
				w := along.first[k] * part
				share(along.cell[k], w)
				if w < part {
					share(along.cell[k]+1, part-w)
				}
			}
		}
		for x, s := range want {
			if got.cells[x] != s {
				t.Fatalf("%+v: cell %d of %d sums up to %+v, want %+v", tt, x, along.cells, got.cells[x], s)
			}
		}
	}
}
