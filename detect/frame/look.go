package frame

import (
	"errors"

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
	px.Planes(planes, reader.InputRows, reader.InputCols)
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
