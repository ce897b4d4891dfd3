package eval_test

import (
	"fmt"

	"shadowgap/detect"
	"shadowgap/eval"
)

func ExampleIoU() {
	label := detect.Box{X: 0, Y: 0, W: 10, H: 10}
	mark := detect.Box{X: 5, Y: 0, W: 10, H: 10}
	fmt.Printf("%.3f\n", eval.IoU(label, mark))
	// Output: 0.333
}

func ExampleWilson() {
	low, high := eval.Wilson(15, 148, 0.95)
	fmt.Printf("15 of 148 is %.3f, 95 %% interval %.4f to %.4f\n", 15.0/148, low, high)
	// Output: 15 of 148 is 0.101, 95 % interval 0.0624 to 0.1605
}

func ExampleAveragePrecision() {
	marks := []eval.Scored{{Score: 0.8, True: true}, {Score: 0.4}, {Score: 0.35, True: true}, {Score: 0.1}}
	fmt.Printf("%.4f with both found, %.4f with two more never found\n", eval.AveragePrecision(marks, 2), eval.AveragePrecision(marks, 4))
	// Output: 0.8333 with both found, 0.4167 with two more never found
}
