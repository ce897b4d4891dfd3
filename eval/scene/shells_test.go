package scene

import (
	"slices"
	"testing"
)

// Shells brighten what lies under them and nothing else, as often and as much as asked, and none of the water column.
func TestShells(t *testing.T) {
	const rows, cols, first = 300, 400, 60
	s := &Spec{Seed: 5, Bottom: Bottom{Shells: Shells{Share: 0.002, Gain: 6, Cols: 2, Rows: 1.5}}}
	q := newShells(s, portSide, rows, cols)
	lit, sum := 0, 0.0
	row := make([]float64, cols)
	for r := range rows {
		for c := range row {
			row[c] = 1
		}
		q.line(r, row, first)
		for c, v := range row {
			if v == 1 {
				continue
			}
			if c < first {
				t.Fatalf("row %d, column %d: a shell in the water", r, c)
			}
			lit++
			sum += v
		}
	}
	// of 1 + 4u columns and 1 + 3u pings, whole parts, each with u even between 0 and 1: 2.5 and 2 in the mean
	want := 0.002 * rows * (cols - first) * 2.5 * 2
	if got := float64(lit); got < 0.75*want || got > 1.15*want {
		t.Errorf("%.0f samples under shells, want about %.0f", got, want)
	}
	if mean := sum / float64(lit); mean < 5 || mean > 7.5 {
		t.Errorf("shells are %.1f times as bright as what lies around, want about 6", mean)
	}
	none := slices.Repeat([]float64{1}, cols)
	newShells(&Spec{Seed: 5}, portSide, rows, cols).line(3, none, 0)
	if slices.ContainsFunc(none, func(v float64) bool { return v != 1 }) {
		t.Error("shells where none were asked for")
	}
}

// A stray pulse is heard once a ping at most; with a drift, the dashes of following pings lie that far apart.
func TestStrays(t *testing.T) {
	const rows, cols = 50, 200
	for _, tt := range []struct {
		name   string
		stray  Stray
		dashes int // pings with one
		apart  int // columns from one to the next; 0 = anywhere
	}{
		{"anywhere", Stray{Side: 2, Row1: rows, Share: 1, LongPx: 4, Strength: 0.5}, rows, 0},
		{"drifting", Stray{Side: portSide, Row0: 10, Row1: 40, Share: 1, Drift: 3, LongPx: 4, Strength: 0.5}, 30, 3},
		{"on the other side", Stray{Side: starboardSide, Row1: rows, Share: 1, LongPx: 4, Strength: 0.5}, 0, 0},
		{"seldom", Stray{Side: 2, Row1: rows, Share: 1e-9, LongPx: 4, Strength: 0.5}, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := &drawn{swath: newSwath(rows, cols), v: make([]float32, rows*cols)}
			stray(d, &Spec{Seed: 3, Flaws: Flaws{Strays: []Stray{tt.stray}}}, portSide)
			dashes, before := 0, -1
			for r := range rows {
				row := d.v[r*cols : (r+1)*cols]
				at := slices.IndexFunc(row, func(v float32) bool { return v > 0 })
				if at < 0 {
					continue
				}
				dashes++
				end := at
				for end < cols && row[end] > 0 {
					end++
				}
				if slices.ContainsFunc(row[end:], func(v float32) bool { return v > 0 }) {
					t.Errorf("ping %d has two dashes", r)
				}
				if apart := (at - before + cols) % cols; tt.apart > 0 && before >= 0 && apart != tt.apart {
					t.Errorf("ping %d: %d columns from the last dash, want %d", r, apart, tt.apart)
				}
				before = at
			}
			if dashes != tt.dashes {
				t.Errorf("%d pings with a dash, want %d", dashes, tt.dashes)
			}
		})
	}
}

// Jitter of the altitude that is large beside the altitude itself leaves the transducer over the bottom, so that every sample is a number.
func TestTrackStaysOverTheBottom(t *testing.T) {
	s := &Spec{Seed: 1, Pings: 500, AltitudeM: 0.2, RangeM: 10, Flaws: Flaws{HeaveM: 0.5}}
	for i, p := range track(s) {
		if p.h < leastAltitude*s.AltitudeM {
			t.Fatalf("ping %d: %.3f m over the bottom", i, p.h)
		}
	}
	if _, err := Render(t.Context(), Wide(64_979)); err != nil { // panicked before
		t.Error(err)
	}
}
