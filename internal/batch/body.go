package batch

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/sync/semaphore"
	"golang.org/x/sys/unix"

	"shadowgap/detect"
)

// What the parent may hold of captures at once, whatever comes in. Their bytes wait here for a worker, and what a worker found
// waits for the disk.
const (
	bodyRoom     = 48 << 20             // bytes of all captures in memory together
	maxInMemory  = 16 << 20             // bytes of a capture that is kept in memory; a larger one goes through a file
	answerRoom   = answerCost * 8 << 20 // the same for answers, counted as what they take once they are decoded
	answerCost   = 5                    // bytes in memory for a byte of JSON: numbers mostly, in lists that grow
	copyAtOnce   = 64 << 10
	headForSniff = 512 // what Decode looks at before it says what a file is that isn't a picture
)

// errSpool says that a large capture could not be put down: the run folder can't be written.
var errSpool = errors.New("keeping a large capture in the run folder")

// body is a capture's content on its way to a worker. The zero value is empty.
type body struct {
	data []byte
	file *os.File // holds what is too large for data; it has no name any more and goes when it is closed
	size int64

	room *semaphore.Weighted
	held int64
}

// reader reads the content from its start; each reader is its own.
func (b *body) reader() io.Reader {
	if b.file != nil {
		return io.NewSectionReader(b.file, 0, b.size)
	}
	return bytes.NewReader(b.data)
}

// look calls f with the content. A large one is then mapped, not read: f is to look at few places of it.
func (b *body) look(f func([]byte)) error {
	if b.file == nil {
		f(b.data)
		return nil
	}
	m, err := unix.Mmap(int(b.file.Fd()), 0, int(b.size), unix.PROT_READ, unix.MAP_SHARED)
	if err != nil {
		return fmt.Errorf("%w: %w", errSpool, err)
	}
	f(m)
	if err := unix.Munmap(m); err != nil {
		return fmt.Errorf("%w: %w", errSpool, err)
	}
	return nil
}

// drop lets the content go.
func (b *body) drop() {
	if b.file != nil {
		b.file.Close() // nothing in it is to be kept
	}
	if b.room != nil && b.held > 0 {
		b.room.Release(b.held)
	}
	*b = body{}
}

// intake reads captures within bounds.
type intake struct {
	room *semaphore.Weighted // bytes in memory
	dir  string              // where large captures are put down
	lim  detect.Limits       // with nothing left to default
}

// read reads a source to its end and returns its content and SHA-256. Of a large file that is no picture only the head is kept.
// Errors are about the capture, but for those that wrap errSpool and the end of ctx.
func (in intake) read(ctx context.Context, src source, path string) (body, string, error) {
	if src.size > in.lim.MaxBytes {
		why := fmt.Sprintf("the file is larger than the limit of %d MiB", in.lim.MaxBytes>>20)
		return body{}, "", &detect.ReadError{Path: path, Why: why, Err: detect.ErrTooLarge}
	}
	if src.size > maxInMemory {
		return in.spool(ctx, src, path)
	}
	// One byte more shows whether the source ends where it says, and makes an archive check its sum.
	b := body{room: in.room, held: src.size + 1}
	if err := in.room.Acquire(ctx, b.held); err != nil {
		return body{}, "", err
	}
	buf := make([]byte, src.size+1)
	n, err := io.ReadFull(src, buf)
	switch {
	case err == nil:
		err = errLonger
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF) && n <= int(src.size):
		err = nil
	}
	if err != nil {
		b.drop()
		return body{}, "", readFailure(path, err)
	}
	b.data, b.size = buf[:n:n], int64(n)
	return b, detect.Sum(b.data), nil
}

var errLonger = errors.New("there is more in it than its size says: it is being written to, or its archive is not honest")

func readFailure(path string, err error) error {
	return &detect.ReadError{Path: path, Why: detect.FileWhy(err), Err: err}
}

// spool reads a large source through a file without a name.
func (in intake) spool(ctx context.Context, src source, path string) (b body, sha256Hex string, err error) {
	head := make([]byte, headForSniff)
	n, err := io.ReadFull(src, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return body{}, "", readFailure(path, err)
	}
	head = head[:n]
	sum := sha256.New()
	sum.Write(head)
	if !detect.IsPicture(head) {
		if _, err := in.copy(ctx, src, path, src.size-int64(n), sum); err != nil {
			return body{}, "", err
		}
		return body{data: head, size: int64(n)}, hex.EncodeToString(sum.Sum(nil)), nil
	}
	f, err := os.CreateTemp(in.dir, ".part-*")
	if err != nil {
		return body{}, "", fmt.Errorf("%w: %w", errSpool, err)
	}
	defer func() {
		if err != nil {
			f.Close() // its failure adds nothing
		}
	}()
	if err := os.Remove(f.Name()); err != nil {
		return body{}, "", fmt.Errorf("%w: %w", errSpool, err)
	}
	if _, err := f.Write(head); err != nil {
		return body{}, "", fmt.Errorf("%w: %w", errSpool, err)
	}
	more, err := in.copy(ctx, src, path, src.size-int64(n), sum, f)
	if err != nil {
		return body{}, "", err
	}
	return body{file: f, size: int64(n) + more}, hex.EncodeToString(sum.Sum(nil)), nil
}

// copy copies a source to its end, which comes after most bytes, and tells what fails on which side.
func (in intake) copy(ctx context.Context, src io.Reader, path string, most int64, to ...io.Writer) (int64, error) {
	buf := make([]byte, copyAtOnce)
	for n := int64(0); ; {
		if err := ctx.Err(); err != nil {
			return n, err
		}
		k, err := src.Read(buf)
		if n += int64(k); n > most {
			return n, readFailure(path, errLonger)
		}
		for _, w := range to {
			if _, err := w.Write(buf[:k]); err != nil {
				return n, fmt.Errorf("%w: %w", errSpool, err)
			}
		}
		if errors.Is(err, io.EOF) {
			return n, nil
		}
		if err != nil {
			return n, readFailure(path, err)
		}
	}
}
