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
