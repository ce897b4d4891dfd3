package frame

import (
	"errors"
	"fmt"
	"image"

	"gocv.io/x/gocv"

	"shadowgap/detect/pixels"
	"shadowgap/models/reader"
)

// look shows the whole picture, stretched to the network's size, to the network.
func look(px *pixels.Picture, r *reader.Reader) (*reader.Map, error) {
	if r == nil {
		own, err := reader.New()
		if err != nil {
			return nil, err
		}
		m, err := lookWith(px, own)
		return m, errors.Join(err, own.Close())
	}
	return lookWith(px, r)
}

func lookWith(px *pixels.Picture, r *reader.Reader) (*reader.Map, error) {
	planes, ok := px.Shrunk(reader.InputRows, reader.InputCols)
	if !ok {
		var err error
		if planes, err = stretched(px); err != nil {
			return nil, fmt.Errorf("stretching the picture: %w", err)
		}
	}
	rgb := make([]float32, len(planes))
	for i, v := range planes {
		rgb[i] = float32(v) * (1.0 / 255)
	}
	return r.Read(rgb)
}

// stretched is pixels.Shrunk for all other sizes.
func stretched(px *pixels.Picture) ([]uint8, error) {
	full := gocv.NewMatWithSize(px.H, px.W, gocv.MatTypeCV8UC4)
	defer full.Close()
	data, err := full.DataPtrUint8()
	if err != nil {
		return nil, err
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
	small := gocv.NewMat()
	defer small.Close()
	gocv.Resize(full, &small, image.Pt(reader.InputCols, reader.InputRows), 0, 0, gocv.InterpolationArea)
	bytes, err := small.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	const n = reader.InputRows * reader.InputCols
	out := make([]uint8, 3*n)
	for i := range n {
		for c := range 3 {
			out[c*n+i] = bytes[4*i+c]
		}
	}
	return out, nil
}
