package features

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"testing"
)

type componentFixtures struct {
	Source     string
	Components []struct {
		Rows, Cols, Connectivity int
		Mask                     []string
		Labels                   []int32
		Regions                  []struct {
			Box      [4]int // row0, col0, row1, col1
			Area     int
			Centroid [2]float64
		}
	}
	Ellipses []struct {
		Theta, A, B, Area, Major, Minor, Orientation float64
	}
}

func readJSON(t *testing.T, path string, into any) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

// testdata/components.json was written by scikit-image 0.19.3; see testdata/README.md.
func TestComponentsAgreeWithScikitImage(t *testing.T) {
	var fx componentFixtures
	readJSON(t, "testdata/components.json", &fx)
	for i, c := range fx.Components {
		mask := make([]uint8, 0, c.Rows*c.Cols)
		for _, line := range c.Mask {
			for _, ch := range line {
				mask = append(mask, map[rune]uint8{'#': 255, '.': 0}[ch])
			}
		}
		comps, err := Components(mask, c.Rows, c.Cols, Connectivity(c.Connectivity))
		if err != nil {
			t.Fatal(err)
		}
		if len(comps) != len(c.Regions) {
			t.Errorf("case %d: %d components, want %d", i, len(comps), len(c.Regions))
			continue
		}
		for j, want := range c.Regions {
			got := comps[j]
			if got.Label != j+1 || [4]int{got.Row0, got.Col0, got.Row1, got.Col1} != want.Box || got.Area != want.Area {
				t.Errorf("case %d component %d: %+v, want %+v", i, j+1, got, want)
			}
			near(t, "centroid row", got.CentroidRow, want.Centroid[0], 1e-8)
			near(t, "centroid column", got.CentroidCol, want.Centroid[1], 1e-8)
		}
		if c.Labels != nil && !slices.Equal(labelImage(comps, c.Rows, c.Cols), c.Labels) {
			t.Errorf("case %d: labels differ", i)
		}
	}
}

// labelImage paints components into the array of labels that scikit-image gives.
func labelImage(comps []Component, rows, cols int) []int32 {
	out := make([]int32, rows*cols)
	for _, c := range comps {
		for _, run := range c.Runs {
			for col := run.Col0; col < run.Col1; col++ {
				out[run.Row*cols+col] = int32(c.Label)
			}
		}
	}
	return out
}

func TestShapeAgreesWithScikitImage(t *testing.T) {
	var fx componentFixtures
	readJSON(t, "testdata/components.json", &fx)
	for _, e := range fx.Ellipses {
		const rows, cols = 48, 64
		mask := make([]uint8, rows*cols)
		for r := range rows {
			for c := range cols {
				dx, dy := float64(c-32), float64(r-24)
				u := dx*math.Cos(e.Theta) + dy*math.Sin(e.Theta)
				v := -dx*math.Sin(e.Theta) + dy*math.Cos(e.Theta)
				if u*u/(e.A*e.A)+v*v/(e.B*e.B) <= 1 {
					mask[r*cols+c] = 1
				}
			}
		}
		comps, err := Components(mask, rows, cols, Connect4)
		if err != nil || len(comps) != 1 {
			t.Fatalf("%d components, %v", len(comps), err)
		}
		s, err := ShapeOf(comps[0], 1, 1)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "area", s.Area, e.Area, 0)
		// scikit-image takes pixels as points and axes of an ellipse; ours are filled cells and sides of a rectangle.
		near(t, "major axis", 4*math.Sqrt((s.Length*s.Length-1)/12), e.Major, 1e-6)
		near(t, "minor axis", 4*math.Sqrt((s.Width*s.Width-1)/12), e.Minor, 1e-6)
		// Its angle runs from the row axis.
		near(t, "orientation", math.Sin(s.Orientation-(math.Pi/2-e.Orientation)), 0, 1e-6)
		near(t, "fill", s.Fill, math.Pi/3, 0.02)
	}
}

func TestShapeOfRectangleIsExact(t *testing.T) {
	const rows, cols = 9, 30
	mask := make([]uint8, rows*cols)
	for r := 2; r < 6; r++ {
		for c := 5; c < 26; c++ {
			mask[r*cols+c] = 1
		}
	}
	comps, err := Components(mask, rows, cols, Connect8)
	if err != nil {
		t.Fatal(err)
	}
	s, err := ShapeOf(comps[0], 0.5, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "length", s.Length, 2.1, 1e-12)
	near(t, "width", s.Width, 2.0, 1e-12)
	near(t, "fill", s.Fill, 1, 1e-12)
	near(t, "orientation", s.Orientation, 0, 1e-12)
	if _, err := ShapeOf(Component{}, 1, 1); err == nil {
		t.Error("no pixels: no error")
	}
	if _, err := ShapeOf(comps[0], 0, 1); err == nil {
		t.Error("no spacing: no error")
	}
}

