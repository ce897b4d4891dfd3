package features_test

import (
	"runtime"
	"testing"
	"weak"

	"shadowgap/features"
)

func TestArenaUsesMemoryAgain(t *testing.T) {
	a := new(features.Arena)
	first, err := a.Grid(30, 40)
	if err != nil {
		t.Fatal(err)
	}
	first.V[7] = 3
	second, err := a.Grid(30, 40)
	if err != nil {
		t.Fatal(err)
	}
	if &first.V[0] == &second.V[0] {
		t.Fatal("two grids in use share their memory")
	}
	a.Reset()
	again, err := a.Grid(25, 40)
	if err != nil {
		t.Fatal(err)
	}
	if &again.V[0] != &first.V[0] && &again.V[0] != &second.V[0] {
		t.Error("memory of before the reset isn't used again")
	}
	if again.Rows != 25 || again.Cols != 40 || len(again.V) != 1000 {
		t.Errorf("%d × %d with %d values", again.Rows, again.Cols, len(again.V))
	}
	if small, _ := a.Grid(2, 2); cap(small.V) > 16 {
		t.Errorf("a grid of 4 values sits on %d", cap(small.V))
	}
	if m, n := a.Mask(100), a.Mask(100); &m[0] == &n[0] {
		t.Error("two masks in use share their memory")
	}
	if l := a.Labels(5); len(l) != 5 {
		t.Errorf("%d labels, want 5", len(l))
	}
}

func TestArenaReleasesWhatCameAfterAMark(t *testing.T) {
	a := new(features.Arena)
	kept := a.Mask(100)
	m := a.Mark()
	inner := a.Mask(100)
	a.Release(m)
	again := a.Mask(100)
	if &again[0] != &inner[0] {
		t.Error("what was released isn't used again")
	}
	if &again[0] == &kept[0] {
		t.Error("what was handed out before the mark is used again")
	}
	// Released memory was in use in this round, so it stays for the next.
	a.Release(m)
	a.Reset()
	b, c := a.Mask(100), a.Mask(100)
	if &b[0] != &kept[0] && &c[0] != &kept[0] || &b[0] != &inner[0] && &c[0] != &inner[0] {
		t.Error("memory is lost between rounds")
	}
}

// What is not asked for between two resets is given up.
func TestArenaForgets(t *testing.T) {
	a := new(features.Arena)
	large := a.Mask(1000)
	a.Reset()
	a.Mask(10)
	a.Reset()
	if again := a.Mask(1000); &again[0] == &large[0] {
		t.Error("a large mask is kept for ever")
	}
}

func TestArenaRefusesEmptyGrids(t *testing.T) {
	for _, a := range []*features.Arena{nil, new(features.Arena)} {
		for _, size := range [][2]int{{0, 3}, {3, 0}, {-1, 2}} {
			if _, err := a.Grid(size[0], size[1]); err == nil {
				t.Errorf("a grid of %d × %d", size[0], size[1])
			}
		}
	}
}

func TestNilArenaHandsOutNewMemory(t *testing.T) {
	var a *features.Arena
	g, err := a.Grid(2, 3)
	if err != nil || len(g.V) != 6 || len(a.Mask(4)) != 4 || len(a.Labels(5)) != 5 {
		t.Errorf("%v, %v", g, err)
	}
}

// Sides of captures of one kind differ by a few rows or columns.
func TestArenaFitsWhatIsALittleLarger(t *testing.T) {
	a := new(features.Arena)
	first := a.Mask(900 * 850)
	a.Reset()
	if again := a.Mask(900 * 856); &again[0] != &first[0] {
		t.Error("a mask of a few columns more sits on new memory")
	}
	if m := a.Mask(1 << 20); cap(m) > 1<<20+1<<17 {
		t.Errorf("a mask of %d sits on %d", len(m), cap(m))
	}
}

// Captures that are each a little larger than the one before don't lie in memory beside it.
func TestArenaOutgrows(t *testing.T) {
	a := new(features.Arena)
	watched := make([]weak.Pointer[uint8], 3)
	for i, n := range []int{100_000, 60_000, 30_000} {
		watched[i] = weak.Make(&a.Mask(n)[0])
	}
	a.Reset()
	a.Mask(120_000) // takes the place of the largest
	runtime.GC()
	for i, want := range []bool{false, true, true} {
		if kept := watched[i].Value() != nil; kept != want {
			t.Errorf("buffer %d is kept: %v, want %v", i, kept, want)
		}
	}
	a.Mask(29_000) // fits the smallest
	a.Mask(500_000)
	runtime.GC()
	if watched[1].Value() == nil {
		t.Error("a buffer that is far too small made room")
	}
	runtime.KeepAlive(a)
}
