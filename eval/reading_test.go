package eval

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"shadowgap/detect"
)

// upright is a profile at one column.
func upright(x float64, rows ...float64) []detect.RowX {
	var out []detect.RowX
	for _, r := range rows {
		out = append(out, detect.RowX{r, x})
	}
	return out
}

// swath is a reading of a panel of 512 columns with its nadir in the middle, and its label: first returns 50 columns away.
func swath(name string) (detect.CaptureRecord, CaptureLabel) {
	c := capture(name)
	c.Width, c.Height = 512, 100
	c.Panels = []detect.PanelRecord{{Box: *box(0, 0, 512, 100), Nadir: upright(256, 0, 10, 20, 30),
		FirstReturn: detect.FirstReturn{Port: upright(206, 0, 10, 20, 30), Starboard: upright(306, 0, 10, 20, 30)}}}
	p := c.Panels[0]
	return c, CaptureLabel{Capture: name, By: "hand", Panel: box(0, 0, 512, 100), Nadir: p.Nadir, FirstReturn: p.FirstReturn}
}

func readingOf(t *testing.T, c detect.CaptureRecord, l CaptureLabel, marks ...detect.MarkRecord) PictureReading {
	t.Helper()
	run := Run{Captures: []detect.CaptureRecord{c}, Marks: marks}
	r, err := Score(context.Background(), run, Labels{Schema: 1, Captures: []CaptureLabel{l}}, quick())
	if err != nil {
		t.Fatal(err)
	}
	return r.Reading
}

func TestReading(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*detect.CaptureRecord, *CaptureLabel)
		// of 8 points of first returns and 4 of the nadir; wrong of the sides named; refused of one
		first, nadir, wrong, named, refused, panel int
	}{
		{"as it is", func(*detect.CaptureRecord, *CaptureLabel) {}, 8, 4, 0, 2, 0, 1},
		{"within 10 px of 1,024 on a panel of 512", func(c *detect.CaptureRecord, _ *CaptureLabel) {
			c.Panels[0].FirstReturn.Port = upright(201, 0, 10, 20, 30)
		}, 8, 4, 0, 2, 0, 1},
		{"farther than that", func(c *detect.CaptureRecord, _ *CaptureLabel) {
			c.Panels[0].FirstReturn.Port = upright(200.9, 0, 10, 20, 30)
		}, 4, 4, 0, 2, 0, 1},
		{"no answer is no hit", func(c *detect.CaptureRecord, _ *CaptureLabel) { c.Panels[0].FirstReturn.Port = nil }, 4, 4, 0, 1, 0, 1},
		{"nadir off by two of 512", func(c *detect.CaptureRecord, _ *CaptureLabel) {
			c.Panels[0].Nadir = upright(258, 0, 10, 20, 30)
		}, 8, 0, 0, 2, 0, 1},
		{"sides swapped", func(c *detect.CaptureRecord, _ *CaptureLabel) {
			f := &c.Panels[0].FirstReturn
			f.Port, f.Starboard = f.Starboard, f.Port
		}, 0, 4, 2, 2, 0, 1},
		{"refused", func(c *detect.CaptureRecord, _ *CaptureLabel) { c.Status, c.Panels = detect.StatusNoPanel, nil }, 0, 0, 0, 0, 1, 0},
		{"panel too narrow", func(c *detect.CaptureRecord, _ *CaptureLabel) { c.Panels[0].Box.W = 480 }, 8, 4, 0, 2, 0, 0},
	} {
		c, l := swath("a.png")
		tt.change(&c, &l)
		r := readingOf(t, c, l)
		if r.Swaths != 1 || r.FirstReturn.K != tt.first || r.FirstReturn.N != 8 || r.Nadir.K != tt.nadir || r.Nadir.N != 4 ||
			r.SidesWrong.K != tt.wrong || r.SidesWrong.N != tt.named || r.Refused.K != tt.refused || r.Refused.N != 1 ||
			r.Panel.K != tt.panel || r.Panel.N != 1 {
			t.Errorf("%s: %+v", tt.name, r)
		}
	}
}

func TestPanelAsFarAsPingsFillIt(t *testing.T) {
	for _, tt := range []struct {
		name          string
		drawn         int // height of the labelled panel; pings fill 0 to 30 and up to a label's distance more
		found         int
		begun         float64 // height of the panel that the record is told to have begun to fill; 0 = not told
		whole, filled int
	}{
		{"full", 40, 40, 0, 1, 1},
		{"begun a while ago, found as far as it is filled", 100, 40, 0, 0, 1},
		{"begun a while ago, found with what isn't filled", 100, 100, 0, 1, 0},
		{"begun a while ago, both told", 100, 40, 100, 1, 1},
		{"full, taken for begun", 40, 40, 100, 0, 1},
	} {
		c, l := swath("a.png")
		c.Panels[0].Box.H, l.Panel.H = tt.found, tt.drawn
		if foot := tt.begun - 0.5; tt.begun > 0 {
			c.Panels[0].Whole = &[4][2]float64{{-0.5, -0.5}, {511.5, -0.5}, {511.5, foot}, {-0.5, foot}}
		}
		if r := readingOf(t, c, l); r.Panel.K != tt.whole || r.PanelFilled.K != tt.filled || r.PanelFilled.N != 1 {
			t.Errorf("%s: right %d, as filled %d of %d, want %d and %d of 1", tt.name,
				r.Panel.K, r.PanelFilled.K, r.PanelFilled.N, tt.whole, tt.filled)
		}
	}
}

