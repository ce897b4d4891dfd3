package detect

import (
	"context"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestLayouts(t *testing.T) {
	ctx := context.Background()
	name := filepath.Join(t.TempDir(), "layout.json")
	first := Layout{Width: 1280, Height: 720, Panel: &Box{X: 10, Y: 20, W: 800, H: 600}}
	second := Layout{Width: 640, Height: 480, NadirX: 320, Side: Port, Strong: Dark}
	again := Layout{Width: 1280, Height: 720, Panel: &Box{X: 0, Y: 40, W: 1280, H: 600}, NadirX: 640}
	for _, l := range []Layout{first, second, again} {
		if err := RememberLayout(ctx, name, l); err != nil {
			t.Fatal(err)
		}
	}
	all, err := ReadLayouts(ctx, name)
	if err != nil {
		t.Fatal(err)
	}
	if len(all.Layouts) != 2 {
		t.Fatalf("%d layouts, want one a screen size: %+v", len(all.Layouts), all.Layouts)
	}
	if left, _ := filepath.Glob(name + ".new-*"); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
	for _, tt := range []struct {
		name string
		opt  Options
		size image.Point
		want Options
	}{
		{"its size", Options{}, image.Pt(1280, 720), Options{Panel: image.Rect(0, 40, 1280, 640), NadirX: 640}},
		{"another size", Options{}, image.Pt(1281, 720), Options{}},
		{"a side", Options{}, image.Pt(640, 480), Options{NadirX: 320, Side: Port, Strong: Dark}},
		{"said for this capture", Options{NadirX: 100, Side: Starboard, Strong: Bright}, image.Pt(640, 480),
			Options{NadirX: 100, Side: Starboard, Strong: Bright}},
	} {
		tt.opt.Layouts = all.Layouts
		got := tt.opt.withLayout(tt.size)
		if got.Panel != tt.want.Panel || got.NadirX != tt.want.NadirX || got.Side != tt.want.Side || got.Strong != tt.want.Strong {
			t.Errorf("%s: panel %v, nadir %v, side %q, strong %q; want %v, %v, %q, %q", tt.name, got.Panel, got.NadirX, got.Side, got.Strong,
				tt.want.Panel, tt.want.NadirX, tt.want.Side, tt.want.Strong)
		}
	}
}

func TestLayoutFaults(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	for _, tt := range []struct{ name, text, want string }{
		{"text", "hello", "invalid character"},
		{"a list", `[1]`, `"the file" can't be a JSON array`},
		{"a word for a number", `{"schema":1,"layouts":[{"width":"wide","height":100}]}`, `"layouts.width" can't be a JSON string`},
		{"schema", `{"schema":9}`, "schema 9"},
		{"outside", `{"schema":1,"layouts":[{"width":100,"height":100,"panel":{"x":50,"y":0,"w":60,"h":10}}]}`, "doesn't lie inside"},
		{"no such display", `{"schema":1,"layouts":[{"width":100,"height":100,"strong":"loud"}]}`, "neither dark nor bright"},
		{"no size", `{"schema":1,"layouts":[{"width":0,"height":100}]}`, "must be positive"},
		{"nadir", `{"schema":1,"layouts":[{"width":100,"height":100,"nadir":300}]}`, "nadir"},
		{"side", `{"schema":1,"layouts":[{"width":100,"height":100,"side":"left"}]}`, "neither"},
	} {
		name := filepath.Join(dir, "x.json")
		if err := os.WriteFile(name, []byte(tt.text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadLayouts(ctx, name); err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: error %v, want one that names the file and says %q", tt.name, err, tt.want)
		}
	}
	if _, err := ReadLayouts(ctx, filepath.Join(dir, "none.json")); err == nil {
		t.Error("a missing file was read")
	}
}
