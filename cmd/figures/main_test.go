package main

import (
	"errors"
	"os"
	"testing"

	"shadowgap/eval/figures"
)

// The README quotes figures of the summary that make score writes and is committed; a figure typed by hand drifts.
func TestReadmeQuotesTheSummary(t *testing.T) {
	const readme, kept = "../../README.md", "../../testdata/score/summary.json"
	bounds, err := figures.Project()
	if err != nil {
		t.Fatal(err)
	}
	summary, err := figures.Load(kept)
	if err != nil {
		t.Fatal(err)
	}
	if summary == nil {
		t.Fatalf("%s is not there: make score writes it", kept)
	}
	data, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	text, err := summary.Quote(string(data), bounds)
	if errors.Is(err, figures.ErrNoFigures) {
		t.Skip("README.md quotes no figures yet")
	}
	if err != nil {
		t.Fatal(err)
	}
	if text != string(data) {
		t.Errorf("README.md quotes figures that are not those of the summary: go run ./cmd/figures -quote README.md")
	}
}

func TestRun(t *testing.T) {
	dir := t.TempDir()
	text, kept := dir+"/text.md", dir+"/summary.json"
	value := figures.Summary{Schema: figures.Schema, Values: map[string]figures.Value{"refused.unseen": {Value: 0.02}}}
	if err := value.Save(kept); err != nil {
		t.Fatal(err)
	}
	const old, want = "<!-- figure refused.unseen 2 -->?<!-- /figure -->\n", "<!-- figure refused.unseen 2 -->0.02<!-- /figure -->\n"
	if err := os.WriteFile(text, []byte(old), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := run(settings{summary: kept, check: text}, nil); err == nil {
		t.Error("an old figure passed")
	}
	if err := run(settings{summary: kept, quote: text}, nil); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(text); err != nil || string(got) != want {
		t.Errorf("got %q (%v)", got, err)
	}
	if err := run(settings{summary: kept, check: text}, nil); err != nil {
		t.Error(err)
	}
	for name, s := range map[string]settings{
		"no parts":   {summary: kept, parts: dir + "/none", root: "../.."},
		"no summary": {summary: dir + "/none.json", check: text},
		"no text":    {summary: kept, check: dir + "/none.md"},
	} {
		if err := run(s, nil); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
