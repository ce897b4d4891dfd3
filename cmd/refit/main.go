// Command refit looks at captures whose truth is known. It writes them down as the finder's network sees them, for
// models/finder/fit.py, or as they are, for models/reader/fit.py, or what lies beside their nadirs, for models/axis/fit.py, or fits the
// boosted trees that judge what the detector proposes in them, at once or in parts that several machines have looked at, or
// writes the mean of several such fits.
//
//	go run ./cmd/refit -others 2500 -first 1 -shown DIR
//	go run ./cmd/refit -scenes 11500 -first 30001 -setin 3500 -views views.bin
//	go run ./cmd/refit -scenes 1500 -others 200 -first 1 -paths paths.jsonl
//	go run ./cmd/refit -scenes 1500 -first 62001 -setin 1600 -thin 0.25 -apart finder.onnx -held 'real-3_*' -trees models/weights.json.gz
//	go run ./cmd/refit -scenes 1500 -first 62001 -setin 1600 -thin 0.25 -apart finder.onnx -held 'real-3_*' -samples part.gob
//	go run ./cmd/refit -from part.gob -from another.gob -trees models/weights.json.gz
//	go run ./cmd/refit -mean ONE/weights.json.gz -mean OTHER/weights.json.gz -trees models/weights.json.gz
//
// Seeds below 100000 are its own; it refuses others. Of the open pictures only half A (testdata/open/halves.json) and the first half by
// name of the effigy tiles take part. It is run from the repository's root.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"

	"shadowgap/eval/refit"
	"shadowgap/models/network"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	s := refit.Settings{Models: "models"}
	flag.IntVar(&s.Scenes, "scenes", 4000, "scenes to render")
	flag.IntVar(&s.SetIn, "setin", 0, "open pictures to render with things set in; needs -open")
	flag.IntVar(&s.Others, "others", 0, "captures to render of each world by another hand")
	flag.Int64Var(&s.First, "first", 1, "seed of the first")
	flag.StringVar(&s.Open, "open", "../shared/open-data", "folder of the open pictures; \"\" = without")
	flag.StringVar(&s.Labels, "labels", "testdata/open", "folder of labels.json and halves.json for them")
	flag.StringVar(&s.Views, "views", "", "file to write the sides to as the finder sees them; nothing else is done then")
	flag.StringVar(&s.Paths, "paths", "", "file to write the paths of nadirs to, for models/axis/fit.py; nothing else is done then")
	flag.StringVar(&s.Shown, "shown", "", "folder to write the captures of -others to, for models/reader/fit.py; nothing else is done then")
	flag.StringVar(&s.Samples, "samples", "", "file to write what is found to, for -from; no trees are fitted then")
	flag.Func("from", "file of -samples to fit the trees on, instead of looking; may be given several times", func(file string) error {
		s.From = append(s.From, file)
		return nil
	})
	flag.Func("mean", "file of -trees, with its stages beside it, to write the mean of, instead of looking; may be given several times",
		func(file string) error {
			s.Mean = append(s.Mean, file)
			return nil
		})
	flag.StringVar(&s.Trees, "trees", "", "file to write the fitted trees to")
	flag.Float64Var(&s.Thin, "thin", 1, "part of the rendered clutter that the trees are fitted on, above 0 and at most 1")
	flag.StringVar(&s.Apart, "apart", "", "finder (ONNX) fitted without the groups of -held, for those; other real pictures are left out")
	flag.Func("held", "pattern of groups held out of that finder's fit, such as 'real-3_*'; may be given several times", func(p string) error {
		s.Held = append(s.Held, p)
		return nil
	})
	flag.Parse()
	if err := network.Check(); err != nil { // before minutes of rendering
		fmt.Fprintln(os.Stderr, "refit:", err)
		os.Exit(1)
	}
	if err := refit.Run(ctx, s, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "refit:", err)
		os.Exit(1)
	}
}
