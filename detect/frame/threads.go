package frame

// #cgo LDFLAGS: -lopencv_core
// void frame_use_one_thread(void);
import "C"

// useOneThread keeps OpenCV, in the whole process, to the thread that calls it: what a capture costs must not depend on how many
// cores a machine has, and workers share those among themselves.
func useOneThread() { C.frame_use_one_thread() }
