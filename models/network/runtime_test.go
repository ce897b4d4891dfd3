package network

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// The library is what a variable names and nothing else, or else the first of the folders' that there is.
func TestFind(t *testing.T) {
	has, empty, also := t.TempDir(), t.TempDir(), t.TempDir()
	for _, dir := range []string{has, also} {
		if err := os.WriteFile(filepath.Join(dir, libraryName), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	other := filepath.Join(empty, "other.so")
	if err := os.WriteFile(other, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	nowhere := filepath.Join(empty, "none")
	for _, tt := range []struct {
		name, named string
		folders     []string
		want, says  string
	}{
		{name: "first folder", folders: []string{has, also}, want: filepath.Join(has, libraryName)},
		{name: "second folder", folders: []string{empty, also}, want: filepath.Join(also, libraryName)},
		{name: "named", named: other, folders: []string{has}, want: other},
		{name: "none", folders: []string{empty, nowhere}, says: "ONNX Runtime 1.27.0, which runs the networks, is missing: there is no " +
			"libonnxruntime.so.1.27.0 in " + empty + " or " + nowhere + "; \"scripts/setup.sh runtime\" installs it"},
		{name: "named, not there", named: nowhere, folders: []string{has}, says: "SHADOWGAP_ONNXRUNTIME names " +
			nowhere + " for ONNX Runtime 1.27.0, which runs the networks, but no such file or directory; without that " +
			"variable \"scripts/setup.sh runtime\" installs it"},
	} {
		got, err := find(tt.named, tt.folders...)
		if got != tt.want || (err == nil) != (tt.says == "") || err != nil && err.Error() != tt.says {
			t.Errorf("%s: %q, %v; want %q, %q", tt.name, got, err, tt.want, tt.says)
		}
	}
}

// A file that is not the library is refused in one sentence that names it and says why and what to do. The system's loader sees none of
// them: over one that was cut off it would end the process.
func TestInspect(t *testing.T) {
	if err := Check(); err != nil {
		t.Fatal(err)
	}
	path, err := library()
	if err != nil {
		t.Fatal(err)
	}
	whole := content(t, path)
	changed := func(from, to string) []byte {
		if !bytes.Contains(whole, []byte(from)) {
			t.Fatalf("the library holds no %q", from)
		}
		return bytes.ReplaceAll(whole, []byte(from), []byte(to))
	}
	elsewhere := bytes.Clone(whole[:len(whole):len(whole)])
	binary.LittleEndian.PutUint16(elsewhere[18:], 8) // e_machine of the ELF header: MIPS
	cut := bytes.Clone(whole[:len(whole)-len(whole)/8])
	clear(cut[40:48]) // e_shoff: without a table of sections only the segments tell that something is missing
	clear(cut[60:64]) // e_shnum, e_shstrndx
	dir := t.TempDir()
	for _, tt := range []struct {
		name string
		data []byte
		says string
	}{
		{"nothing.so", nil, "it is no shared library, or not a whole one"},
		{"text.so", []byte("not found\n"), "it is no shared library, or not a whole one"},
		{"half.so", whole[:len(whole)/2], "it is no shared library, or not a whole one"},
		{"cut.so", cut, "it ends before its end"},
		{"older.so", changed("VERS_1.27.0", "VERS_1.26.0"), "its version is 1.26.0"},
		{"newer.so", changed("VERS_1.27.0", "VERS_2.27.0"), "its version is 2.27.0"},
		{"other.so", changed("VERS_1.27.0", "FROM_1.27.0"), "it names no version"},
		{"elsewhere.so", elsewhere, "it is made for another kind of machine (EM_MIPS)"},
	} {
		file := filepath.Join(dir, tt.name)
		if err := os.WriteFile(file, tt.data, 0o644); err != nil {
			t.Fatal(err)
		}
		err := inspect(file)
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want an error of one line", tt.name, err)
			continue
		}
		begins, ends := file+" is no ONNX Runtime 1.27.0, which runs the networks: "+tt.says, "; "+remedy
		if said := err.Error(); !strings.HasPrefix(said, begins) || !strings.HasSuffix(said, ends) {
			t.Errorf("%s: %s", tt.name, said)
		}
	}
	if err := inspect(dir); err == nil || !strings.Contains(err.Error(), "it is no file") {
		t.Errorf("a folder: %v", err)
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := inspect(program); err == nil {
		t.Errorf("%s, a program for %s, was taken for the library", program, runtime.GOARCH)
	}
}
