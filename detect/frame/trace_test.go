package frame

import (
	"image"
	"math"
	"slices"
	"testing"

	"shadowgap/detect/pixels"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// drawnMap is a map of a capture whose panel fills box (cells): nadir and first returns as given per row, in cells.
func drawnMap(box image.Rectangle, nadir, port, starboard func(row int) float64) *reader.Map {
	m := &reader.Map{Sonar: 1, Inverted: make([]float32, reader.Rows*reader.Cols)}
	for k := range m.P {
		m.P[k] = make([]float32, reader.Rows*reader.Cols)
	}
	for y := range reader.Rows {
		for x := range reader.Cols {
			i := y*reader.Cols + x
			if !image.Pt(x, y).In(box) {
				m.P[reader.Outside][i] = 1
				continue
			}
			// a cell that an edge runs through belongs to either side by its share
			share := func(edge float64) float32 { return float32(min(1, max(0, edge-float64(x)))) } // of the cell left of edge
			left := share(nadir(y))
			bottomPort := share(port(y))
			waterStar := share(starboard(y)) - left
			m.P[reader.BottomPort][i] = min(left, bottomPort)
			m.P[reader.WaterPort][i] = max(0, left-bottomPort)
			m.P[reader.WaterStarboard][i] = max(0, waterStar)
			m.P[reader.BottomStarboard][i] = max(0, 1-left-max(0, waterStar))
		}
	}
	return m
}

func blankPanel(t *testing.T, box image.Rectangle) *Panel {
	t.Helper()
	g, err := features.NewGrid(box.Dy(), box.Dx())
	if err != nil {
		t.Fatal(err)
	}
	return &Panel{Box: box, Echo: g, Valid: make([]uint8, len(g.V))}
}

// The picture is five pixels a cell across and four down.
func mapped(t *testing.T, m *reader.Map, box image.Rectangle, opt Options) *Panel {
	t.Helper()
	px := &pixels.Picture{W: 5 * reader.Cols, H: 4 * reader.Rows}
	w := newWindow(m, px, box)
	pan := blankPanel(t, box)
	w.trace(pan, opt)
	return pan
}

func TestTrace(t *testing.T) {
	cells := image.Rect(20, 10, 220, 130)
	box := image.Rect(100, 40, 1100, 520)
	nadir := func(y int) float64 { return 118 + 4*math.Sin(float64(y)/40) }
	hump := func(y int) float64 { return 30 - 22*math.Exp(-float64((y-70)*(y-70))/60) }
	m := drawnMap(cells, nadir, func(y int) float64 { return nadir(y) - hump(y) }, func(y int) float64 { return nadir(y) + 30.4 })
	pan := mapped(t, m, box, Options{})
	if pan.Nadir == nil || pan.Side != "" || pan.First[port] == nil || pan.First[starboard] == nil {
		t.Fatalf("nadir %v, side %q, first returns of port %v, starboard %v: want all of it",
			pan.Nadir != nil, pan.Side, pan.First[0] != nil, pan.First[1] != nil)
	}
	for r := 8; r < box.Dy()-8; r++ {
		y := (box.Min.Y + r) / 4
		want := 5*nadir(y) - 100
		if math.Abs(pan.Nadir[r]-want) > 2.5 {
			t.Fatalf("row %d: nadir at %.1f, want %.1f", r, pan.Nadir[r], want)
		}
		if got, want := pan.First[starboard][r], want+5*30.4; math.Abs(got-want) > 3 {
			t.Fatalf("row %d: starboard first return at %.1f, want %.1f", r, got, want)
		}
		if got, want := pan.First[port][r], want-5*hump(y); math.Abs(got-want) > 12 {
			t.Fatalf("row %d: port first return at %.1f, want %.1f on a steep hump", r, got, want)
		}
		if pan.Sure[port][r] < 0.5 {
			t.Fatalf("row %d: %.2f sure of a clear edge", r, pan.Sure[port][r])
		}
	}
}

func TestTraceOneSide(t *testing.T) {
	whole := image.Rect(0, 0, reader.Cols, reader.Rows)
	box := image.Rect(0, 0, 5*reader.Cols, 4*reader.Rows)
	for _, tt := range []struct {
		name                   string
		nadir, port, starboard float64
		opt                    Options
		side                   string
		first                  [2]float64 // panel columns, NaN = not in view
	}{
		{"starboard with water", 0, 0, 60, Options{}, "starboard", [2]float64{math.NaN(), 300}},
		{"port with water", reader.Cols, 180, reader.Cols, Options{}, "port", [2]float64{900, math.NaN()}},
		{"starboard without", 0, 0, 0, Options{}, "starboard", [2]float64{math.NaN(), math.NaN()}},
		{"set by hand", 0, 0, 60, Options{Side: "starboard"}, "starboard", [2]float64{math.NaN(), 300}},
		{"water only", 0, 0, reader.Cols, Options{}, "starboard", [2]float64{math.NaN(), math.NaN()}},
	} {
		at := func(v float64) func(int) float64 { return func(int) float64 { return v } }
		pan := mapped(t, drawnMap(whole, at(tt.nadir), at(tt.port), at(tt.starboard)), box, tt.opt)
		if pan.Side != tt.side || pan.Nadir != nil {
			t.Errorf("%s: side %q, nadir %v; want %q and none", tt.name, pan.Side, pan.Nadir != nil, tt.side)
		}
		for s, want := range tt.first {
			if (pan.First[s] == nil) != math.IsNaN(want) {
				t.Errorf("%s: first return of side %d known %v", tt.name, s, pan.First[s] != nil)
			} else if pan.First[s] != nil && math.Abs(pan.First[s][200]-want) > 3 {
				t.Errorf("%s: first return at %.1f, want %.1f", tt.name, pan.First[s][200], want)
			}
		}
	}
}

// Where the map wavers between water and bottom no first return is told, and the rest is.
func TestTraceUnsure(t *testing.T) {
	whole := image.Rect(0, 0, reader.Cols, reader.Rows)
	m := drawnMap(whole, func(int) float64 { return 128 }, func(int) float64 { return 90 }, func(int) float64 { return 166 })
	for y := 60; y < 90; y++ {
		for x := 128; x < reader.Cols; x++ {
			i := y*reader.Cols + x
			m.P[reader.WaterStarboard][i], m.P[reader.BottomStarboard][i] = 0.5, 0.5
		}
	}
	pan := mapped(t, m, image.Rect(0, 0, 5*reader.Cols, 4*reader.Rows), Options{})
	for _, r := range []int{100, 300, 500} {
		unsure := r == 300
		if math.IsNaN(pan.First[starboard][r]) != unsure {
			t.Errorf("row %d: starboard first return %v", r, pan.First[starboard][r])
		}
		if math.IsNaN(pan.First[port][r]) {
			t.Errorf("row %d: no port first return though the map is clear", r)
		}
	}
}

func TestRegions(t *testing.T) {
	m := drawnMap(image.Rect(20, 10, 220, 130),
		func(int) float64 { return 118 }, func(int) float64 { return 90 }, func(int) float64 { return 150 })
	for y := 10; y < 130; y++ { // a second panel to the right, its port side beside the first one's starboard
		for x := 170; x < 220; x++ {
			i := y*reader.Cols + x
			for k := range m.P {
				m.P[k][i] = 0
			}
			c := reader.BottomPort
			if x >= 195 {
				c = reader.BottomStarboard
			}
			m.P[c][i] = 1
		}
	}
	m.P[reader.Outside][5*reader.Cols+5] = 0 // a cell astray
	inside, _ := insidePanel(m)
	boxes := components(inside)
	if len(boxes) == 0 || boxes[len(boxes)-1].box != image.Rect(20, 10, 220, 130) {
		t.Fatalf("components %v", boxes)
	}
	parts := sideBySide(m, image.Rect(20, 10, 220, 130))
	if len(parts) != 2 || parts[0].Max.X != 170 || parts[1].Min.X != 170 {
		t.Errorf("two panels side by side parted into %v, want a cut at 170", parts)
	}
	// one bottom, of which the map can't tell whether it is port or starboard
	unsure := *m
	for k, p := range m.P {
		unsure.P[k] = slices.Clone(p)
	}
	for i := range unsure.P[reader.BottomPort] {
		p, s := m.P[reader.BottomPort][i], m.P[reader.BottomStarboard][i]
		unsure.P[reader.BottomPort][i], unsure.P[reader.BottomStarboard][i] = 0.55*p+0.45*s, 0.45*p+0.55*s
	}
	if parts := sideBySide(&unsure, image.Rect(20, 10, 220, 130)); len(parts) != 1 {
		t.Errorf("one bottom that looks like either side was parted into %v", parts)
	}
	// a map that wavers between the sides is one panel all the same
	for y := 10; y < 130; y++ {
		for x := 20; x < 60; x++ {
			i := y*reader.Cols + x
			m.P[reader.BottomPort][i], m.P[reader.BottomStarboard][i] = 0, 1
		}
	}
	if parts := sideBySide(m, image.Rect(20, 10, 220, 130)); len(parts) != 1 {
		t.Errorf("starboard left of port was parted into %v", parts)
	}
}

// Beside a record with a nadir a larger panel that shows bottom alone is a chart or the like; a copy of the record is none.
func TestRecords(t *testing.T) {
	even, err := features.NewGrid(32, 64)
	if err != nil {
		t.Fatal(err)
	}
	nadir := []float64{5}
	alike, other := &features.Pattern{0: 1}, &features.Pattern{1: 1}
	for _, tt := range []struct {
		name string
		in   []Panel
		want string // of each that is told: n with a nadir, b without, c a copy
	}{
		{"one", []Panel{{Nadir: nadir, pattern: alike}}, "n"},
		{"bottom alone", []Panel{{pattern: alike}}, "b"},
		{"a chart behind it", []Panel{{Nadir: nadir, pattern: alike}, {pattern: other}}, "n"},
		{"a larger chart", []Panel{{pattern: other}, {Nadir: nadir, pattern: alike}}, "n"},
		{"a larger record of one side", []Panel{{Sure: [2][]float64{nil, {0.9, 0.7}}, pattern: other}, {Nadir: nadir, pattern: alike}}, "bn"},
		{"a larger chart of doubtful edge", []Panel{{Sure: [2][]float64{nil, {0.4, 0.2}}, pattern: other}, {Nadir: nadir, pattern: alike}}, "n"},
		{"two of bottom alone", []Panel{{pattern: alike}, {pattern: other}}, "b"},
		{"one side twice", []Panel{{pattern: alike}, {pattern: alike}}, "bc"},
		{"both sides twice", []Panel{{Nadir: nadir, pattern: alike}, {Nadir: nadir, pattern: alike}}, "nc"},
		{"two records", []Panel{{Nadir: nadir, pattern: alike}, {Nadir: nadir, pattern: other}}, "nn"},
	} {
		got := ""
		for i := range tt.in {
			tt.in[i].Echo = even
		}
		for _, p := range records(tt.in) {
			switch {
			case p.Copy:
				got += "c"
			case p.Nadir != nil:
				got += "n"
			default:
				got += "b"
			}
		}
		if got != tt.want {
			t.Errorf("%s: told %q, want %q", tt.name, got, tt.want)
		}
	}
}
