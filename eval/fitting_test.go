package eval

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

func TestFitSeeds(t *testing.T) {
	for _, tt := range []struct {
		first int64
		n     int
		ok    bool
	}{
		{1, 12_000, true}, {99_999, 1, true}, {0, 0, true}, {100_000, 0, true},
		{99_999, 2, false}, {100_000, 1, false}, {100_200, 64, false}, {900_000, 300, false},
		{math.MaxInt64, 1, false}, {-1, 5, false}, {5, -1, false},
	} {
		if err := FitSeeds(tt.first, tt.n); (err == nil) != tt.ok || (err != nil && !errors.Is(err, ErrUnseen)) {
			t.Errorf("%d seeds from %d: %v", tt.n, tt.first, err)
		}
	}
}

func TestFitLabels(t *testing.T) {
	const labels = `{"schema":1,"captures":[
		{"capture":"x/a-1.png","by":"hand","first_return":{"port":null,"starboard":null},"marks":[],"humps":[]},
		{"capture":"x/b-1.png","by":"hand","first_return":{"port":null,"starboard":null},"marks":[],"humps":[]}]}`
	for _, tt := range []struct {
		name, halves string
		want         []string // nil = refused
	}{
		{"parted", `{"a":["x/a-*"],"b":["x/b-*"]}`, []string{"x/a-1.png"}},
		{"in none", `{"a":["x/a-*"],"b":[]}`, nil},
		{"in both", `{"a":["x/*"],"b":["x/b-*"]}`, nil},
	} {
		dir := t.TempDir()
		for name, text := range map[string]string{"labels.json": labels, "halves.json": tt.halves} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		l, err := FitLabels(dir)
		if tt.want == nil {
			if !errors.Is(err, ErrUnseen) {
				t.Errorf("%s: %v", tt.name, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("%s: %v", tt.name, err)
		}
		var got []string
		for _, c := range l.Captures {
			got = append(got, c.Capture)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// The labels that are committed: every capture has its half, and what may be fitted on is half A as written down before any fit.
func TestFitLabelsOfTheOpenPictures(t *testing.T) {
	const dir = "../testdata/open"
	l, err := FitLabels(dir)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Half(filepath.Join(dir, "halves.json"), "b")
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Captures) != 60 {
		t.Errorf("%d captures may be fitted on, want 60 of 107", len(l.Captures))
	}
	for _, c := range l.Captures {
		if b(c.Capture) {
			t.Errorf("%s is of half B", c.Capture)
		}
	}
}

// What may be fitted on is what TileAgreement calls the first half.
func TestFitTiles(t *testing.T) {
	names := []string{"c.png", "a.png", "e.png", "b.png", "d.png"}
	var tiles []Tile
	for _, n := range names {
		tiles = append(tiles, Tile{Name: n, Mask: *box(0, 0, 5, 5)})
	}
	got := FitTiles(names)
	if want := TileAgreement(tiles, quick()).First.Missing; !slices.Equal(got, want) {
		t.Errorf("%v may be fitted on, first half %v", got, want)
	}
	if names[0] != "c.png" {
		t.Error("the caller's list was sorted")
	}
}
