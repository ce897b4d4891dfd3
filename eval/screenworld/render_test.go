package screenworld

import (
	"context"
	"errors"
	"image"
	"reflect"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// render draws a seed's capture.
func render(t *testing.T, seed int64) *Capture {
	t.Helper()
	c, err := Render(t.Context(), seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// smallSeeds are the first n seeds whose pictures are small and fit a condition.
func smallSeeds(n int, fits func(plan) bool) []int64 {
	var out []int64
	for seed := int64(1); len(out) < n; seed++ {
		if p := planOf(seed); p.w*p.h < 800*700 && fits(p) {
			out = append(out, seed)
		}
	}
	return out
}

func anyPlan(plan) bool { return true }

func TestSameSeedSamePicture(t *testing.T) {
	for _, seed := range smallSeeds(2, func(p plan) bool { return len(p.main.kinds) > 3 }) {
		a, b := render(t, seed), render(t, seed)
		if !reflect.DeepEqual(a.Label, b.Label) {
			t.Errorf("seed %d: labels differ", seed)
		}
		if !reflect.DeepEqual(a.Image, b.Image) {
			t.Errorf("seed %d: pictures differ", seed)
		}
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Render(ctx, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want a cancelled context's error", err)
	}
}

func TestLabelsLieInside(t *testing.T) {
	marks := 0
	for _, seed := range smallSeeds(16, anyPlan) {
		c := render(t, seed)
		l := &c.Label
		if l.By != "scene" || l.RangeM <= 0 || l.Palette == "" {
			t.Errorf("seed %d: by %q, range %g, palette %q", seed, l.By, l.RangeM, l.Palette)
		}
		if !l.Panel.Rect().In(c.Image.Bounds()) || l.Panel.Rect().Empty() {
			t.Fatalf("seed %d: panel %v in picture %v", seed, *l.Panel, c.Image.Bounds())
		}
		checkFurther(t, seed, c)
		for _, f := range l.Furniture {
			within(t, seed, "furniture "+f.Kind, f.Box, l)
		}
		for _, g := range l.Regions {
			within(t, seed, "region "+g.Kind, g.Box, l)
		}
		for _, m := range l.Marks {
			marks++
			within(t, seed, m.Kind, *m.Highlight, l)
			if m.Shadow != nil {
				within(t, seed, m.Kind+"'s shadow", *m.Shadow, l)
			}
		}
		checkProfiles(t, seed, l)
	}
	if marks == 0 {
		t.Error("no marks at all")
	}
}

func within(t *testing.T, seed int64, what string, b detect.Box, l *eval.CaptureLabel) {
	t.Helper()
	if b.Rect().Empty() || !b.Rect().In(l.Panel.Rect()) {
		t.Errorf("seed %d: %s at %v, panel %v", seed, what, b, *l.Panel)
	}
}

// checkProfiles wants the nadir inside the panel, first returns outward from it, and only those of sides in view.
func checkProfiles(t *testing.T, seed int64, l *eval.CaptureLabel) {
	t.Helper()
	left, right := float64(l.Panel.X)-0.5, float64(l.Panel.X+l.Panel.W)-0.5
	for _, q := range l.Nadir {
		if q[1] < left || q[1] > right || q[0] < float64(l.Panel.Y) || q[0] >= float64(l.Panel.Y+l.Panel.H) {
			t.Errorf("seed %d: nadir at %v, panel %v", seed, q, *l.Panel)
		}
		for _, y := range l.LostRows {
			if q[0] >= float64(y[0]) && q[0] < float64(y[1]) {
				t.Errorf("seed %d: nadir in lost row %g", seed, q[0])
			}
		}
	}
	if p := planOf(seed); p.main.corrected && len(l.FirstReturn.Port)+len(l.FirstReturn.Starboard) > 0 {
		t.Errorf("seed %d: first return of a slant-corrected record", seed)
	}
	if len(l.Nadir) == 0 {
		return
	}
	checkEnds(t, seed, l)
	x := l.Nadir[0][1]
	for _, q := range l.FirstReturn.Port {
		if q[1] >= x || l.Side == detect.Starboard {
			t.Errorf("seed %d: port's first return at %v, nadir at %g, side %q", seed, q, x, l.Side)
		}
	}
	for _, q := range l.FirstReturn.Starboard {
		if q[1] <= x || l.Side == detect.Port {
			t.Errorf("seed %d: starboard's first return at %v, nadir at %g, side %q", seed, q, x, l.Side)
		}
	}
}

// TestShadowsLieBehind wants a shadow's far edge no nearer to the nadir than its highlight's, and its middle farther.
func TestShadowsLieBehind(t *testing.T) {
	shadows := 0
	for _, seed := range smallSeeds(12, func(p plan) bool { return len(p.main.kinds) > 4 && p.menus == 0 }) {
		c := render(t, seed)
		for _, m := range c.Label.Marks {
			if m.Shadow == nil {
				continue
			}
			shadows++
			h, s := m.Highlight, m.Shadow
			out := s.X + s.X + s.W - (h.X + h.X + h.W)
			far := s.X + s.W - (h.X + h.W)
			if m.Side == detect.Port {
				out, far = -out, h.X-s.X
			}
			if out <= 0 || far < 0 {
				t.Errorf("seed %d: %s on %s, highlight %v, shadow %v", seed, m.Kind, m.Side, *h, *s)
			}
		}
	}
	if shadows < 10 {
		t.Errorf("%d shadows only", shadows)
	}
}

func TestOneSidedIsLabelled(t *testing.T) {
	for want, side := range map[detect.Side]sides{detect.Port: onlyPort, detect.Starboard: onlyStarboard} {
		for _, seed := range smallSeeds(2, func(p plan) bool { return p.main.side == side }) {
			if c := render(t, seed); c.Label.Side != want {
				t.Errorf("seed %d: side %q, want %q", seed, c.Label.Side, want)
			}
		}
	}
}

// TestHangingThingsAreSuspended wants every fish and school off the bottom and of the class for it, and nothing else.
func TestHangingThingsAreSuspended(t *testing.T) {
	for _, seed := range smallSeeds(8, func(p plan) bool { return len(p.main.kinds) > 5 }) {
		for _, m := range render(t, seed).Label.Marks {
			hangs := m.Kind == "fish" || m.Kind == "school"
			if hangs != (m.Class == detect.SuspendedTarget) || hangs != (m.OffBottomM != nil) {
				t.Errorf("seed %d: %s is a %s, off the bottom: %t", seed, m.Kind, m.Class, m.OffBottomM != nil)
			}
		}
	}
}

func TestPlansVary(t *testing.T) {
	const n = 200
	seen := map[string]int{}
	empty := 0
	for seed := int64(1); seed <= n; seed++ {
		p := planOf(seed)
		seen["layout "+p.layout.name]++
		seen["nadir "+string(rune('0'+p.main.nadir))]++
		seen["side "+string(rune('0'+p.main.side))]++
		for _, k := range p.main.kinds {
			seen[k]++
		}
		for _, k := range append(p.main.textures, p.main.faults...) {
			seen[k]++
		}
		if p.main.corrected {
			seen["corrected"]++
		}
		if p.fill < 1 {
			seen["filling"]++
		}
		if len(p.main.kinds) == 0 {
			empty++
		}
		if p.w < 450 || p.w > 1920 || p.h < 300 || p.h > 1200 {
			t.Errorf("seed %d: %d by %d pixels", seed, p.w, p.h)
		}
	}
	want := []string{"corrected", "filling", "side 0", "side 1", "side 2"}
	for _, o := range thingOdds {
		want = append(want, o.kind)
	}
	for _, l := range layouts {
		want = append(want, "layout "+l.name)
	}
	for k := range nadirStyles {
		want = append(want, "nadir "+string(rune('0'+k)))
	}
	for _, k := range append(append(want, textureKinds...), faultKinds...) {
		if seen[k] == 0 {
			t.Errorf("%s never occurs in %d plans", k, n)
		}
	}
	if empty < n/8 || empty > n*3/10 {
		t.Errorf("%d of %d captures without things, want one in five", empty, n)
	}
}

// TestLayoutsLeaveTheRecordRoom wants panes beside the record, not over it, and the record large enough.
func TestLayoutsLeaveTheRecordRoom(t *testing.T) {
	r := randomOf(1, streamScreen)
	for _, l := range layouts {
		for _, size := range [][2]int{{480, 320}, {1920, 1200}, {560, 960}} {
			screen := image.Rect(0, 0, size[0], size[1])
			main, panes := arranged(r, l, screen, 5)
			if main.Dx() < leastRecord || main.Dy() < leastRecord || !main.In(screen) {
				t.Errorf("%s on %v: record %v", l.name, size, main)
			}
			for _, p := range panes {
				if p.rect.Overlaps(main) || !p.rect.In(screen) {
					t.Errorf("%s on %v: pane %v, record %v", l.name, size, p.rect, main)
				}
			}
		}
	}
}

func BenchmarkRender(b *testing.B) {
	for i := range b.N {
		if _, err := Render(b.Context(), int64(i+1)); err != nil {
			b.Fatal(err)
		}
	}
}

// checkFurther looks at further panels: they lie beside the first and tell what they show.
func checkFurther(t *testing.T, seed int64, c *Capture) {
	t.Helper()
	for _, p := range c.Label.Panels {
		if !p.Box.Rect().In(c.Image.Bounds()) || p.Box.Rect().Overlaps(c.Label.Panel.Rect()) {
			t.Errorf("seed %d: further panel %v beside %v", seed, p.Box, *c.Label.Panel)
		}
		if p.Own == nil || len(p.Own.Nadir) == 0 {
			t.Fatalf("seed %d: what further panel %v shows isn't told", seed, p.Box)
		}
		for _, n := range p.Own.Nadir {
			if b := p.Box; n[0] < float64(b.Y) || n[0] >= float64(b.Y+b.H) || n[1] < float64(b.X)-0.5 || n[1] > float64(b.X+b.W)-0.5 {
				t.Errorf("seed %d: nadir %v of further panel %v", seed, n, b)
			}
		}
	}
}

// checkEnds looks whether the nadir is told from a panel's first row to its last: what lies beyond counts as not drawn yet.
func checkEnds(t *testing.T, seed int64, l *eval.CaptureLabel) {
	t.Helper()
	first, last := l.Nadir[0][0], l.Nadir[len(l.Nadir)-1][0]
	if len(l.LostRows) == 0 && (first != float64(l.Panel.Y) || last != float64(l.Panel.Y+l.Panel.H-1)) {
		t.Errorf("seed %d: nadir in rows %g to %g of panel %v", seed, first, last, *l.Panel)
	}
}
