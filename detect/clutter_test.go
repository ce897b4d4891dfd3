package detect_test

import (
	"bytes"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval/scene"
)

// Asking for clutter adds marks that are called so, behind the others, and changes nothing else of what a capture comes to.
func TestAskingForClutterOnlyAdds(t *testing.T) {
	var d detect.Detector
	defer d.Close()
	added, sure := 0, 0
	for i, kind := range scene.Kinds() {
		c := render(t, scene.Random(100900+int64(i), kind))
		opt := detect.Options{RangeM: c.Label.RangeM}
		plain, err := d.Run(t.Context(), c.Image, opt)
		if err != nil {
			t.Fatal(err)
		}
		opt.AskClutter = true
		asked, err := d.Run(t.Context(), c.Image, opt)
		if err != nil {
			t.Fatal(err)
		}
		checkResult(t, asked, c.Image.Bounds())
		n := len(plain.Marks)
		if len(asked.Marks) < n {
			t.Fatalf("%s: %d marks, %d with clutter", kind, n, len(asked.Marks))
		}
		rest := asked.Marks[n:]
		for _, m := range rest {
			if p := m.Odds[detect.Clutter]; m.Class != detect.Clutter || p < 0.5 || p > 0.9 || m.Hold != nil {
				t.Errorf("%s: %s is added as %s, of odds %v, in hold %v", kind, m.Mark, m.Class, m.Odds, m.Hold)
			} else if p > 0.7 {
				sure++
			}
		}
		if got := asked.Counts[detect.Clutter]; got != len(rest) {
			t.Errorf("%s: %d marks are counted as clutter, want %d", kind, got, len(rest))
		}
		added += len(rest)
		asked.Marks = append(plain.Marks[:0:0], asked.Marks[:n]...)
		delete(asked.Counts, detect.Clutter)
		if w, g := asJSON(t, plain), asJSON(t, asked); !bytes.Equal(w, g) {
			t.Errorf("%s: beside clutter the capture comes to something else: %d bytes, want %d; interest %v, want %v; %d marks, %d holds",
				kind, len(g), len(w), asked.Interest, plain.Interest, n, len(plain.Holds))
		}
	}
	t.Logf("%d added to %d captures", added, len(scene.Kinds()))
	if sure == 0 || added > 12*len(scene.Kinds()) {
		t.Errorf("%d marks are added to %d captures, %d of them likely clutter: want a few each", added, len(scene.Kinds()), sure)
	}
}
