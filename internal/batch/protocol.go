package batch

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"shadowgap/detect"
)

// request asks a worker process to analyse one capture. The file's bytes follow it.
type request struct {
	Job
	Bytes int `json:"bytes"`
}

// response is what a worker found. The first one a worker sends has no capture: it says that the worker is ready.
type response struct {
	Capture *detect.CaptureRecord `json:"capture,omitempty"`
	Marks   []detect.MarkRecord   `json:"marks,omitempty"`
	Failure string                `json:"failure,omitempty"` // the run folder can't be written, say: no fault of the capture
}

// Caps on what the other end of a pipe may announce, so that a broken stream can't make us allocate without end.
const (
	maxHeader = 256 << 20
	maxBody   = 1 << 30
)

var errNotEncodable = errors.New("encoding a message")

// writeFrame writes a header as JSON after its length, then the body.
func writeFrame(w io.Writer, header any, body []byte) error {
	head, err := json.Marshal(header)
	if err != nil {
		return fmt.Errorf("%w: %w", errNotEncodable, err)
	}
	buf := binary.BigEndian.AppendUint32(make([]byte, 0, 4+len(head)), uint32(len(head)))
	if _, err := w.Write(append(buf, head...)); err != nil {
		return err
	}
	_, err = w.Write(body)
	return err
}

// readHeader reads what writeFrame wrote before the body. It returns io.EOF when the stream ended before it.
func readHeader(r io.Reader, into any) error {
	var size [4]byte
	if _, err := io.ReadFull(r, size[:]); err != nil {
		return err
	}
	n := binary.BigEndian.Uint32(size[:])
	if n > maxHeader {
		return fmt.Errorf("message of %d bytes is over the limit", n)
	}
	head, err := readBody(r, int(n))
	if err != nil {
		return err
	}
	if err := json.Unmarshal(head, into); err != nil {
		return fmt.Errorf("decoding a message: %w", err)
	}
	return nil
}

func readBody(r io.Reader, n int) ([]byte, error) {
	if n < 0 || n > maxBody {
		return nil, fmt.Errorf("body of %d bytes is over the limit", n)
	}
	b := make([]byte, n)
	if _, err := io.ReadFull(r, b); err != nil {
		return nil, fmt.Errorf("message cut short: %w", err)
	}
	return b, nil
}
