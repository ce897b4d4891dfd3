package scene

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/sync/errgroup"

	"shadowgap/eval"
)

// Named is a scene with the name its picture gets, without extension.
type Named struct {
	Name string
	Spec Spec
}

// WriteSet renders captures into dir, which it makes, and writes labels.json with their truth beside them. It uses every core;
// what it writes does not depend on how many there are. It stops soon after an error and when ctx ends.
func WriteSet(ctx context.Context, dir string, set []Named) error {
	return writeSet(ctx, dir, set, runtime.NumCPU())
}

func writeSet(ctx context.Context, dir string, set []Named, workers int) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("making the folder for rendered captures: %w", err)
	}
	for _, n := range set {
		if n.Name != filepath.Base(n.Name) || n.Name == "." {
			return fmt.Errorf("capture name %q: must be a plain file name", n.Name)
		}
	}
	captures := make([][]byte, len(set))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(workers)
	for i, n := range set {
		g.Go(func() error {
			line, err := writeOne(ctx, dir, n)
			captures[i] = line
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	// One capture a line: profiles of every row would make an indented file unreadable.
	var b bytes.Buffer
	fmt.Fprintf(&b, "{\"schema\":%d,\"captures\":[\n%s\n]}\n", eval.SchemaVersion, bytes.Join(captures, []byte(",\n")))
	if err := os.WriteFile(filepath.Join(dir, "labels.json"), b.Bytes(), 0o644); err != nil {
		return fmt.Errorf("writing the truth of rendered captures: %w", err)
	}
	return nil
}

// writeOne renders one capture into dir and returns its truth as JSON.
func writeOne(ctx context.Context, dir string, n Named) ([]byte, error) {
	c, err := Render(ctx, n.Spec)
	if err != nil {
		return nil, fmt.Errorf("rendering %s: %w", n.Name, err)
	}
	c.Label.Capture = n.Name + c.Ext()
	var b bytes.Buffer
	if err := c.Encode(&b); err != nil {
		return nil, fmt.Errorf("rendering %s: %w", n.Name, err)
	}
	if err := os.WriteFile(filepath.Join(dir, c.Label.Capture), b.Bytes(), 0o644); err != nil {
		return nil, fmt.Errorf("writing rendered capture: %w", err)
	}
	line, err := json.Marshal(c.Label)
	if err != nil {
		return nil, fmt.Errorf("encoding the truth of %s: %w", n.Name, err)
	}
	return line, nil
}
