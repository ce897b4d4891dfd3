package refit

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
)

var errNoNetwork = errors.New("is no ONNX file, or not a whole one")

// readONNX reads a network's file. The network is loaded only where the first real picture is looked at, so the file's outermost fields
// are walked here, before anything is rendered: they must end where it ends, and one of them be the graph.
func readONNX(name string) ([]byte, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	if !holdsGraph(data) {
		return nil, fmt.Errorf("%s: %w", name, errNoNetwork)
	}
	return data, nil
}

// The wire format of protocol buffers and the field of ONNX's ModelProto that holds the graph (onnx.proto).
const (
	wireVarint, wireBytes = 0, 2
	fieldGraph            = 7
)

func holdsGraph(b []byte) bool {
	found := false
	for len(b) > 0 {
		key, n := binary.Uvarint(b)
		if n <= 0 {
			return false
		}
		b = b[n:]
		value, n := binary.Uvarint(b)
		if n <= 0 {
			return false
		}
		b = b[n:]
		switch key & 7 {
		case wireVarint:
		case wireBytes:
			if value > uint64(len(b)) {
				return false
			}
			found = found || key>>3 == fieldGraph && value > 0
			b = b[value:]
		default: // a model has no others
			return false
		}
	}
	return found
}
