package network

// #include <stdlib.h> // which tells whether this is the GNU C library
// #ifdef __GLIBC__
// #include <malloc.h>
// #endif
//
// static void return_freed(void) {
// #ifdef __GLIBC__
//	malloc_trim(0);
// #endif
// }
import "C"

// returnFreed hands back to the system what the C library has free, which it would else keep: to load a network takes several times its
// size for a moment.
func returnFreed() { C.return_freed() }
