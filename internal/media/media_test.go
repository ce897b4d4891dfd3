package media

import (
	"context"
	"errors"
	"image/jpeg"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"shadowgap/internal/overlay/overlaytest"
)

func TestNamesKeepInsideTheRun(t *testing.T) {
	const hostile = `<img src=x onerror=alert(1)>"'&</script><script>alert(2)</script>.png`
	for _, name := range []string{"../../etc/x.png", "/abs.png", "a\x00b", hostile, strings.Repeat("long/", 200)} {
		m := Of(name, name)
		for _, f := range []string{m.Plain, m.Drawn, m.Thumb, ChipOf(name, name)} {
			if !regexp.MustCompile(`^(overlays|chips)/[0-9a-f]{20}(-plain|-small)?\.jpg$`).MatchString(f) {
				t.Errorf("%q gives %q", name, f)
			}
		}
	}
	if Of("a.png", "1") == Of("a.png", "2") {
		t.Error("two files of one name share their pictures")
	}
}

func TestWrite(t *testing.T) {
	img, capt, marks := overlaytest.Scene("Lake Virrel/leg 0/capture-0000.png", 5)
	dir := t.TempDir()
	if err := Write(t.Context(), dir, img, capt, marks, Options{}); err != nil {
		t.Fatal(err)
	}
	m := Of(capt.Capture, capt.SHA256)
	for name, width := range map[string]int{m.Plain: 800, m.Drawn: 800, m.Thumb: thumbWidth, ChipOf(marks[0].Capture, marks[0].Mark): 320} {
		f, err := os.Open(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		cfg, err := jpeg.DecodeConfig(f)
		f.Close()
		if err != nil || cfg.Width != width {
			t.Errorf("%s: width %d, %v; want %d", name, cfg.Width, err, width)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := Write(ctx, t.TempDir(), img, capt, marks, Options{}); !errors.Is(err, context.Canceled) ||
		!strings.Contains(err.Error(), capt.Capture) {
		t.Errorf("error %v from an ended context; want one that names the capture", err)
	}
}

func BenchmarkWrite(b *testing.B) {
	img, capt, marks := overlaytest.Scene("Lake Virrel/leg 0/capture-0000.png", 5)
	dir := b.TempDir()
	for b.Loop() {
		if err := Write(context.Background(), dir, img, capt, marks, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
