package eval

import (
	"strings"
	"testing"

	"shadowgap/detect"
)

func TestLetIn(t *testing.T) {
	run := Run{Captures: []detect.CaptureRecord{capture("cat.png"), capture("dog.png"), capture("map.png"), capture("text.png")}}
	for i, status := range []detect.Status{detect.StatusNoPanel, detect.StatusNoPanel, detect.StatusRead, detect.StatusUnreadable} {
		run.Captures[i].Status = status
	}
	r := LetIn(run)
	if r.LetIn.K != 1 || r.LetIn.N != 3 || r.Unreadable != 1 {
		t.Errorf("%+v", r)
	}
	var b strings.Builder
	if err := WriteLetInText(&b, r); err != nil || strings.Contains(b.String(), "map.png") || !strings.Contains(b.String(), "(1/3)") {
		t.Errorf("%q (%v)", b.String(), err)
	}
}
