#include "jpeg.h"

#include <algorithm>
#include <csetjmp>
#include <cstdio>

#include <jpeglib.h>

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

namespace {

// libjpeg's errors end in a function that may not return.
struct Errors {
  jpeg_error_mgr manager;
  std::jmp_buf stop;
};

void fail(j_common_ptr d) { std::longjmp(reinterpret_cast<Errors *>(d->err)->stop, 1); }
void fail(jpeg_decompress_struct &d) { fail(reinterpret_cast<j_common_ptr>(&d)); }

// Warnings are of damaged data, which the caller looks for, and go nowhere.
void ignore(j_common_ptr, int) {}

// Rows are converted while they are in the processor's cache.
constexpr int blockRows = 16;

bool convert(unsigned char *colours, int width, int rows, unsigned char *grey, unsigned char *blue) {
  try {
    const cv::Mat from(rows, width, CV_8UC3, colours);
    cv::Mat greys(rows, width, CV_8UC1, grey), blues(rows, width, CV_8UC1, blue);
    cv::cvtColor(from, greys, cv::COLOR_RGB2GRAY);
    cv::extractChannel(from, blues, 2);
    return true;
  } catch (...) {
    return false;
  }
}

// Reads so many rows, one after the other in memory.
void readRows(jpeg_decompress_struct &d, unsigned char *to, int rows) {
  const size_t rowBytes = size_t(d.output_width) * d.output_components;
  while (rows > 0) {
    JSAMPROW lines[blockRows];
    const int wanted = std::min(rows, blockRows);
    for (int i = 0; i < wanted; i++) lines[i] = to + i * rowBytes;
    const int got = jpeg_read_scanlines(&d, lines, wanted);
    if (got == 0) fail(d);
    rows -= got;
    to += got * rowBytes;
  }
}

void readColours(jpeg_decompress_struct &d, unsigned char *grey, unsigned char *blue) {
  const int width = d.output_width, height = d.output_height;
  // The memory is freed with d.
  auto *block = static_cast<unsigned char *>((*d.mem->alloc_large)(
      reinterpret_cast<j_common_ptr>(&d), JPOOL_IMAGE, size_t(blockRows) * width * d.output_components));
  for (int y = 0; y < height; y += blockRows) {
    const int rows = std::min(blockRows, height - y);
    readRows(d, block, rows);
    if (!convert(block, width, rows, grey + size_t(y) * width, blue + size_t(y) * width)) {
      fail(d);
    }
  }
}

} // namespace

int rimpair_decode_jpeg(const unsigned char *file, size_t length, unsigned char *grey,
                        unsigned char *blue, int width, int height) {
  jpeg_decompress_struct d;
  Errors errors;
  d.err = jpeg_std_error(&errors.manager);
  errors.manager.error_exit = fail;
  errors.manager.emit_message = ignore;
  // Nothing that needs destroying may stand on this stack: longjmp leaves it.
  if (setjmp(errors.stop)) {
    jpeg_destroy_decompress(&d);
    return RIMPAIR_JPEG_DAMAGED;
  }
  jpeg_create_decompress(&d);
  jpeg_mem_src(&d, const_cast<unsigned char *>(file), length);
  jpeg_read_header(&d, TRUE);
  if (int(d.image_width) != width || int(d.image_height) != height) fail(d);
  if (d.num_components != 1 && d.num_components != 3) {
    jpeg_destroy_decompress(&d);
    return RIMPAIR_JPEG_OTHER_COLOURS;
  }
  d.out_color_space = blue ? JCS_RGB : JCS_GRAYSCALE;
  jpeg_start_decompress(&d);
  if (blue) {
    readColours(d, grey, blue);
  } else {
    readRows(d, grey, height);
  }
  jpeg_finish_decompress(&d);
  jpeg_destroy_decompress(&d);
  return RIMPAIR_JPEG_DECODED;
}
