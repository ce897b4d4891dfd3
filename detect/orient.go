package detect

import (
	"encoding/binary"
	"image"
	"image/draw"

	"github.com/disintegration/imaging"
)

// orientationOf returns the EXIF orientation, 1 to 8, of a JPEG or TIFF file; 1 when it states none that is valid.
// Numbers of tags and orientations: JEITA CP-3451 (Exif 2.2), tag 0x0112.
func orientationOf(format string, data []byte) int {
	switch format {
	case "tiff":
		return tiffOrientation(data)
	case "jpeg":
		return tiffOrientation(jpegExif(data))
	}
	return 1
}

// jpegExif returns the TIFF structure inside a JPEG's first EXIF segment, or nil.
func jpegExif(data []byte) []byte {
	const app1, startOfScan, exifMagic = 0xe1, 0xda, "Exif\x00\x00"
	at := 2
	for at+4 <= len(data) && data[at] == 0xff {
		marker := data[at+1]
		if marker == 0xff { // fill byte
			at++
			continue
		}
		if marker == startOfScan {
			return nil
		}
		size := int(binary.BigEndian.Uint16(data[at+2:]))
		if size < 2 || at+2+size > len(data) {
			return nil
		}
		body := data[at+4 : at+2+size]
		if marker == app1 && len(body) > len(exifMagic) && string(body[:len(exifMagic)]) == exifMagic {
			return body[len(exifMagic):]
		}
		at += 2 + size
	}
	return nil
}

// tiffOrientation reads tag 0x0112 from the first directory of a TIFF structure.
func tiffOrientation(b []byte) int {
	const tagOrientation, typeShort = 0x0112, 3
	if len(b) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.LittleEndian
	if string(b[:2]) == "MM" {
		order = binary.BigEndian
	}
	at := int64(order.Uint32(b[4:]))
	if at+2 > int64(len(b)) {
		return 1
	}
	count := int64(order.Uint16(b[at:]))
	for entry := at + 2; count > 0 && entry+12 <= int64(len(b)); entry, count = entry+12, count-1 {
		if order.Uint16(b[entry:]) != tagOrientation || order.Uint16(b[entry+2:]) != typeShort {
			continue
		}
		if o := int(order.Uint16(b[entry+8:])); o >= 1 && o <= 8 {
			return o
		}
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
