package network

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// Whole pages of what is left come from the file again; those that hold something else as well stay as they are.
func TestLeave(t *testing.T) {
	page := os.Getpagesize()
	content := bytes.Repeat([]byte("shadowgap"), page)[:4*page]
	name := filepath.Join(t.TempDir(), "program")
	if err := os.WriteFile(name, content, 0o644); err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, tt := range []struct {
		from, to int
		left     [4]bool // pages
	}{
		{0, 4 * page, [4]bool{true, true, true, true}},
		{1, 4 * page, [4]bool{false, true, true, true}},
		{0, 4*page - 1, [4]bool{true, true, true, false}},
		{page - 1, 3*page + 1, [4]bool{false, true, true, false}},
		{page + 1, 3*page - 1, [4]bool{}},
		{page, page, [4]bool{}},
		{7, 9, [4]bool{}},
	} {
		// As the data of a program is mapped.
		mapped, err := unix.Mmap(int(file.Fd()), 0, len(content), unix.PROT_READ|unix.PROT_WRITE, unix.MAP_PRIVATE)
		if err != nil {
			t.Fatal(err)
		}
		for i := range tt.left { // what is written to a page tells whether it stayed
			mapped[i*page] = '!'
		}
		if err := leave(mapped[tt.from:tt.to]); err != nil {
			t.Errorf("bytes %d to %d: %v", tt.from, tt.to, err)
		}
		for i, left := range tt.left {
			if mapped[i*page] == content[i*page] != left {
				t.Errorf("bytes %d to %d: page %d was left: %v, want %v", tt.from, tt.to, i, !left, left)
			}
		}
		if !bytes.Equal(mapped[page+1:2*page], content[page+1:2*page]) {
			t.Errorf("bytes %d to %d: content has changed", tt.from, tt.to)
		}
		if err := unix.Munmap(mapped); err != nil {
			t.Fatal(err)
		}
	}
	if err := leave(nil); err != nil {
		t.Error(err)
	}
}

// Of the library's code only what is run again lies in memory once a network is loaded.
func TestCodeIsLeft(t *testing.T) {
	path, err := started()
	if err != nil {
		t.Fatal(err)
	}
	n, err := Load(content(t, filepath.Join(testdata, "small.onnx")), smallEnds)
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	size, resident := codeOf(t, path)
	if size == 0 || resident > size/8 {
		t.Errorf("%d KiB of %d KiB of code are in memory", resident, size)
	}
	if err := leaveCode(filepath.Join(t.TempDir(), "none.so")); err != nil {
		t.Error(err)
	}
}

// codeOf is how large the code of a library is, and how much of it this process has in memory, in KiB.
func codeOf(t *testing.T, path string) (size, resident int) {
	t.Helper()
	maps, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		t.Skip("no /proc here to read memory from")
	}
	code := false
	for line := range strings.Lines(string(maps)) {
		words := strings.Fields(line)
		if !strings.HasSuffix(words[0], ":") {
			code = words[len(words)-1] == path && words[1] == "r-xp"
			continue
		}
		if n, err := strconv.Atoi(words[1]); err == nil && code && words[0] == "Size:" {
			size += n
		} else if err == nil && code && words[0] == "Rss:" {
			resident += n
		}
	}
	return size, resident
}
