package finder

import (
	"math"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// hottest is where an answer of so many cells is hottest for any kind, as detect reads it (what is drawn below is no kind's best example),
// how hot, and the odds that a thing of any kind is there.
func hottest(answer []float32, cells int) (best int, heat float32, some float64) {
	heat = float32(math.Inf(-1))
	for i, v := range answer[:Kinds*cells] {
		if v > heat {
			best, heat = i%cells, v
		}
	}
	for k := range Kinds {
		some += 1 / (1 + math.Exp(-float64(answer[k*cells+best])))
	}
	return best, heat, some
}

// A side of plain bottom with one bright thing and a shadow behind it, in sizes that need not be those of the fit.
func TestFind(t *testing.T) {
	f, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, size := range [][2]int{{256, 384}, {512, 480}, {96, 160}} {
		rows, cols := size[0], size[1]
		n := rows * cols
		planes := make([]uint8, Planes*n)
		seed := uint32(3)
		for i := range n {
			seed = seed*1664525 + 1013904223
			planes[i] = uint8(70 + seed>>24%30)
			planes[n+i] = 255
		}
		for r := 40; r < 56; r++ {
			for k := 60; k < 74; k++ {
				planes[r*cols+k] = 220
			}
			for k := 74; k < 100; k++ {
				planes[r*cols+k] = 10
			}
		}
		out, err := f.Find(planes, rows, cols)
		if err != nil {
			t.Fatalf("%d × %d: %v", rows, cols, err)
		}
		best, heat, some := hottest(out, n/4)
		y, x := best/(cols/2)*2, best%(cols/2)*2
		if heat < -1 || y < 40 || y > 56 || x < 58 || x > 76 {
			t.Errorf("%d × %d: hottest at row %d, column %d with logit %.1f; want the thing at rows 40 to 56, columns 60 to 74", rows, cols,
				y, x, heat)
		}
		if some < 0.5 {
			t.Errorf("%d × %d: odds of %.2f that there is a thing, want 0.5 or more", rows, cols, some)
		}
		again, err := f.Find(planes, rows, cols)
		if err != nil || !slices.Equal(out, again) {
			t.Errorf("%d × %d: another answer for the same side (%v)", rows, cols, err)
		}
	}
	for _, bad := range [][3]int{{0, 32, 0}, {33, 32, Planes * 33 * 32}, {32, 32, 5}} {
		if _, err := f.Find(make([]uint8, bad[2]), bad[0], bad[1]); err == nil {
			t.Errorf("%v was looked at", bad)
		}
	}
}

// A network that is loaded takes its weights once, and ONNX Runtime's own few megabytes: what loading took besides is given back. A process
// of its own loads it, so that nothing was freed before.
func TestLoadedWeightsLieInMemoryOnce(t *testing.T) {
	const alone = "SHADOWGAP_TEST_MEMORY"
	if os.Getenv(alone) == "" {
		cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
		cmd.Env = append(os.Environ(), alone+"=1")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		t.Logf("%s", out)
		return
	}
	before := ownMemory(t)
	f, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	const others = 14 << 20
	took := ownMemory(t) - before
	t.Logf("%d KiB taken for %d KiB of weights", took>>10, len(weights)>>10)
	if took > len(weights)+others {
		t.Errorf("loading took %d KiB, want %d at most", took>>10, (len(weights)+others)>>10)
	}
}

// ownMemory is what this process has written to and holds, in bytes.
func ownMemory(t *testing.T) int {
	t.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("no /proc here to read memory from")
	}
	for line := range strings.Lines(string(status)) {
		if text, ok := strings.CutPrefix(line, "RssAnon:"); ok {
			kib, err := strconv.Atoi(strings.Fields(text)[0])
			if err != nil {
				t.Fatal(err)
			}
			return kib << 10
		}
	}
	t.Skip("this system doesn't tell what a process has written to")
	return 0
}

func BenchmarkFind(b *testing.B) {
	f, err := New()
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	planes := make([]uint8, Planes*512*480)
	for b.Loop() {
		if _, err := f.Find(planes, 512, 480); err != nil {
			b.Fatal(err)
		}
	}
}
