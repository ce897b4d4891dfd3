package detect

import (
	"bytes"
	"image"
	"image/draw"

	"github.com/disintegration/imaging"

	"shadowgap/detect/exif"
)

// orientationOf returns the EXIF orientation, 1 to 8, of a JPEG or TIFF file; 1 when it states none that is valid. What other formats
// state is left alone, as most programs that show them do.
func orientationOf(format string, data []byte) int {
	switch format {
	case "tiff", "jpeg":
		return exif.Read(bytes.NewReader(data)).Orientation
	}
	return 1
}

// orient turns and mirrors img as its EXIF orientation asks. Deep pictures keep their 16 bits, which imaging would not.
func orient(img image.Image, orientation int) image.Image {
	if orientation == 1 {
		return img
	}
	switch src := img.(type) {
	case *image.Gray16:
		return orientDeep(src, orientation, func(r image.Rectangle) draw.RGBA64Image { return image.NewGray16(r) })
	case *image.RGBA64:
		return orientDeep(src, orientation, func(r image.Rectangle) draw.RGBA64Image { return image.NewRGBA64(r) })
	case *image.NRGBA64:
		return orientDeep(src, orientation, func(r image.Rectangle) draw.RGBA64Image { return image.NewNRGBA64(r) })
	}
	switch orientation {
	case 2:
		return imaging.FlipH(img)
	case 3:
		return imaging.Rotate180(img)
	case 4:
		return imaging.FlipV(img)
	case 5:
		return imaging.Transpose(img)
	case 6:
		return imaging.Rotate270(img)
	case 7:
		return imaging.Transverse(img)
	default:
		return imaging.Rotate90(img)
	}
}

func orientDeep(src image.RGBA64Image, orientation int, blank func(image.Rectangle) draw.RGBA64Image) image.Image {
	w, h := src.Bounds().Dx(), src.Bounds().Dy()
	outW, outH := w, h
	if orientation >= 5 {
		outW, outH = h, w
	}
	out := blank(image.Rect(0, 0, outW, outH))
	for y := range h {
		for x := range w {
			var at image.Point
			switch orientation {
			case 2:
				at = image.Pt(w-1-x, y)
			case 3:
				at = image.Pt(w-1-x, h-1-y)
			case 4:
				at = image.Pt(x, h-1-y)
			case 5:
				at = image.Pt(y, x)
			case 6:
				at = image.Pt(h-1-y, x)
			case 7:
				at = image.Pt(h-1-y, w-1-x)
			default:
				at = image.Pt(y, w-1-x)
			}
			out.SetRGBA64(at.X, at.Y, src.RGBA64At(x, y))
		}
	}
	return out
}

// atOrigin returns img with bounds 0, 0 to w, h. A GIF's first frame may cover only a part of its screen.
func atOrigin(img image.Image, w, h int) image.Image {
	screen := image.Rect(0, 0, w, h)
	if img.Bounds() == screen {
		return img
	}
	out := image.NewNRGBA(screen)
	draw.Draw(out, img.Bounds(), img, img.Bounds().Min, draw.Src)
	return out
}
