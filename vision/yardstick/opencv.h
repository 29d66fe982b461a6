// What OpenCV by itself makes of photos. Every function catches what OpenCV throws, and
// writes only into memory that the caller owns.
#ifndef RIMPAIR_YARDSTICK_OPENCV_H
#define RIMPAIR_YARDSTICK_OPENCV_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

// Decodes a photo to grey and finds markers in it at full size, with OpenCV's three
// thresholds. Returns how many, or -1 on failure.
int rimpair_opencv_markers(const unsigned char *file, size_t length);

// Decodes a photo to grey, writes its size, and finds what OpenCV by itself finds of some
// sheets in it at full size: markers, then their interpolated corners. Writes how many
// corners of each sheet, then sheet by sheet their numbers on it and their places; all have
// room for all corners of all sheets. Returns 0, or -1 on failure.
int rimpair_opencv_sheets(const unsigned char *file, size_t length, int *width, int *height,
                          int columns, int rows, int sheets, int markers_each,
                          int *counts, int *index, float *x, float *y);

// OpenCV's calibration with square pixels from several views of flat targets: counts
// says how many points each view has, (board_x, board_y) where they lie on the target.
// Returns the RMS of its residuals, or a negative number on failure.
double rimpair_opencv_calibrate(int views, const int *counts, const float *board_x, const float *board_y,
                                const float *x, const float *y, int width, int height);

#ifdef __cplusplus
}
#endif
#endif
