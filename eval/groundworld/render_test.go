package groundworld

import (
	"bytes"
	"context"
	"image"
	"reflect"
	"sync"
	"testing"

	"shadowgap/detect"
)

// rendered are captures that the tests share, by seed.
var rendered = sync.OnceValue(func() map[int64]*Capture {
	list := map[int64]*Capture{}
	for seed := range int64(24) {
		c, err := Render(context.Background(), seed)
		if err != nil {
			panic(err)
		}
		list[seed] = c
	}
	return list
})

func TestSameSeedSamePicture(t *testing.T) {
	for _, seed := range []int64{3, 12, 16} {
		again, err := Render(context.Background(), seed)
		if err != nil {
			t.Fatal(err)
		}
		first := rendered()[seed]
		if !reflect.DeepEqual(first.Label, again.Label) {
			t.Errorf("seed %d: labels differ", seed)
		}
		if !bytes.Equal(pixelsOf(first.Image), pixelsOf(again.Image)) {
			t.Errorf("seed %d: pictures differ", seed)
		}
	}
}

func pixelsOf(img image.Image) []byte {
	switch m := img.(type) {
	case *image.YCbCr:
		return append(append(append([]byte{}, m.Y...), m.Cb...), m.Cr...)
	case *image.RGBA:
		return m.Pix
	case *image.NRGBA:
		return m.Pix
	}
	panic("a picture of another kind")
}

func TestStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Render(ctx, 1); err == nil {
		t.Error("no error from an ended context")
	}
}

func TestLabelsInsidePanel(t *testing.T) {
	for seed, c := range rendered() {
		panel := c.Label.Panel.Rect()
		if b := c.Image.Bounds(); !panel.In(b) || b.Dx() > 1600 || b.Dy() > 1600 {
			t.Errorf("seed %d: panel %v in a picture %v", seed, panel, b)
		}
		for _, m := range c.Label.Marks {
			if m.Highlight == nil && m.Shadow == nil || m.Sure == nil {
				t.Errorf("seed %d: an empty mark of %s", seed, m.Kind)
			}
			for _, b := range []*detect.Box{m.Highlight, m.Shadow} {
				if b != nil && (b.W <= 0 || b.H <= 0 || !b.Rect().In(panel)) {
					t.Errorf("seed %d: %s has box %v beyond panel %v", seed, m.Kind, *b, panel)
				}
			}
		}
		for _, r := range c.Label.Regions {
			if !r.Box.Rect().In(panel) {
				t.Errorf("seed %d: region %v beyond panel %v", seed, r, panel)
			}
		}
		for _, path := range [][]detect.RowX{c.Label.Nadir, c.Label.FirstReturn.Port, c.Label.FirstReturn.Starboard} {
			for _, at := range path {
				if !image.Pt(int(at[1]), int(at[0])).In(panel) {
					t.Errorf("seed %d: point %v beyond panel %v", seed, at, panel)
				}
			}
		}
	}
}

// TestShadowsLieOutward: a shadow ends farther out than its highlight; what stands taller than the transducer or crosses the axis of
// its own side may differ by little.
func TestShadowsLieOutward(t *testing.T) {
	both, wrong := 0, 0
	for _, c := range rendered() {
		for _, m := range c.Label.Marks {
			if m.Highlight == nil || m.Shadow == nil {
				continue
			}
			both++
			h, s := m.Highlight, m.Shadow
			inward := h.X+h.W > s.X+s.W+2
			if m.Side == detect.Port {
				inward = h.X < s.X-2
			}
			if inward {
				wrong++
				t.Logf("%s: highlight %v, shadow %v on %s", m.Kind, *h, *s, m.Side)
			}
		}
	}
	if both < 20 || wrong*10 > both {
		t.Errorf("%d of %d shadows end nearer than their highlights", wrong, both)
	}
}

