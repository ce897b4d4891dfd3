package survey

import (
	"image"
	"image/draw"
)

// Tiles in which flat ground is looked for. Lines of text are wide and low, so a tile is judged with its neighbours left
// and right.
const (
	tileW, tileH = 16, 8
	tileReach    = 3   // neighbours on either side
	flatLevels   = 10  // grey levels either way that still count as the ground's own
	flatShare    = 0.5 // of the pixels around that must be ground
	strongShare  = 0.6 // pixels of more than half the letters' contrast for each one between them and the ground
	inkContrast  = 48  // grey levels that letters stand out at least
)

// textPage turns a capture into a page for a reader of text: dark letters on white. Letters stand on flat ground, a bar or
// plain water; speckle doesn't, and left in, it would be read as thousands of letters for minutes on end. Whatever is not on flat
// ground becomes white. Text drawn right over the bottom is lost.
func textPage(img image.Image) *image.Gray {
	b := img.Bounds()
	grey := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	draw.Draw(grey, grey.Bounds(), img, b.Min, draw.Src)
	page := image.NewGray(grey.Bounds())
	for i := range page.Pix {
		page.Pix[i] = 255
	}
	across := (b.Dx() + tileW - 1) / tileW
	for y := 0; y < b.Dy(); y += tileH {
		tiles := make([][256]int, across)
		bottom := min(y+tileH, b.Dy())
		for yy := y; yy < bottom; yy++ {
			for x, v := range grey.Pix[yy*grey.Stride : yy*grey.Stride+b.Dx()] {
				tiles[x/tileW][v]++
			}
		}
		for t := range tiles {
			ground, ink, ok := letters(tiles[max(t-tileReach, 0):min(t+tileReach+1, across)])
			if !ok {
				continue
			}
			for yy := y; yy < bottom; yy++ {
				for x := t * tileW; x < min((t+1)*tileW, b.Dx()); x++ {
					// In proportion, so that soft edges stay soft: a hardened 0 reads as an 8.
					d := contrast(grey.Pix[yy*grey.Stride+x], ground)
					page.Pix[yy*page.Stride+x] = uint8(255 - 255*min(d, ink)/ink)
				}
			}
		}
	}
	return page
}

// letters says whether some tiles can hold letters on flat ground, and returns the ground's grey level and the contrast of
// the letters: what all but one pixel in a hundred stay below. Letters are either ink or ground, with few levels between;
// dark speckle has flat ground too, but its levels thin out steadily.
func letters(tiles [][256]int) (level, ink int, ok bool) {
	var all [256]int
	total := 0
	for _, t := range tiles {
		for v, n := range t {
			all[v] += n
			total += n
		}
	}
	sum, best := 0, -1
	for v := -flatLevels; v < 256; v++ { // v is the middle of a sliding window
		if in := v + flatLevels; in < 256 {
			sum += all[in]
		}
		if out := v - flatLevels - 1; out >= 0 {
			sum -= all[out]
		}
		if v >= 0 && sum > best {
			best, level = sum, v
		}
	}
	var at [256]int // pixels by contrast
	for v, n := range all {
		at[contrast(uint8(v), level)] += n
	}
	ink = 255
	for left := total / 100; ink > 0 && left >= at[ink]; ink-- {
		left -= at[ink]
	}
	strong, between := 0, 0
	for c, n := range at {
		switch {
		case c > ink/2:
			strong += n
		case c > flatLevels:
			between += n
		}
	}
	ok = float64(best) >= flatShare*float64(total) && ink >= inkContrast && float64(strong) >= strongShare*float64(between)
	return level, ink, ok
}

func contrast(v uint8, ground int) int { return max(int(v)-ground, ground-int(v)) }
