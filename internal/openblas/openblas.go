// Package openblas sends the threads away that OpenBLAS starts in every process. OpenCV is linked against it; nothing here calls it.
package openblas

// #cgo CFLAGS: -D_GNU_SOURCE
// #cgo linux LDFLAGS: -ldl
// #include <dlfcn.h>
// #include <stddef.h>
//
// static int end_threads(void) {
//	int (*shutdown)(void) = NULL;
//	*(void **)&shutdown = dlsym(RTLD_DEFAULT, "blas_thread_shutdown_");
//	return shutdown != NULL && shutdown() == 0;
// }
import "C"

// EndThreads ends OpenBLAS's threads, one a core, which begin as its library is loaded and take a tenth of a second of processor time each
// looking for work before they sleep. A call into OpenBLAS would start them anew. ended is false where there is no OpenBLAS in the
// process, as with OpenCV built against another library.
func EndThreads() (ended bool) { return C.end_threads() != 0 }
