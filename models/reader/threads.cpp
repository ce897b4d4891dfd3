// The bindings wrap no call that sets OpenCV's number of threads; this declares the one that core exports.
#include <cstdlib>
#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace cv {
void setNumThreads(int n);
}

extern "C" void reader_use_one_thread() { cv::setNumThreads(1); }

// The networks take and free some tens of megabytes for every picture. By default the C library hands them back to the system each time,
// which then clears them page by page for the next one.
extern "C" void reader_keep_memory() {
#ifdef __GLIBC__
	mallopt(M_MMAP_THRESHOLD, 32 << 20); // the most that it takes
	mallopt(M_TRIM_THRESHOLD, 32 << 20);
#endif
}
