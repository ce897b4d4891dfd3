package palette

import (
	"math"
	"math/rand/v2"
	"testing"
)

// ramps are palettes of this test's own, strength 0..1 to a packed colour.
var ramps = map[string]func(v float64) uint32{
	"grey":   func(v float64) uint32 { return rgb(v, v, v) },
	"copper": func(v float64) uint32 { return rgb(min(1, 1.24*v), 0.78*v, 0.5*v) },
	"green":  func(v float64) uint32 { return rgb(0.8*v*v, v, 0.7*v*v) },
}

func rgb(r, g, b float64) uint32 {
	return uint32(255*r+0.5)<<16 | uint32(255*g+0.5)<<8 | uint32(255*b+0.5)
}

func learned(ramp func(v float64) uint32) *Palette {
	h := NewHistogram()
	for i := range 4096 {
		h.Add(ramp(float64(i) / 4095))
	}
	return Learn(h)
}

func TestLearnOrdersColours(t *testing.T) {
	for name, ramp := range ramps {
		p := learned(ramp)
		if want := name == "grey"; p.Grey() != want || (p.Name() == "grey") != want {
			t.Errorf("%s: grey %v, called %q", name, p.Grey(), p.Name())
		}
		for _, flip := range []bool{false, true} {
			p.SetFlip(flip)
			last := -1.0
			for i := range 65 {
				v := float64(i) / 64
				if flip {
					v = 1 - v
				}
				got, ok := alone(p, ramp(v))
				if !ok || got < 0 || got > 1 {
					t.Fatalf("%s, flip %v: the colour of %.2f has strength %v, on the path %v", name, flip, v, got, ok)
				}
				if float64(got) < last-0.005 {
					t.Errorf("%s, flip %v: strength falls from %.3f to %.3f at %.2f", name, flip, last, got, v)
				}
				last = max(last, float64(got))
			}
			if last < 0.95 {
				t.Errorf("%s, flip %v: the strongest colour has strength %.3f", name, flip, last)
			}
		}
	}
}

// alone is the strength of one colour, and whether it is on the path.
func alone(p *Palette, c uint32) (float32, bool) {
	v, ok := make([]float32, 1), make([]uint8, 1)
	p.Row(v, ok, []uint32{c})
	return v[0], ok[0] == 1
}

func TestLearnNothing(t *testing.T) {
	if p := Learn(NewHistogram()); p != nil {
		t.Errorf("no colours gave %v", p)
	}
}

// Rows of packed colours, of bytes and of single colours say the same, and colours that are none of the palette's are told from it.
func TestRows(t *testing.T) {
	const blue = 0x2040ff
	for name, ramp := range ramps {
		p := learned(ramp)
		var src []uint32
		for i := range 50 {
			src = append(src, ramp(float64(i)/49), ramp(float64(i)/49), blue)
		}
		raw := make([]uint8, 0, 4*len(src))
		for _, c := range src {
			raw = append(raw, uint8(c>>16), uint8(c>>8), uint8(c), 255)
		}
		for _, flip := range []bool{false, true} {
			p.SetFlip(flip)
			dst, ok := make([]float32, len(src)), make([]uint8, len(src))
			fromRaw, rawOK := make([]float32, len(src)), make([]uint8, len(src))
			p.Row(dst, ok, src)
			p.RawRow(fromRaw, rawOK, raw)
			for i, c := range src {
				v, in := alone(p, c)
				if math.Abs(float64(v-dst[i])) > 1e-6 || dst[i] != fromRaw[i] || (ok[i] == 1) != in || ok[i] != rawOK[i] {
					t.Fatalf("%s, flip %v, colour #%06x: %v (%v) alone, %v (%d) in a row, %v (%d) from bytes",
						name, flip, c, v, in, dst[i], ok[i], fromRaw[i], rawOK[i])
				}
				if in != (c != blue) {
					t.Errorf("%s: colour #%06x on the path: %v", name, c, in)
				}
			}
		}
	}
}

func TestDeepRow(t *testing.T) {
	p := learned(ramps["grey"])
	src := []uint16{0, 1, 2048, 4095}
	for _, flip := range []bool{false, true} {
		p.SetFlip(flip)
		dst, ok := make([]float32, len(src)), make([]uint8, len(src))
		p.DeepRow(dst, ok, src, 4)
		for i, v := range src {
			want := float64(v) * 16 / 65535
			if flip {
				want = 1 - want
			}
			if math.Abs(float64(dst[i])-want) > 1e-6 || ok[i] != 1 {
				t.Errorf("flip %v: %d has strength %v (%d), want %.5f", flip, v, dst[i], ok[i], want)
			}
		}
		p.ClearColoured(ok, []uint32{0x808080, 0x80848c, 0x2040ff, 0xffffff})
		if ok[0] != 1 || ok[1] != 1 || ok[2] != 0 || ok[3] != 1 {
			t.Errorf("after colours are cleared: %v", ok)
		}
	}
}

// What nearest leaves out is never what it looks for, on paths that turn back in brightness, too.
func TestNearestLeavesNothingOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 8))
	for trial := range 200 {
		p := &Palette{}
		for range 2 + rng.IntN(30) {
			p.node = append(p.node, unpack(rng.Uint32()>>8))
		}
		p.measureArc()
		for range 50 {
			c := unpack(rng.Uint32() >> 8)
			seg, arc, dist := p.nearest(c)
			want, wantArc, least := 0, 0.0, math.Inf(1)
			for i := range p.segment {
				if a, d := p.segment[i].foot(c); d < least {
					want, wantArc, least = i, a, d
				}
			}
			if seg != want || arc != wantArc || dist != math.Sqrt(least) {
				t.Fatalf("trial %d: %v lies %v from segment %d at %v, want %v from %d at %v", trial, c, dist, seg, arc, math.Sqrt(least), want, wantArc)
			}
		}
	}
}
