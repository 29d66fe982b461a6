// Decoding JPEG with libjpeg itself: OpenCV's module for it brings a hundred libraries
// along, whose loading takes as long as decoding a photo.
#ifndef RIMPAIR_VISION_JPEG_H
#define RIMPAIR_VISION_JPEG_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { RIMPAIR_JPEG_DECODED = 0, RIMPAIR_JPEG_DAMAGED = -1, RIMPAIR_JPEG_OTHER_COLOURS = -2 };

// Decodes a JPEG file of the given size in stored orientation to grey and, where blue is
// not null, its blue beside it. A file whose colours are neither grey nor red, green and
// blue is left alone.
int rimpair_decode_jpeg(const unsigned char *file, size_t length, unsigned char *grey,
                        unsigned char *blue, int width, int height);

#ifdef __cplusplus
}
#endif
#endif
