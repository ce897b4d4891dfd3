package figures

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Fingerprint stands for the detector whose sources lie below root: it changes with every file of detect, features and models that a
// built program holds.
func Fingerprint(root string) (string, error) {
	h := sha256.New()
	for _, layer := range []string{"detect", "features", "models"} {
		err := filepath.WalkDir(filepath.Join(root, layer), func(file string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() && d.Name() == "testdata" {
				return fs.SkipDir
			}
			if d.IsDir() || !built(d.Name()) {
				return nil
			}
			data, err := os.ReadFile(file)
			if err != nil {
				return err
			}
			name, err := filepath.Rel(root, file)
			if err != nil {
				return err
			}
			fmt.Fprintf(h, "%s %x\n", filepath.ToSlash(name), sha256.Sum256(data))
			return nil
		})
		if err != nil {
			return "", fmt.Errorf("taking the detector's fingerprint: %w", err)
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:8]), nil
}

// built tells whether a file goes into a built program.
func built(name string) bool {
	switch filepath.Ext(name) {
	case ".go":
		return !strings.HasSuffix(name, "_test.go")
	case ".onnx", ".gz":
		return true
	}
	return false
}
