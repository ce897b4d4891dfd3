package detect

import (
	"math"
	"testing"
)

// mark is a suspended target of the given odds at a place.
func suspendedAt(id string, x, y int, odds float64) MarkRecord {
	return MarkRecord{Mark: id, Class: SuspendedTarget, Highlight: &Box{x - 2, y - 2, 4, 4},
		Odds: Odds{SuspendedTarget: odds, BottomObject: 1 - odds}}
}

func TestFindHolds(t *testing.T) {
	hump := PanelRecord{Humps: []Hump{{Rows: [2]int{100, 160}, ReliefPx: 24}}}
	field := PanelRecord{Regions: []Region{{Kind: "rock-field", Box: Box{200, 300, 80, 60}}}}
	rock := suspendedAt("rock", 50, 130, 0.1)
	rock.Class = BottomObject
	blind := suspendedAt("shadow only", 50, 130, 0.9)
	blind.Highlight = nil
	for _, tt := range []struct {
		name    string
		panel   PanelRecord
		marks   []MarkRecord
		members []int // marks per hold
	}{
		{"over the hump", hump, []MarkRecord{suspendedAt("a", 50, 130, 0.9)}, []int{1}},
		{"two of them", hump, []MarkRecord{suspendedAt("a", 50, 130, 0.9), suspendedAt("b", 90, 110, 0.7)}, []int{2}},
		{"on its flank", hump, []MarkRecord{suspendedAt("a", 50, 180, 0.9)}, []int{1}},
		{"passing by", hump, []MarkRecord{suspendedAt("a", 50, 260, 0.9)}, nil},
		{"a rock on the hump", hump, []MarkRecord{rock}, nil},
		{"a shadow alone", hump, []MarkRecord{blind}, nil},
		{"over rocks", field, []MarkRecord{suspendedAt("a", 240, 330, 0.9)}, []int{1}},
		{"beside the rocks", field, []MarkRecord{suspendedAt("a", 400, 330, 0.9)}, nil},
		{"no hump", PanelRecord{}, []MarkRecord{suspendedAt("a", 50, 130, 0.9)}, nil},
		{"hump and rocks: a fish holds once", PanelRecord{Humps: hump.Humps, Regions: []Region{{Kind: "rock-field", Box: Box{30, 100, 80, 60}}}},
			[]MarkRecord{suspendedAt("a", 50, 130, 0.9)}, []int{1}},
	} {
		holds := findHolds(tt.marks, []PanelRecord{tt.panel})
		if len(holds) != len(tt.members) {
			t.Errorf("%s: %d holds, want %d", tt.name, len(holds), len(tt.members))
			continue
		}
		for i, h := range holds {
			if len(h.Marks) != tt.members[i] || !(h.Odds > 0 && h.Odds <= 1) {
				t.Errorf("%s: hold of %v at odds %.2f, want %d marks", tt.name, h.Marks, h.Odds, tt.members[i])
			}
			for _, id := range h.Marks {
				for _, m := range tt.marks {
					if m.Mark == id && (m.Hold == nil || *m.Hold != h.ID) {
						t.Errorf("%s: mark %s doesn't name its hold", tt.name, id)
					}
				}
			}
		}
	}
}

// More fish and more relief make a surer hold.
func TestHoldOdds(t *testing.T) {
	odds := func(relief float64, n int) float64 {
		var ms []MarkRecord
		for i := range n {
			ms = append(ms, suspendedAt(string(rune('a'+i)), 50+10*i, 130, 0.6))
		}
		return findHolds(ms, []PanelRecord{{Humps: []Hump{{Rows: [2]int{100, 160}, ReliefPx: relief}}}})[0].Odds
	}
	if a, b := odds(20, 1), odds(20, 3); a >= b {
		t.Errorf("one fish %.3f, three %.3f", a, b)
	}
	if a, b := odds(6, 2), odds(30, 2); a >= b {
		t.Errorf("low hump %.3f, high hump %.3f", a, b)
	}
}

func TestRank(t *testing.T) {
	of := func(id string, o Odds, onHump bool) MarkRecord {
		return MarkRecord{Mark: id, Class: o.likeliest(), Odds: o, OnHump: onHump}
	}
	res := &Result{Counts: map[Class]int{}, Marks: []MarkRecord{
		of("clutter", Odds{Clutter: 0.9, BottomObject: 0.1}, false),
		of("rock", Odds{BottomObject: 1}, false),
		of("fish", Odds{SuspendedTarget: 0.9, Clutter: 0.1}, false),
		of("wall", Odds{RaisedStructure: 1}, false),
		of("fish on a hump", Odds{SuspendedTarget: 0.9, Clutter: 0.1}, true),
	}}
	rank(res)
	want := []string{"fish on a hump", "fish", "wall", "rock", "clutter"}
	for i, m := range res.Marks {
		if m.Mark != want[i] {
			t.Errorf("place %d: %s, want %s", i+1, m.Mark, want[i])
		}
	}
	if !(res.Interest > 0 && res.Interest <= 1) || res.Counts[SuspendedTarget] != 2 || res.Counts[Clutter] != 1 {
		t.Errorf("interest %.3f, counts %v", res.Interest, res.Counts)
	}
	less := &Result{Counts: map[Class]int{}, Marks: res.Marks[3:]}
	rank(less)
	none := &Result{Counts: map[Class]int{}}
	rank(none)
	if !(none.Interest == 0 && none.Interest < less.Interest && less.Interest < res.Interest) {
		t.Errorf("interest: nothing %.3f, a rock %.3f, fish too %.3f", none.Interest, less.Interest, res.Interest)
	}
}