func TestReadingOfOneSide(t *testing.T) {
	c := capture("tile.png")
	c.Panels = []detect.PanelRecord{{Box: *box(0, 0, 400, 300)}}
	on := func(s detect.Side) detect.MarkRecord {
		m := mark("tile.png", detect.BottomObject, 0.9, box(10, 10, 20, 20))
		m.Side = s
		return m
	}
	for _, tt := range []struct {
		name      string
		truth     detect.Side
		marks     []detect.MarkRecord
		wrong, of int
	}{
		{"nothing named", detect.Port, nil, 0, 0},
		{"right", detect.Port, []detect.MarkRecord{on(detect.Port)}, 0, 1},
		{"wrong", detect.Starboard, []detect.MarkRecord{on(detect.Port)}, 1, 1},
	} {
		r := readingOf(t, c, CaptureLabel{Capture: "tile.png", By: "hand", Side: tt.truth}, tt.marks...)
		if r.OneSideWrong.K != tt.wrong || r.OneSideWrong.N != tt.of || r.Swaths != 0 || r.SidesWrong.N != 0 {
			t.Errorf("%s: %+v", tt.name, r)
		}
	}
}

// Rows that hold no echo, and places under a plate, are no fault of the reading.
func TestVisibleFirstReturn(t *testing.T) {
	c, l := swath("a.png")
	c.Panels[0].FirstReturn.Port = upright(206, 30) // reaches from row 20 on
	l.LostRows = [][2]int{{0, 5}}
	l.Furniture = []FurnitureLabel{{Kind: "plate", Box: *box(200, 8, 20, 5)}, {Kind: "text", Box: *box(200, 18, 20, 5)}}
	r := readingOf(t, c, l)
	// port rows 0 (lost) and 10 (covered) are left out, starboard row 0 too
	if r.VisibleReturn.Rows != 5 || r.VisibleReturn.Absent.N != 5 ||
		r.VisibleAbsent.K != 0 || r.VisibleAbsent.N != 5 || r.FirstReturn.N != 8 || r.FirstReturn.K != 6 {
		t.Errorf("visible %+v, all %+v", r.VisibleReturn.Absent, r.FirstReturn)
	}
}

func TestOutlineIoU(t *testing.T) {
	square := [][2]float64{{-0.5, -0.5}, {9.5, -0.5}, {9.5, 9.5}, {-0.5, 9.5}}
	slant := [][2]float64{{-0.5, -0.5}, {9.5, -0.5}, {9.5, 9.5}, {4.5, 9.5}} // a quarter of the square is missing at its lower left
	for _, tt := range []struct {
		name    string
		outline [][2]float64
		b       detect.Box
		want    float64
	}{
		{"the same", square, *box(0, 0, 10, 10), 1},
		{"half of it", square, *box(5, 0, 10, 10), 50.0 / 150},
		{"apart", square, *box(20, 20, 5, 5), 0},
		{"no box", square, detect.Box{}, 0},
		{"slanted", slant, *box(0, 0, 10, 10), 0.75},
	} {
		near(t, tt.name, outlineIoU(tt.outline, outlineOf(&detect.PanelRecord{Box: tt.b})), tt.want, 1e-12)
	}
	c, l := swath("photo.png")
	l.Quad = [][2]float64{{-0.5, -0.5}, {511.5, -0.5}, {511.5, 99.5}, {-0.5, 99.5}}
	if r := readingOf(t, c, l); r.Panel.N != 0 || r.Photo.K != 1 || r.PhotoOutline.K != 1 {
		t.Errorf("a photographed panel: %+v", r)
	}
	turned := [4][2]float64{{4.5, -5.5}, {14.5, 4.5}, {4.5, 14.5}, {-5.5, 4.5}} // a square on its corner, twice as large
	near(t, "corners of a panel photographed askew", outlineIoU(square, outlineOf(&detect.PanelRecord{Corners: &turned})), 0.5, 1e-12)
}

func TestPointShareInterval(t *testing.T) {
	s := newPointShare([]int{10, 0, 10}, []int{10, 10, 10}, quick())
	if s.K != 20 || s.N != 30 || !(s.Low < s.Value && s.Value < s.High) {
		t.Errorf("%+v", s)
	}
	b, err := json.Marshal(newPointShare(nil, nil, quick()))
	if err != nil || !strings.Contains(string(b), `"value":null`) {
		t.Errorf("of nothing: %s (%v)", b, err)
	}
}

func TestHanging(t *testing.T) {
	hangs := func(gap float64, b *detect.Box) MarkLabel {
		l := label(detect.SuspendedTarget, b)
		l.GapPx = ptr(gap)
		return l
	}
	l := Labels{Schema: 1, Captures: []CaptureLabel{{Capture: "a.png", By: "scene", Marks: []MarkLabel{
		hangs(2, box(0, 0, 9, 9)), hangs(3, box(40, 0, 9, 9)), hangs(10, box(80, 0, 9, 9)), hangs(11, box(120, 0, 9, 9)),
		label(detect.BottomObject, box(160, 0, 9, 9)), label(detect.RaisedStructure, box(200, 0, 9, 9)),
	}}}}
	run := Run{Captures: []detect.CaptureRecord{capture("a.png")}, Marks: []detect.MarkRecord{
		mark("a.png", detect.SuspendedTarget, 0.9, box(40, 0, 9, 9)), mark("a.png", detect.RaisedStructure, 0.9, box(120, 0, 9, 9)),
		mark("a.png", detect.BottomObject, 0.9, box(160, 0, 9, 9)), mark("a.png", detect.RaisedStructure, 0.9, box(200, 0, 9, 9)),
	}}
	r, err := Score(t.Context(), run, l, quick())
	if err != nil {
		t.Fatal(err)
	}
	h := r.Hanging
	if h.SmallGaps.K != 1 || h.SmallGaps.N != 2 || h.Suspended.K != 1 || h.Suspended.N != 2 || h.Bottom.K != 1 || h.Bottom.N != 1 {
		t.Errorf("%+v", h)
	}
}
