package track

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// ErrTooBig is wrapped by errors about a log beyond Options.MaxBytes or Options.MaxPoints.
var ErrTooBig = errors.New("log too big")

// ReadFile reads a GPX 1.1, NMEA 0183 or CSV log, told apart by content. Errors name the file.
func ReadFile(path string, opt Options) (*Track, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading track: %w", err)
	}
	defer f.Close()
	if st, err := f.Stat(); err != nil {
		return nil, fmt.Errorf("reading track %s: %w", path, err)
	} else if !st.Mode().IsRegular() {
		return nil, fmt.Errorf("reading track %s: not a plain file", path)
	}
	t, err := Read(f, opt)
	if err != nil {
		return nil, fmt.Errorf("reading track %s: %w", filepath.Clean(path), err)
	}
	return t, nil
}

// Read reads a GPX 1.1, NMEA 0183 or CSV log, told apart by content.
func Read(r io.Reader, opt Options) (*Track, error) {
	br := bufio.NewReaderSize(r, 8<<10)
	head, err := br.Peek(4 << 10)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	head = bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n")
	switch {
	case len(head) == 0:
		return nil, errors.New("the file is empty")
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		return nil, errors.New("UTF-16 text: save it as UTF-8")
	case head[0] == '<':
		return ReadGPX(br, opt)
	case looksNMEA(head):
		return ReadNMEA(br, opt)
	case head[0] == 0, bytes.IndexByte(bytes.TrimRight(head, "\x00"), 0) >= 0: // zeros at the end: a file that breaks off
		return nil, errors.New("a binary file: a track is GPX, NMEA 0183 or CSV text")
	}
	return ReadCSV(br, opt)
}

// looksNMEA says whether one of the first lines holds a sentence start followed by a talker and a comma.
func looksNMEA(head []byte) bool {
	for line := range strings.Lines(string(head)) {
		if i := strings.IndexAny(line, "$!"); i >= 0 && strings.IndexByte(line[i:], ',') >= 4 {
			return true
		}
	}
	return false
}

// untilZeros ends where nothing but zero bytes follow: file systems fill with them what was not written yet when power went.
type untilZeros struct {
	r     io.Reader
	most  int64 // zero bytes that are looked through
	ended bool
}

func (z *untilZeros) Read(p []byte) (int, error) {
	if z.ended {
		return 0, io.EOF
	}
	n, err := z.r.Read(p)
	at := bytes.IndexByte(p[:n], 0)
	if at < 0 {
		return n, err
	}
	z.ended = true
	rest, buf := p[at:n], make([]byte, 4<<10)
	for left := z.most; ; left -= int64(len(rest)) {
		switch {
		case len(bytes.Trim(rest, "\x00")) > 0:
			return at, errors.New("zero bytes before the end of the file")
		case errors.Is(err, io.EOF):
			return at, io.EOF
		case err != nil:
			return at, err
		case left < 0:
			return at, fmt.Errorf("more than the allowed bytes: %w", ErrTooBig)
		}
		n, err = z.r.Read(buf)
		rest = buf[:n]
	}
}

// ending remembers where what was read ends, and with which byte.
type ending struct {
	r    io.Reader
	n    int64
	last byte
}

func (e *ending) Read(p []byte) (int, error) {
	n, err := e.r.Read(p)
	if n > 0 {
		e.n, e.last = e.n+int64(n), p[n-1]
	}
	return n, err
}

// broken tells whether a line that ends at an offset is the last that there is, and has no end.
func (e *ending) broken(offset int64) bool { return offset == e.n && e.last != '\n' }

// capped reads at most left bytes and then fails with ErrTooBig. burst bytes may pass between two calls of rest, which
// bounds how much a single token of a parser can hold.
type capped struct {
	r           io.Reader
	left, burst int64
	used        int64
}

func (c *capped) Read(p []byte) (int, error) {
	if c.left <= 0 {
		return 0, fmt.Errorf("more than the allowed bytes: %w", ErrTooBig)
	}
	if c.burst > 0 && c.used > c.burst {
		return 0, fmt.Errorf("one element of more than %d bytes: %w", c.burst, ErrTooBig)
	}
	if int64(len(p)) > c.left {
		p = p[:c.left]
	}
	n, err := c.r.Read(p)
	c.left -= int64(n)
	c.used += int64(n)
	return n, err
}

func (c *capped) rest() { c.used = 0 }