// What is asked for as clutter takes neither names nor places nor interest from the marks that are told.
func TestClutterComesLast(t *testing.T) {
	of := func(c Class, o Odds) MarkRecord {
		return MarkRecord{Class: c, Side: Port, Odds: o, Box: Box{X: 10, Y: 20, W: 8, H: 4}, Highlight: &Box{X: 10, Y: 20, W: 8, H: 4}}
	}
	dull, rock := of(Clutter, Odds{SuspendedTarget: 0.3, Clutter: 0.7}), of(BottomObject, Odds{BottomObject: 0.2, Clutter: 0.4})
	alone := &Result{Counts: map[Class]int{}, Marks: []MarkRecord{rock}}
	nameMarks(alone.Marks)
	rank(alone)
	res := &Result{Counts: map[Class]int{}, Marks: []MarkRecord{of(Clutter, Odds{Clutter: 0.9}), dull, rock}}
	clutterLast(res.Marks)
	nameMarks(res.Marks)
	clutter := res.takeClutter()
	rank(res)
	res.addClutter(clutter)
	if len(res.Marks) != 3 || res.Marks[0].Mark != alone.Marks[0].Mark || res.Marks[0].Class != BottomObject {
		t.Fatalf("%d marks, first %s %s; want the rock under its own name %s", len(res.Marks), res.Marks[0].Mark, res.Marks[0].Class,
			alone.Marks[0].Mark)
	}
	if res.Marks[1].Odds[SuspendedTarget] != 0.3 || res.Counts[Clutter] != 2 || res.Interest != alone.Interest {
		t.Errorf("second of odds %v, %d counted, interest %v, without clutter %v", res.Marks[1].Odds, res.Counts[Clutter], res.Interest,
			alone.Interest)
	}
}

func TestRockFields(t *testing.T) {
	var ms []measured
	for i := range 12 {
		r, k := 100+20*(i/4), 200+20*(i%4)
		h, s := rect(r, r+6, k, k+6), rect(r, r+6, k+6, k+14)
		ms = append(ms, measured{candidate: candidate{highlight: &h, shadow: &s}})
	}
	fields := rockFields(ms)
	if len(fields) != 1 || fields[0].span != (span{100, 146, 200, 266}) {
		t.Errorf("fields %+v, want one around all rocks", fields)
	}
	if fields := rockFields(ms[:7]); len(fields) != 0 {
		t.Errorf("seven rocks made a field: %+v", fields)
	}
	for i := range ms {
		ms[i].highlight.wet = true
	}
	if fields := rockFields(ms); len(fields) != 0 {
		t.Errorf("a school in the water column is a rock field: %+v", fields)
	}
	if compare(ms); ms[5].crowd < 4 || math.Abs(ms[5].standing) > 1e-9 {
		t.Errorf("twelve alike: crowd %d, standing %.2f", ms[5].crowd, ms[5].standing)
	}
}

// Of a field of many stones only what stands out is a mark; in a small one each is that is likelier a stone than nothing.
func TestLostInField(t *testing.T) {
	for _, tt := range []struct {
		name    string
		stones  int
		clutter float64
		larger  bool
		lost    bool
	}{
		{name: "a sure stone of a small field", stones: 12, clutter: 0.2},
		{name: "one that is likelier nothing", stones: 12, clutter: 0.6, lost: true},
		{name: "a sure stone of many", stones: 24, clutter: 0.2, lost: true},
		{name: "the largest of many", stones: 24, clutter: 0.2, larger: true},
	} {
		var ms []measured
		for i := range tt.stones {
			r, k := 100+20*(i/4), 200+20*(i%4)
			h, s := rect(r, r+6, k, k+6), rect(r, r+6, k+6, k+14)
			ms = append(ms, measured{candidate: candidate{highlight: &h, shadow: &s}, odds: Odds{BottomObject: 1 - tt.clutter, Clutter: tt.clutter}})
		}
		if tt.larger {
			ms[5].highlight.area *= 2
		}
		s := &sideView{fields: rockFields(ms)}
		if len(s.fields) != 1 {
			t.Fatalf("%s: %d fields, want one", tt.name, len(s.fields))
		}
		if got := s.lostInField(ms[5]); got != tt.lost {
			t.Errorf("%s: lost %v, want %v", tt.name, got, tt.lost)
		}
	}
}
