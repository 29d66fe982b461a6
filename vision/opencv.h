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

// Finds the inner corners of a chessboard in a grey picture, resized beforehand by
// the given scale, row by row. Returns 1 when all columns * rows were written to x
// and y, 0 when no board was found, or -1 on failure.
int rimpair_find_chessboard(const unsigned char *pix, int width, int height, double scale,
                            int columns, int rows, float *x, float *y);

// What OpenCV by itself finds of some sheets in a picture at full size: markers, then
// their interpolated corners. Writes how many corners of each sheet, then sheet by sheet
// their numbers on it and their places; all have room for all corners of all sheets.
// Returns 0, or -1 on failure.
int rimpair_opencv_sheets(const unsigned char *pix, int width, int height, int columns, int rows,
                          int sheets, int markers_each, int *counts, int *index, float *x, float *y);

// OpenCV's calibration with square pixels from several views of flat targets: counts
// says how many points each view has, (board_x, board_y) where they lie on the target.
// Returns the RMS of its residuals, or a negative number on failure.
double rimpair_opencv_calibrate(int views, const int *counts, const float *board_x, const float *board_y,
                                const float *x, const float *y, int width, int height);

// Decodes a JPEG, PNG or WebP file to grey in stored orientation. The picture must
// have the given size. Returns 0, or -1 on failure.
int rimpair_decode_grey(const unsigned char *file, size_t length, unsigned char *pix,
                        int width, int height);

// The same with its blue beside the grey.
int rimpair_decode_colours(const unsigned char *file, size_t length, unsigned char *grey,
                           unsigned char *blue, int width, int height);

#ifdef __cplusplus
}
#endif
#endif
