// Package network loads networks that are embedded in the program.
package network

import (
	"errors"
	"fmt"
	"os"
	"unsafe"

	"gocv.io/x/gocv"
	"golang.org/x/sys/unix"
)

// Load reads a network from ONNX that is embedded in the program and never written to, as Read does.
func Load(onnx []byte) (gocv.Net, error) {
	net, err := Read(onnx)
	if err != nil {
		return gocv.Net{}, err
	}
	if err := leave(onnx); err != nil {
		return gocv.Net{}, errors.Join(err, net.Close())
	}
	return net, nil
}

// Read reads a network from ONNX, to be run by OpenCV itself. It returns an error when OpenCV can't read it. Whoever reads a network
// closes it.
func Read(onnx []byte) (gocv.Net, error) {
	net, err := gocv.ReadNetFromONNXBytes(onnx)
	if err != nil {
		return gocv.Net{}, err
	}
	if net.Empty() {
		return gocv.Net{}, errors.New("OpenCV found no layers in it")
	}
	if err := net.SetPreferableBackend(gocv.NetBackendOpenCV); err != nil {
		return gocv.Net{}, errors.Join(err, net.Close())
	}
	return net, nil
}

// leave gives up the memory that holds bytes embedded in the program: OpenCV has a copy of its own, and whoever looks at them again gets
// them from the program's file. Pages that hold something else as well stay.
func leave(embedded []byte) error {
	page := os.Getpagesize()
	first := -int(uintptr(unsafe.Pointer(unsafe.SliceData(embedded)))) & (page - 1)
	length := (len(embedded) - first) &^ (page - 1)
	if length <= 0 {
		return nil
	}
	if err := unix.Madvise(embedded[first:first+length], unix.MADV_DONTNEED); err != nil {
		return fmt.Errorf("leaving what was embedded: %w", err)
	}
	return nil
}
