package scripts

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "shadowgap/"

// A layer says what one package, or with /... one folder of packages, may import of this module, and of modules that are
// named here at all. The first layer that a package belongs to holds.
type layer struct {
	of    string
	may   []string // patterns, as in of
	tests []string // what tests may import besides
	why   string
}

// layers go from the top of the imports down: cmd, internal, eval and detect, models and features.
var layers = []layer{
	{of: "cmd/...", may: []string{"cmd/...", "internal/...", "eval/...", "detect/...", "models/...", "features/..."}},

	// The night's engine knows nothing of pages, exports or the words that a person reads.
	{
		of: "internal/batch",
		may: []string{
			"internal/media", "internal/overlay", "internal/runstore", "internal/survey", "detect/...", "models", "features",
		},
		why: "runs are made without knowing how they are shown",
	},
	{of: "internal/runstore", may: []string{"detect"}, why: "the store keeps what the detector says, and no more"},
	{of: "internal/units"},
	{of: "internal/track", may: []string{"internal/units"}},
	{of: "internal/decided", may: []string{"detect"}},
	{of: "internal/words", may: []string{"internal/units", "detect", "features"}},
	{
		of:  "internal/places",
		may: []string{"internal/decided", "internal/survey", "internal/track", "internal/units", "internal/words", "detect", "features"},
		why: "what marks are told and merged by knows nothing of how runs are made, kept or shown",
	},
	{
		of: "internal/...",
		may: []string{
			"internal/decided", "internal/files", "internal/media", "internal/overlay/...", "internal/places", "internal/survey",
			"internal/track", "internal/units", "internal/words", "detect", "detect/exif", "eval", "features", "models",
		},
		why: "no part of internal rests on a page, an export, the store or the engine; rendered captures and networks are for " +
			"commands and for tests of the detector",
	},

	{of: "eval/demo", may: []string{"eval", "eval/scene", "detect", "features"}},
	{
		of: "eval/...", may: []string{"eval/...", "detect", "models", "models/fit", "features"},
		why: "networks are run by the detector and by commands only",
	},
	{of: "detect/palette", why: "colours and echo strength, wherever they were drawn"},
	{of: "detect/pixels", why: "images, whatever they show"},
	{
		of:    "detect/...",
		may:   []string{"detect/...", "models", "models/axis", "models/finder", "models/outward", "models/reader", "features"},
		tests: []string{"eval/..."},
		why:   "the detector must not see truth, nor fit",
	},
	{of: "models/network", may: []string{onnxruntime}, why: "one place knows what runs networks, and it knows nothing of what they see"},
	{of: "models/...", may: []string{"models/...", "features"}},
	{of: "features"},

	{of: "deploy"},
	{of: "scripts"},
}

// Modules that a layer must name to import. None names OpenCV: it would bring its libraries and their start into every process.
const (
	opencv      = "gocv.io/x/gocv"
	onnxruntime = "github.com/yalue/onnxruntime_go"
)

func TestImportsPointDown(t *testing.T) {
	for _, p := range listPackages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		i := slices.IndexFunc(layers, func(l layer) bool { return within(name, l.of) })
		if i < 0 {
			t.Errorf("%s belongs to no layer: give it one", name)
			continue
		}
		l := layers[i]
		check := func(imports []string, may []string, what string) {
			for _, imported := range imports {
				short, own := strings.CutPrefix(imported, module)
				if !own && imported != opencv && imported != onnxruntime || short == name {
					continue
				}
				if slices.ContainsFunc(may, func(pattern string) bool { return within(short, pattern) }) {
					continue
				}
				t.Errorf("%s%s imports %s (%s)", name, what, short, l.why)
			}
		}
		check(p.Imports, l.may, "")
		check(slices.Concat(p.TestImports, p.XTestImports), slices.Concat(l.may, l.tests), "'s tests")
	}
}

// within tells whether a package is the one that pattern names, or for a pattern that ends in /... below it or itself.
func within(name, pattern string) bool {
	folder, deep := strings.CutSuffix(pattern, "/...")
	return name == folder || deep && strings.HasPrefix(name, folder+"/")
}

type goPackage struct {
	ImportPath                         string
	Imports, TestImports, XTestImports []string
}

func listPackages(t *testing.T) []goPackage {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "list", "-json=ImportPath,Imports,TestImports,XTestImports", "./...")
	cmd.Dir = ".."
	out, err := cmd.Output()
	if err != nil {
		var failed *exec.ExitError
		if errors.As(err, &failed) {
			t.Fatalf("go list: %v\n%s", err, failed.Stderr)
		}
		t.Fatalf("go list: %v", err)
	}
	var packages []goPackage
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			return packages
		}
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		packages = append(packages, p)
	}
}
