// The bindings wrap no call that sets OpenCV's number of threads; this declares the one that core exports.
namespace cv {
void setNumThreads(int n);
}

extern "C" void frame_use_one_thread() { cv::setNumThreads(1); }
