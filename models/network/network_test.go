package network

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const testdata = "testdata"

// smallEnds are those of the networks in testdata.
var smallEnds = Ends{In: "in", Out: "out"}

func content(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// values are a network's input and its answer, as testdata/small.py has them from NumPy and OpenCV.
type values struct {
	Rows, Cols int
	In, Out    []float32
}

func smallValues(t *testing.T) (v values) {
	t.Helper()
	if err := json.Unmarshal(content(t, filepath.Join(testdata, "values.json")), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// A network answers what it answers elsewhere, for every size that it allows, again and again, loaded from memory that is left too.
func TestRun(t *testing.T) {
	v := smallValues(t)
	from, to := Shape{1, 1, v.Rows, v.Cols}, Shape{1, 2, 2 * v.Rows, 2 * v.Cols}
	for _, name := range []string{"small.onnx", "half.onnx", "fixed.onnx"} {
		for how, load := range map[string]func([]byte, Ends) (*Net, error){"Read": Read, "Load": Load} {
			n, err := load(content(t, filepath.Join(testdata, name)), smallEnds)
			if err != nil {
				t.Fatalf("%s, %s: %v", name, how, err)
			}
			var out []float32
			for range 2 {
				out = Grown(out, to.size())
				clear(out)
				if err := n.Run(v.In, from, out, to); err != nil {
					t.Fatalf("%s, %s: %v", name, how, err)
				}
				for i, want := range v.Out {
					if math.Abs(float64(out[i]-want)) > 1e-6 {
						t.Fatalf("%s, %s: value %d is %v, want %v", name, how, i, out[i], want)
					}
				}
			}
			if name != "fixed.onnx" { // rows of zeros below change no row but the last
				rows := v.Rows + 3
				in, out := append(slices.Clone(v.In), make([]float32, 3*v.Cols)...), make([]float32, 2*2*rows*2*v.Cols)
				if err := n.Run(in, Shape{1, 1, rows, v.Cols}, out, Shape{1, 2, 2 * rows, 2 * v.Cols}); err != nil {
					t.Fatalf("%s, %s, %d rows: %v", name, how, rows, err)
				}
				same := 2 * v.Rows * 2 * v.Cols
				if i := slices.IndexFunc(v.Out[:same], func(w float32) bool { return w > 0 }); i < 0 || math.Abs(float64(out[i]-v.Out[i])) > 1e-6 {
					t.Errorf("%s, %s, %d rows: value %d is %v, want %v", name, how, rows, i, out[i], v.Out[i])
				}
			}
			if err := n.Close(); err != nil {
				t.Errorf("%s, %s: %v", name, how, err)
			}
		}
	}
}

func TestRunRefusesOtherShapes(t *testing.T) {
	v := smallValues(t)
	from, to := Shape{1, 1, v.Rows, v.Cols}, Shape{1, 2, 2 * v.Rows, 2 * v.Cols}
	out := make([]float32, to.size())
	for _, tt := range []struct {
		name     string
		in       []float32
		from     Shape
		out      []float32
		to       Shape
		networks []string
		says     string
	}{
		{"nothing", nil, Shape{}, out, to, []string{"small", "fixed"}, "0 values of input"},
		{"too few values", v.In[1:], from, out, to, []string{"small", "fixed"}, "23 values of input"},
		{"too many", append(v.In[:len(v.In):len(v.In)], 1), from, out, to, []string{"small", "fixed"}, "25 values of input"},
		{"no room", v.In, from, nil, to, []string{"small", "fixed"}, "room for 0 values"},
		{"too little room", v.In, from, out[1:], to, []string{"small", "fixed"}, "room for 191 values"},
		{"lengths below zero", v.In, Shape{1, 1, -v.Rows, -v.Cols}, out, to, []string{"small", "fixed"}, "24 values of input"},
		{"a size beyond all", v.In, Shape{1 << 31, 1 << 31, 1 << 31, 1 << 31}, out, to, []string{"small"}, "24 values of input"},
		{"another number of planes", v.In, Shape{1, 2, v.Rows / 2, v.Cols}, out, to, []string{"small", "fixed"}, "invalid dimensions for input"},
		{"another answer", v.In, from, out, Shape{1, 2, v.Rows, 4 * v.Cols}, []string{"small", "fixed"}, ""},
		{"another size", v.In, Shape{1, 1, v.Cols, v.Rows}, out, Shape{1, 2, 2 * v.Cols, 2 * v.Rows}, []string{"fixed"}, "invalid dimensions"},
	} {
		for _, name := range tt.networks {
			n, err := Read(content(t, filepath.Join(testdata, name+".onnx")), smallEnds)
			if err != nil {
				t.Fatal(err)
			}
			err = n.Run(tt.in, tt.from, tt.out, tt.to)
			if err == nil || !strings.Contains(err.Error(), tt.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s.onnx, %s: %v, want one line with %q", name, tt.name, err, tt.says)
			}
			if err := n.Run(v.In, from, out, to); err != nil {
				t.Errorf("%s.onnx, after %s: %v", name, tt.name, err)
			}
			if err := n.Close(); err != nil {
				t.Error(err)
			}
		}
	}
}

func TestWhatIsNoNetworkIsRefused(t *testing.T) {
	small := content(t, filepath.Join(testdata, "small.onnx"))
	for name, data := range map[string][]byte{
		"nothing": nil, "text": []byte("# Models\n\nThree.\n"), "half of one": small[:len(small)/2], "zeros": make([]byte, 4096),
	} {
		for how, load := range map[string]func([]byte, Ends) (*Net, error){"Read": Read, "Load": Load} {
			if _, err := load(data, smallEnds); err == nil || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s: %s returns %v, want an error of one line", name, how, err)
			}
		}
	}
	for _, ends := range []Ends{{In: "side", Out: "out"}, {In: "in", Out: "things"}} {
		if _, err := Read(small, ends); err == nil || !strings.Contains(err.Error(), "should be") {
			t.Errorf("%v: %v", ends, err)
		}
	}
	n, err := Load(small, Ends{In: "side", Out: "out"})
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	v := smallValues(t)
	if err := n.Run(v.In, Shape{1, 1, v.Rows, v.Cols}, make([]float32, len(v.Out)), Shape{1, 2, 2 * v.Rows, 2 * v.Cols}); err == nil {
		t.Error("a network ran with another's input")
	}
}

// Networks take the caller's thread and start none.
func TestNoThreadsOfItsOwn(t *testing.T) {
	count := func() int {
		tasks, err := os.ReadDir("/proc/self/task")
		if err != nil {
			t.Skip("no /proc here to count threads from")
		}
		return len(tasks)
	}
	small := content(t, filepath.Join(testdata, "small.onnx"))
	if err := Start(); err != nil {
		t.Fatal(err)
	}
	before := count()
	for range 8 {
		n, err := Load(small, smallEnds)
		if err != nil {
			t.Fatal(err)
		}
		defer n.Close()
	}
	// Go itself may start one for a call that takes long.
	if after := count(); after > before+3 {
		t.Errorf("%d threads before loading eight networks, %d after", before, after)
	}
}