func TestComponentsRefuseWrongShapes(t *testing.T) {
	if _, err := Components(make([]uint8, 5), 2, 3, Connect4); err == nil {
		t.Error("wrong length: no error")
	}
	if _, err := Components(make([]uint8, 6), 2, 3, 5); err == nil {
		t.Error("connectivity 5: no error")
	}
}

func TestComponentsOfRunsRefuseDisorder(t *testing.T) {
	for _, runs := range [][]PixelRun{
		{{1, 0, 3}, {0, 0, 3}}, // rows backwards
		{{0, 5, 6}, {0, 0, 3}}, // columns backwards
		{{0, 0, 3}, {0, 2, 5}}, // overlapping
		{{0, 0, 3}, {0, 3, 5}}, // touching: one run
	} {
		if _, err := componentsOfRuns(runs, Connect8); err == nil {
			t.Errorf("%v: no error", runs)
		}
	}
	comps, err := componentsOfRuns([]PixelRun{{0, 0, 2}, {0, 6, 8}, {1, 2, 4}, {3, 2, 3}}, Connect8)
	if err != nil {
		t.Fatal(err)
	}
	// the first and the third meet at a corner; an empty row parts the last from them
	if len(comps) != 3 || comps[0].Area != 4 || comps[1].Area != 2 || comps[2].Area != 1 {
		t.Errorf("%+v", comps)
	}
}

// The sets that hold a seed are those of all sets that do, in the same order.
func TestComponentsAtAreSomeOfAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 4))
	for _, tt := range []struct {
		rows, cols int
		density    float64
		seeds      int
	}{
		{1, 1, 1, 1}, {1, 30, 0.5, 4}, {30, 1, 0.5, 4}, {40, 50, 0.3, 20}, {40, 50, 0.45, 60}, {40, 50, 0.6, 5}, {40, 50, 0.3, 0}, {40, 50, 0, 9},
	} {
		for _, conn := range []Connectivity{Connect4, Connect8} {
			mask := make([]uint8, tt.rows*tt.cols)
			for i := range mask {
				if rng.Float64() < tt.density {
					mask[i] = uint8(1 + rng.IntN(255))
				}
			}
			seeds := make([]int32, tt.seeds)
			seeded := make([]bool, len(mask))
			for i := range seeds {
				seeds[i] = int32(rng.IntN(len(mask)))
				seeded[seeds[i]] = true
			}
			all, err := Components(mask, tt.rows, tt.cols, conn)
			if err != nil {
				t.Fatal(err)
			}
			left := slices.Clone(mask)
			var want []Component
			for _, c := range all {
				if !slices.ContainsFunc(c.Runs, func(r PixelRun) bool {
					return slices.Contains(seeded[r.Row*tt.cols+r.Col0:r.Row*tt.cols+r.Col1], true)
				}) {
					continue
				}
				c.Label = len(want) + 1
				want = append(want, c)
				for _, r := range c.Runs {
					clear(left[r.Row*tt.cols+r.Col0 : r.Row*tt.cols+r.Col1])
				}
			}
			got, err := ComponentsAt(mask, tt.rows, tt.cols, conn, seeds)
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != len(want) || len(want) > 0 && !reflect.DeepEqual(got, want) {
				t.Errorf("%+v, connectivity %d: %d sets, want %d: %+v, want %+v", tt, conn, len(got), len(want), got, want)
			}
			if !slices.Equal(mask, left) {
				t.Errorf("%+v, connectivity %d: more or less is cleared than was found", tt, conn)
			}
		}
	}
}

func TestComponentsAtRefuse(t *testing.T) {
	if _, err := ComponentsAt(make([]uint8, 5), 2, 3, Connect4, nil); err == nil {
		t.Error("wrong length: no error")
	}
	if _, err := ComponentsAt(make([]uint8, 6), 2, 3, 5, nil); err == nil {
		t.Error("connectivity 5: no error")
	}
	for _, seed := range []int32{-1, 6} {
		if _, err := ComponentsAt(make([]uint8, 6), 2, 3, Connect8, []int32{seed}); err == nil {
			t.Errorf("seed %d of 6: no error", seed)
		}
	}
}

func BenchmarkComponents(b *testing.B) {
	const rows, cols = 1080, 1920
	rng := rand.New(rand.NewPCG(4, 4))
	mask := make([]uint8, rows*cols)
	for range 4000 {
		r, c := rng.IntN(rows-6), rng.IntN(cols-10)
		for i := range 5 {
			for j := range 9 {
				mask[(r+i)*cols+c+j] = 1
			}
		}
	}
	for b.Loop() {
		if _, err := Components(mask, rows, cols, Connect8); err != nil {
			b.Fatal(err)
		}
	}
}
