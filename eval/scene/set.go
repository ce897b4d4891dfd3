package scene

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"shadowgap/eval"
)

// Named is a scene with the name its picture gets, without extension.
type Named struct {
	Name string
	Spec Spec
}

// WriteSet renders captures into dir, which it makes, and writes labels.json with their truth beside them. It stops at
// the first error and when ctx ends.
func WriteSet(ctx context.Context, dir string, set []Named) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("making the folder for rendered captures: %w", err)
	}
	captures := make([][]byte, 0, len(set))
	for _, n := range set {
		if n.Name != filepath.Base(n.Name) || n.Name == "." {
			return fmt.Errorf("capture name %q: must be a plain file name", n.Name)
		}
		c, err := Render(ctx, n.Spec)
		if err != nil {
			return fmt.Errorf("rendering %s: %w", n.Name, err)
		}
		c.Label.Capture = n.Name + c.Ext()
		var b bytes.Buffer
		if err := c.Encode(&b); err != nil {
			return fmt.Errorf("rendering %s: %w", n.Name, err)
		}
		if err := os.WriteFile(filepath.Join(dir, c.Label.Capture), b.Bytes(), 0o644); err != nil {
			return fmt.Errorf("writing rendered capture: %w", err)
		}
		line, err := json.Marshal(c.Label)
		if err != nil {
			return fmt.Errorf("encoding the truth of %s: %w", n.Name, err)
		}
		captures = append(captures, line)
	}
	// One capture a line: profiles of every row would make an indented file unreadable.
	var b bytes.Buffer
	fmt.Fprintf(&b, "{\"schema\":%d,\"captures\":[\n%s\n]}\n", eval.SchemaVersion, bytes.Join(captures, []byte(",\n")))
	if err := os.WriteFile(filepath.Join(dir, "labels.json"), b.Bytes(), 0o644); err != nil {
		return fmt.Errorf("writing the truth of rendered captures: %w", err)
	}
	return nil
}
