package frame

import (
	"errors"
	"fmt"
	"image"

	"gocv.io/x/gocv"

	"shadowgap/detect/pixels"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// look shows the whole picture, stretched to the network's size, to the network.
func look(px *pixels.Picture, opt Options) (*sight, error) {
	if opt.Reader == nil {
		own, err := reader.New()
		if err != nil {
			return nil, err
		}
		v, err := lookWith(px, own, opt.Arena)
		return v, errors.Join(err, own.Close())
	}
	return lookWith(px, opt.Reader, opt.Arena)
}

// lookWith is look with memory of the arena's, which it gives back.
func lookWith(px *pixels.Picture, r *reader.Reader, arena *features.Arena) (*sight, error) {
	used := arena.Mark()
	defer arena.Release(used)
	rgb, err := arena.Grid(channels*reader.InputRows, reader.InputCols)
	if err != nil {
		return nil, err
	}
	planes := arena.Mask(len(rgb.V))
	if !px.Shrink(planes, reader.InputRows, reader.InputCols) {
		if err := stretch(planes, px); err != nil {
			return nil, fmt.Errorf("stretching the picture: %w", err)
		}
	}
	for i, v := range planes {
		rgb.V[i] = float32(v) * (1.0 / 255)
	}
	m, err := r.Read(rgb.V)
	return &sight{px, m, features.NewSums(brightness(planes), reader.InputRows, reader.InputCols)}, err
}

const channels = 3

// brightness makes the green plane of a stretched picture, which tells most of it, its brightness (ITU-R BT.601), and returns it.
func brightness(planes []uint8) []uint8 {
	const n = reader.InputRows * reader.InputCols
	red, green, blue := planes[:n], planes[n:2*n], planes[2*n:]
	for i, g := range green {
		green[i] = uint8((299*int(red[i]) + 587*int(g) + 114*int(blue[i])) / 1000)
	}
	return green
}

// stretch is pixels.Picture.Shrink for all other sizes.
func stretch(planes []uint8, px *pixels.Picture) error {
	full := gocv.NewMatWithSize(px.H, px.W, gocv.MatTypeCV8UC4)
	defer full.Close()
	data, err := full.DataPtrUint8()
	if err != nil {
		return err
	}
	row := make([]uint32, px.W)
	for y := range px.H {
		dst := data[4*y*px.W : 4*(y+1)*px.W]
		if raw := px.Raw(0, y, px.W); raw != nil {
			copy(dst, raw)
			continue
		}
		px.Read(row, 0, y)
		for x, c := range row {
			dst[4*x], dst[4*x+1], dst[4*x+2] = uint8(c>>16), uint8(c>>8), uint8(c)
		}
	}
	useOneThread()
	small := gocv.NewMat()
	defer small.Close()
	gocv.Resize(full, &small, image.Pt(reader.InputCols, reader.InputRows), 0, 0, gocv.InterpolationArea)
	bytes, err := small.DataPtrUint8()
	if err != nil {
		return err
	}
	const n = reader.InputRows * reader.InputCols
	for i := range n {
		for c := range channels {
			planes[c*n+i] = bytes[4*i+c]
		}
	}
	return nil
}
