package frame

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"shadowgap/detect/pixels"
	"shadowgap/models/reader"
)

// BenchmarkCopies1080p is what looking for a second drawing of the record costs where there is none.
func BenchmarkCopies1080p(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	img := image.NewNRGBA(image.Rect(0, 0, 1920, 1080))
	for i := range 1920 * 1080 {
		v := 0.25 * math.Sqrt(2*rng.ExpFloat64())
		switch r := math.Abs(float64(i%1920) - 960); {
		case r < 3:
			v = 0.85 + 0.1*rng.Float64()
		case r < 200:
			v *= 0.1
		}
		k := uint8(255 * min(1, v))
		copy(img.Pix[4*i:], []uint8{k, k, k, 255})
	}
	v, err := look(pixels.New(img), Options{})
	if err != nil {
		b.Fatal(err)
	}
	inside := make([]uint8, reader.Rows*reader.Cols)
	for i := range inside {
		inside[i] = 1
	}
	c := components(inside)[0]
	for b.Loop() {
		if found := v.copies(c, img.Rect); found != nil {
			b.Fatalf("copies at %v", found)
		}
	}
}