func TestSidesNamed(t *testing.T) {
	for seed, c := range rendered() {
		l := &c.Label
		switch newPlan(seed).frame {
		case wholeSwath:
			if l.Side != "" || len(l.Nadir) == 0 || len(l.FirstReturn.Port) == 0 || len(l.FirstReturn.Starboard) == 0 {
				t.Errorf("seed %d: a whole swath with side %q, %d points of nadir", seed, l.Side, len(l.Nadir))
			}
		case oneSide:
			port, starboard := len(l.FirstReturn.Port) > 0, len(l.FirstReturn.Starboard) > 0
			if len(l.Nadir) == 0 || port != (l.Side == detect.Port) || starboard != (l.Side == detect.Starboard) {
				t.Errorf("seed %d: side %q with first returns %v, %v", seed, l.Side, port, starboard)
			}
		case tile:
			if l.Side == "" || l.Nadir != nil || l.FirstReturn.Port != nil || l.FirstReturn.Starboard != nil {
				t.Errorf("seed %d: a tile with side %q and paths", seed, l.Side)
			}
		}
		for _, m := range l.Marks {
			if m.Side == "" || l.Side != "" && m.Side != l.Side {
				t.Errorf("seed %d: %s on %q of a picture of %q", seed, m.Kind, m.Side, l.Side)
			}
		}
	}
}

func TestPlansVary(t *testing.T) {
	const n = 1200
	kinds, grounds, frames := map[string]int{}, map[string]int{}, map[frame]int{}
	empty := 0
	for seed := range int64(n) {
		p := newPlan(seed)
		frames[p.frame]++
		if len(p.kinds) == 0 {
			empty++
		}
		for _, k := range p.kinds {
			kinds[k]++
		}
		for _, k := range p.grounds {
			grounds[k]++
		}
		if len(p.kinds) > 16 {
			t.Errorf("seed %d: %d things", seed, len(p.kinds))
		}
	}
	if empty < n*16/100 || empty > n*24/100 {
		t.Errorf("%d of %d captures are empty, not one in five", empty, n)
	}
	if frames[wholeSwath] < n*45/100 || frames[oneSide] < n*20/100 || frames[tile] < n*20/100 {
		t.Errorf("frames: %v", frames)
	}
	for _, r := range recipes {
		if kinds[r.kind] < 20 {
			t.Errorf("%d of kind %s in %d captures", kinds[r.kind], r.kind, n)
		}
	}
	for _, k := range groundKinds {
		if grounds[k] < 20 {
			t.Errorf("%d bottoms with %s in %d captures", grounds[k], k, n)
		}
	}
}

func TestEmptyHoldNothing(t *testing.T) {
	for seed, c := range rendered() {
		if len(newPlan(seed).kinds) == 0 && len(c.Label.Marks) > 0 {
			t.Errorf("seed %d: %d marks in an empty capture", seed, len(c.Label.Marks))
		}
	}
}

// TestFirstReturnOverLevelBottom: over a level bottom the first return is the altitude.
func TestFirstReturnOverLevelBottom(t *testing.T) {
	p := newPlan(3)
	p.frame, p.side, p.grounds, p.kinds, p.reliefM, p.climb, p.heave = oneSide, detect.Starboard, nil, nil, 0, 0, 0
	w := layGround(p)
	w.sail()
	s := newSounding(w, 1)
	s.soundAll(s.natural, true)
	for ping, slant := range s.first {
		if d := slant - p.altM; d < -1e-3 || d > p.binM {
			t.Fatalf("ping %d: first return at %.3f m over a bottom %.3f m below", ping, slant, p.altM)
		}
	}
}

func TestGapOverLevelBottom(t *testing.T) {
	w := &world{plan: &plan{altM: 10}}
	if up := w.overGap(20, 3, 0); w.gapOf(20, up) < 2.99 || w.gapOf(20, up) > 3.01 {
		t.Errorf("a gap of %.3f m, want 3", w.gapOf(20, up))
	}
}

func BenchmarkRender(b *testing.B) {
	seed := int64(0)
	for b.Loop() {
		if _, err := Render(context.Background(), seed%40); err != nil {
			b.Fatal(err)
		}
		seed++
	}
}
