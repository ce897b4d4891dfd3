package network

import (
	"bytes"
	"os"
	"path/filepath"
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

func TestLoadRefusesWhatIsNoNetwork(t *testing.T) {
	if _, err := Load(nil); err == nil {
		t.Error("nothing was loaded as a network")
	}
}
