package pixels

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"io"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const rows, cols = 288, 512 // as the reader sees captures

// opencvs is Debian's OpenCV resizing 8-bit colour pictures that come one after the other: height, width, kernel (1 linear, 3 area; the
// numbers of its own constants), then the pixels.
const opencvs = `
import struct, sys, cv2, numpy as np
cv2.setNumThreads(1)
while head := sys.stdin.buffer.read(12):
    h, w, kernel = struct.unpack("<3I", head)
    a = np.frombuffer(sys.stdin.buffer.read(3 * h * w), np.uint8).reshape(h, w, 3)
    sys.stdout.buffer.write(cv2.resize(a, (%d, %d), interpolation=kernel).transpose(2, 0, 1).tobytes())
    sys.stdout.buffer.flush()
`

// resizer starts OpenCV; what it returns resizes a picture with one of its kernels, to planes.
func resizer(t *testing.T) func(p *Picture, kernel uint32) []uint8 {
	t.Helper()
	python, err := exec.CommandContext(t.Context(), filepath.Join("..", "..", "scripts", "python-with-vision.sh")).Output()
	if err != nil {
		t.Skip("no Python with OpenCV here; scripts/setup.sh clients installs it")
	}
	cmd := exec.CommandContext(context.WithoutCancel(t.Context()), strings.TrimSpace(string(python)), "-c", fmt.Sprintf(opencvs, cols, rows))
	to, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	from, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := to.Close(); err != nil {
			t.Error(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Error(err)
		}
	})
	return func(p *Picture, kernel uint32) []uint8 {
		t.Helper()
		var b bytes.Buffer
		for _, v := range []uint32{uint32(p.H), uint32(p.W), kernel} {
			b.Write(binary.LittleEndian.AppendUint32(nil, v))
		}
		row := make([]uint32, p.W)
		for y := range p.H {
			p.Read(row, 0, y)
			for _, c := range row {
				b.Write([]byte{byte(c >> 16), byte(c >> 8), byte(c)})
			}
		}
		if _, err := to.Write(b.Bytes()); err != nil {
			t.Fatal(err)
		}
		planes := make([]uint8, channels*rows*cols)
		if _, err := io.ReadFull(from, planes); err != nil {
			t.Fatal(err)
		}
		return planes
	}
}

const linear, area = 1, 3

// What is shrunk is, byte for byte, what OpenCV makes of it: noise, and patterns of few values whose means often lie in the middle
// between two, where rounding decides. Whole numbers of pixels a cell, which OpenCV rounds in another way, and what is enlarged may
// differ by one.
func TestPlanesAreOpenCVs(t *testing.T) {
	resized := resizer(t)
	rng := rand.New(rand.NewPCG(17, 4))
	for _, tt := range []struct {
		w, h   int
		kernel uint32
		off    int // by how much a byte may differ
	}{
		{w: 1920, h: 1080, kernel: area}, {w: 1280, h: 800, kernel: area}, {w: 1366, h: 768, kernel: area}, {w: 513, h: 289, kernel: area},
		{w: 800, h: 480, kernel: area}, {w: 1600, h: 300, kernel: area}, {w: 700, h: 1500, kernel: area}, {w: 4000, h: 3000, kernel: area},
		{w: 1024, h: 768, kernel: area}, {w: 512, h: 300, kernel: area}, {w: 600, h: 576, kernel: area}, {w: 1536, h: 700, kernel: area},
		{w: 1100, h: 288, kernel: area},
		{w: 512, h: 288, kernel: area}, {w: 1024, h: 576, kernel: area, off: 1}, {w: 2560, h: 1440, kernel: area, off: 1},
		{w: 256, h: 256, kernel: linear, off: 1}, {w: 190, h: 256, kernel: linear, off: 1}, {w: 48, h: 61, kernel: linear, off: 1},
		{w: 511, h: 287, kernel: linear, off: 1},
	} {
		for name, pixel := range map[string]func(x, y int) uint8{
			"noise":   func(int, int) uint8 { return uint8(rng.Uint32()) },
			"checks":  func(x, y int) uint8 { return uint8((x + y) % 2) },
			"stripes": func(x, y int) uint8 { return uint8(x/2%2*3 + y%2) },
			"white":   func(int, int) uint8 { return 255 },
		} {
			m := image.NewRGBA(image.Rect(0, 0, tt.w, tt.h))
			colour := image.NewYCbCr(m.Rect, image.YCbCrSubsampleRatio420)
			for y := range tt.h {
				for x := range tt.w {
					at := m.PixOffset(x, y)
					m.Pix[at], m.Pix[at+1], m.Pix[at+2], m.Pix[at+3] = pixel(x, y), pixel(x+1, y), pixel(x, y+1), 255
					colour.Y[colour.YOffset(x, y)], colour.Cb[colour.COffset(x, y)], colour.Cr[colour.COffset(x, y)] =
						pixel(x, y), 128+pixel(x, y)/8, 120
				}
			}
			for _, img := range []image.Image{m, colour} {
				px, got := New(img), make([]uint8, channels*rows*cols)
				px.Planes(got, rows, cols)
				differ, most := 0, 0
				for i, v := range resized(px, tt.kernel) {
					if d := int(got[i]) - int(v); d != 0 {
						differ++
						most = max(most, d, -d)
					}
				}
				if most > tt.off {
					t.Errorf("%s of %d × %d as %T: %d of %d bytes differ, by up to %d", name, tt.w, tt.h, img, differ, len(got), most)
				}
			}
		}
	}
}

// Sizes that are shrunk in one direction and enlarged in the other, and pictures too large for shrink, keep their mean and their halves.
func TestPlanesOfOddSizes(t *testing.T) {
	for _, size := range [][2]int{{400, 900}, {900, 200}, {5001, 4000}, {1, 1}, {3, 2000}} {
		w, h := size[0], size[1]
		m := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				m.Pix[m.PixOffset(x, y)] = 40
				if x >= w/2 {
					m.Pix[m.PixOffset(x, y)] = 200
				}
			}
		}
		got := make([]uint8, channels*rows*cols)
		New(m).Planes(got, rows, cols)
		for c := range channels {
			row := got[(c*rows+rows/2)*cols:][:cols]
			left, right := uint8(40), uint8(200)
			if w == 1 {
				left = right
			}
			if row[20] != left || row[cols-20] != right {
				t.Errorf("%d × %d, plane %d: %d on the left and %d on the right, want %d and %d", w, h, c, row[20], row[cols-20], left, right)
			}
		}
	}
}

func BenchmarkPlanes(b *testing.B) {
	for name, size := range map[string]image.Rectangle{"shrunk": image.Rect(0, 0, 1920, 1080), "enlarged": image.Rect(0, 0, 256, 256)} {
		m := image.NewRGBA(size)
		for i := range m.Pix {
			m.Pix[i] = uint8(i * 2654435761 >> 13)
		}
		px, planes := New(m), make([]uint8, channels*rows*cols)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				px.Planes(planes, rows, cols)
			}
		})
	}
}
