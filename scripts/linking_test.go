// Package scripts holds what builds, sets up and measures; its tests check what the build promises.
package scripts

import (
	"bytes"
	"debug/elf"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
)

// cLibrary are the files of the GNU C library, which every system with a shared one has; from its release 2.34 on libc alone is linked.
var cLibrary = regexp.MustCompile(`^(lib(c|dl|m|pthread|resolv|rt)|ld-linux-[\w-]+)\.so\.\d+$`)

// TestProgramIsLinkedWithNothingElse builds the program: it must start on a machine that has the C library alone, and quickly. What runs
// the networks is opened when the first is needed, by the file's name that scripts/setup.sh installs it under.
func TestProgramIsLinkedWithNothingElse(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program")
	}
	program := filepath.Join(t.TempDir(), "shadowgap")
	cmd := exec.CommandContext(t.Context(), "go", "build", "-o", program, "./cmd/shadowgap")
	cmd.Dir = ".."
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, said)
	}
	file, err := elf.Open(program)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	linked, err := file.ImportedLibraries()
	if err != nil {
		t.Fatal(err)
	}
	if len(linked) == 0 {
		t.Error("no library is linked: is SQLite compiled in?")
	}
	for _, name := range linked {
		if !cLibrary.MatchString(name) {
			t.Errorf("the program is linked with %s", name)
		}
	}
	name, code := installedAs(t), content(t, program)
	if !bytes.Contains(code, []byte(name)) {
		t.Errorf("scripts/setup.sh installs %s, which the program does not look for", name)
	}
}

// installedAs is the name of ONNX Runtime's file where scripts/setup.sh has installed it.
func installedAs(t *testing.T) string {
	t.Helper()
	version := regexp.MustCompile(`(?m)^onnxruntime=(\S+)$`).FindSubmatch(content(t, "setup.sh"))
	if version == nil {
		t.Fatal("setup.sh names no version of ONNX Runtime")
	}
	return "libonnxruntime.so." + string(version[1])
}

func content(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
