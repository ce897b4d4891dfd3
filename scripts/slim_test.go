// Package scripts holds what builds, sets up and measures; its tests check what the build promises.
package scripts

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestSlimLinking builds programs that call into OpenCV: what is linked must build, what is not must fail the build, because the
// program would crash at the call.
func TestSlimLinking(t *testing.T) {
	if testing.Short() {
		t.Skip("builds two programs")
	}
	tests := []struct {
		name, call string
		missing    string // function that the linker must name; empty where the build must succeed
	}{
		{name: "linked module", call: "m := gocv.NewMat(); defer m.Close(); gocv.Blur(m, &m, image.Pt(3, 3))"},
		{name: "module that is not linked", call: "o := gocv.NewORB(); defer o.Close(); _ = image.Pt", missing: "cv::ORB::create"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			source := "package main\n\nimport (\n\t\"image\"\n\n\t\"gocv.io/x/gocv\"\n)\n\nfunc main() { " + tt.call + " }\n"
			said, err := buildWith(t, source)
			switch {
			case tt.missing == "" && err != nil:
				t.Errorf("the build failed: %v\n%s", err, said)
			case tt.missing != "" && err == nil:
				t.Errorf("the build succeeded; the program would crash where it calls %s", tt.missing)
			case tt.missing != "" && !strings.Contains(said, tt.missing):
				t.Errorf("the build failed (%v) without naming %s:\n%s", err, tt.missing, said)
			}
		})
	}
}

// buildWith builds source as a command of this module without writing into the module's tree, and returns what go said.
func buildWith(t *testing.T, source string) (string, error) {
	t.Helper()
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file, overlay := filepath.Join(dir, "main.go"), filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(file, []byte(source), 0o600); err != nil {
		t.Fatal(err)
	}
	replace, err := json.Marshal(map[string]any{"Replace": map[string]string{filepath.Join(root, "cmd", "linked", "main.go"): file}})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(overlay, replace, 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"build", "-overlay", overlay, "-o", filepath.Join(dir, "linked"), "./cmd/linked"}
	cmd := exec.CommandContext(t.Context(), "scripts/go-slim.sh", args...)
	cmd.Dir = root
	said, err := cmd.CombinedOutput()
	return string(said), err
}
