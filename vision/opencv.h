// Calls into OpenCV that gocv does not offer. Every function catches what OpenCV
// throws, and writes only into memory that the caller owns.
#ifndef RIMPAIR_VISION_OPENCV_H
#define RIMPAIR_VISION_OPENCV_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

// A marker of the sheets' dictionary: its number and its four corners in pixels,
// clockwise from the marker's own top left.
typedef struct {
  int id;
  float x[4], y[4];
} rimpair_marker;

// Finds markers in a grey picture, resized beforehand by the given scale, with one
// adaptive threshold of the given window (px, odd), or with OpenCV's usual three
// for window 0. Returns how many were written to out, at most max, or -1 on failure.
int rimpair_find_markers(const unsigned char *pix, int width, int height, double scale,
                         int window, rimpair_marker *out, int max);

// The same in a picture of the given size that is made of the grey one, sharpened: its
// pixel (x, y) is from where the homography h, row by row, maps it. The markers' corners
// are mapped back.
int rimpair_find_mapped_markers(const unsigned char *pix, int width, int height, const double *h,
                                int mapped_width, int mapped_height, int window, rimpair_marker *out, int max);

// Finds the inner corners of a chessboard in a grey picture, resized beforehand by
// the given scale, row by row. Returns 1 when all columns * rows were written to x
// and y, 0 when no board was found, or -1 on failure.
int rimpair_find_chessboard(const unsigned char *pix, int width, int height, double scale,
                            int columns, int rows, float *x, float *y);

#ifdef __cplusplus
}
#endif
#endif
