// Package network runs networks in ONNX. It is the one place that knows the library which does so, ONNX Runtime.
package network

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"

	ort "github.com/yalue/onnxruntime_go"
)

// Ends are the names of a network's only input and of its only output.
type Ends struct{ In, Out string }

// Net is a network that is ready to run. It is not for use by several goroutines at once.
type Net struct {
	session *ort.DynamicAdvancedSession
}

// Load reads a network from ONNX that is embedded in the program and never written to, as Read does. What is embedded is trusted to have
// such ends; Run tells where it has not.
func Load(onnx []byte, ends Ends) (*Net, error) {
	path, err := started()
	if err != nil {
		return nil, err
	}
	n, err := load(onnx, ends)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(leave(onnx), leaveCode(path)); err != nil {
		return nil, errors.Join(err, n.Close())
	}
	return n, nil
}

// Read reads a network from ONNX that comes from elsewhere. It returns an error when ONNX Runtime is missing or can't read it, or when
// its ends are others, or are none for four-dimensional arrays of single-precision numbers. Whoever reads a network closes it.
func Read(onnx []byte, ends Ends) (*Net, error) {
	if err := Start(); err != nil {
		return nil, err
	}
	in, out, err := ort.GetInputOutputInfoWithONNXData(onnx)
	if err != nil {
		return nil, errors.New(oneLine(err))
	}
	for _, end := range []struct {
		what, name string
		found      []ort.InputOutputInfo
	}{{"input", ends.In, in}, {"output", ends.Out, out}} {
		if len(end.found) != 1 || end.found[0].Name != end.name || end.found[0].DataType != ort.TensorElementDataTypeFloat ||
			len(end.found[0].Dimensions) != dimensions {
			return nil, fmt.Errorf("its only %s should be %q with %d dimensions, and is %v", end.what, end.name, dimensions, end.found)
		}
	}
	return load(onnx, ends)
}

// load makes a session that takes one thread, the caller's: what a capture costs must not depend on how many cores a machine has, and
// workers share those among themselves.
func load(onnx []byte, ends Ends) (n *Net, err error) {
	opt, err := ort.NewSessionOptions()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, opt.Destroy()) }()
	for _, set := range []func() error{
		func() error { return opt.SetIntraOpNumThreads(1) },
		func() error { return opt.SetInterOpNumThreads(1) },
		func() error { return opt.SetExecutionMode(ort.ExecutionModeSequential) },
		func() error { return opt.SetGraphOptimizationLevel(ort.GraphOptimizationLevelEnableAll) },
		func() error { return opt.SetMemPattern(false) },                                     // it would keep a plan for every size of a side
		func() error { return opt.AddSessionConfigEntry("session.use_env_allocators", "1") }, // see shareMemory
	} {
		if err := set(); err != nil {
			return nil, fmt.Errorf("setting how it is run: %w", err)
		}
	}
	session, err := ort.NewDynamicAdvancedSessionWithONNXData(onnx, []string{ends.In}, []string{ends.Out}, opt)
	if err != nil {
		return nil, errors.New(oneLine(err))
	}
	returnFreed()
	return &Net{session: session}, nil
}

// Close frees the network.
func (n *Net) Close() error { return n.session.Destroy() }

const dimensions = 4

// Shape is how long an array is along each of its dimensions, the last of which lies together.
type Shape [dimensions]int

// size is how many values an array of the shape holds, 0 for one that none may have.
func (s Shape) size() int {
	size := 1
	for _, d := range s {
		if d <= 0 || d > math.MaxInt32/size {
			return 0
		}
		size *= d
	}
	return size
}

// Run runs the network on in, of shape from, and writes its answer to out, which must be of shape to. It returns an error when a length
// isn't that of its shape, or when the network takes or gives other shapes.
func (n *Net) Run(in []float32, from Shape, out []float32, to Shape) (err error) {
	if len(in) == 0 || len(in) != from.size() {
		return fmt.Errorf("%d values of input for %v", len(in), from)
	}
	if len(out) == 0 || len(out) != to.size() {
		return fmt.Errorf("room for %d values of output for %v", len(out), to)
	}
	// The library holds on to both for as long as the tensors live.
	var pinned runtime.Pinner
	defer pinned.Unpin()
	pinned.Pin(&in[0])
	pinned.Pin(&out[0])
	given, err := ort.NewTensor(from.tensor(), in)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, given.Destroy()) }()
	answer, err := ort.NewTensor(to.tensor(), out)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, answer.Destroy()) }()
	if err := n.session.Run([]ort.Value{given}, []ort.Value{answer}); err != nil {
		return errors.New(oneLine(err))
	}
	return nil
}

func (s Shape) tensor() ort.Shape {
	t := make(ort.Shape, len(s))
	for i, d := range s {
		t[i] = int64(d)
	}
	return t
}

// Grown is values with n of them, for Run to write an answer to: the same memory where that is enough.
func Grown[T any](values []T, n int) []T { return slices.Grow(values[:0], n)[:n] }
