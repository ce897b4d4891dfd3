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
	Bytes int64 `json:"bytes"`
}

// response is what a worker found. The first one a worker sends has no capture: it says that the worker is ready.
type response struct {
	Capture *detect.CaptureRecord `json:"capture,omitempty"`
	Marks   []detect.MarkRecord   `json:"marks,omitempty"`
	Failure string                `json:"failure,omitempty"` // the run folder can't be written, say: no fault of the capture
	Last    bool                  `json:"last,omitempty"`    // the worker ends: it can't stop what it was doing in any other way

	held int64 // of the room for answers
}

// Caps on what the other end of a pipe may announce, so that a broken stream can't make us allocate without end.
const (
	maxHeader = answerRoom / answerCost
	maxBody   = 1 << 40
)

var errNotEncodable = errors.New("encoding a message")

// writeFrame writes a header as JSON after its length, then size bytes of the body.
func writeFrame(w io.Writer, header any, body io.Reader, size int64) error {
	head, err := json.Marshal(header)
	if err != nil {
		return fmt.Errorf("%w: %w", errNotEncodable, err)
	}
	if len(head) > maxHeader {
		return fmt.Errorf("%w: its %d bytes are over the limit of %d", errNotEncodable, len(head), maxHeader)
	}
	buf := binary.BigEndian.AppendUint32(make([]byte, 0, 4+len(head)), uint32(len(head)))
	if _, err := w.Write(append(buf, head...)); err != nil {
		return err
	}
	if size == 0 {
		return nil
	}
	// What is in memory goes out in one piece: no copy of a part at a time.
	switch n, err := io.Copy(w, body); {
	case err != nil:
		return err
	case n != size:
		return fmt.Errorf("a body of %d bytes came to %d", size, n)
	}
	return nil
}

// readHeader reads what writeFrame wrote before the body. It returns io.EOF when the stream ended before it.
func readHeader(r io.Reader, into any) error {
	n, err := readSize(r)
	if err != nil {
		return err
	}
	return readJSON(r, n, into)
}

// readSize reads how long the header is that comes next.
func readSize(r io.Reader) (int64, error) {
	var size [4]byte
	if _, err := io.ReadFull(r, size[:]); err != nil {
		return 0, err
	}
	n := int64(binary.BigEndian.Uint32(size[:]))
	if n > maxHeader {
		return 0, fmt.Errorf("message of %d bytes is over the limit", n)
	}
	return n, nil
}

func readJSON(r io.Reader, n int64, into any) error {
	head, err := readBody(r, n)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(head, into); err != nil {
		return fmt.Errorf("decoding a message: %w", err)
	}
	return nil
}

func readBody(r io.Reader, n int64) ([]byte, error) {
	if n < 0 || n > maxBody {
		return nil, fmt.Errorf("body of %d bytes is over the limit", n)
	}
	b := make([]byte, n)
	if _, err := io.ReadFull(r, b); err != nil {
		return nil, fmt.Errorf("message cut short: %w", err)
	}
	return b, nil
}
