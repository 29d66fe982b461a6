#include "opencv.h"

#include <algorithm>
#include <cstdlib>
#include <vector>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "aruco.hpp"

namespace {

#ifdef __GLIBC__
// glibc keeps freed pictures in an arena for each thread that decoded one, and Go moves
// from thread to thread: with a single arena three photos of 12 megapixels peak a fifth
// lower, and take no longer.
[[maybe_unused]] const int oneArena = mallopt(M_ARENA_MAX, 1);
#endif

// A grey picture resized by a scale; the same memory for scale 1.
cv::Mat resized(const unsigned char *pix, int width, int height, double scale) {
  const cv::Mat grey(height, width, CV_8UC1, const_cast<unsigned char *>(pix));
  if (scale == 1) return grey;
  cv::Mat out;
  cv::resize(grey, out, cv::Size(cvRound(width * scale), cvRound(height * scale)), 0, 0,
             scale < 1 ? cv::INTER_AREA : cv::INTER_CUBIC);
  return out;
}

// A coordinate of the resized picture in the picture itself. Whole numbers are pixel
// centres in both; their outer edges agree.
float back(float at, double ratio) { return static_cast<float>(ratio * (at + 0.5) - 0.5); }

// A picture with more of its fine detail (unsharp masking): a photo blurs cells of a pixel or
// two into each other. Of the far markers of six photos 35 are read so, 6 without.
cv::Mat sharpened(const cv::Mat &grey) {
  const double blurPx = 1, amount = 3;
  cv::Mat out;
  cv::GaussianBlur(grey, out, cv::Size(), blurPx);
  cv::addWeighted(grey, 1 + amount, out, -amount, 0, out);
  return out;
}

// Writes the markers of a picture, their corners as they lie in another.
template <class Place>
int write_markers(const cv::Mat &grey, int window, rimpair_marker *out, int max, Place place) {
  rimpair::Corners corners;
  std::vector<int> ids;
  rimpair::detect(grey, window, corners, ids);
  const int n = std::min(max, static_cast<int>(ids.size()));
  for (int i = 0; i < n; i++) {
    out[i].id = ids[i];
    for (int k = 0; k < 4; k++) {
      const cv::Point2f at = place(corners[i][k]);
      out[i].x[k] = at.x;
      out[i].y[k] = at.y;
    }
  }
  return n;
}

} // namespace

int rimpair_find_markers(const unsigned char *pix, int width, int height, double scale,
                         int window, rimpair_marker *out, int max) {
  try {
    const cv::Mat grey = resized(pix, width, height, scale);
    const double sx = double(width) / grey.cols, sy = double(height) / grey.rows;
    return write_markers(grey, window, out, max, [=](cv::Point2f at) { return cv::Point2f(back(at.x, sx), back(at.y, sy)); });
  } catch (...) {
    return -1;
  }
}

int rimpair_find_mapped_markers(const unsigned char *pix, int width, int height, const double *h,
                                int mapped_width, int mapped_height, int window, rimpair_marker *out, int max) {
  try {
    const cv::Mat grey(height, width, CV_8UC1, const_cast<unsigned char *>(pix));
    const cv::Matx33d map(h);
    cv::Mat mapped;
    cv::warpPerspective(sharpened(grey), mapped, map, cv::Size(mapped_width, mapped_height), cv::INTER_CUBIC | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);
    return write_markers(mapped, window, out, max, [&](cv::Point2f at) {
      const cv::Vec3d p = map * cv::Vec3d(at.x, at.y, 1);
      return cv::Point2f(static_cast<float>(p[0] / p[2]), static_cast<float>(p[1] / p[2]));
    });
  } catch (...) {
    return -1;
  }
}

int rimpair_find_chessboard(const unsigned char *pix, int width, int height, double scale,
                            int columns, int rows, float *x, float *y) {
  try {
    const cv::Mat grey = resized(pix, width, height, scale);
    std::vector<cv::Point2f> corners;
    // Without the fast check, a picture of mere noise takes minutes.
    if (!cv::findChessboardCorners(grey, cv::Size(columns, rows), corners,
                                   cv::CALIB_CB_ADAPTIVE_THRESH | cv::CALIB_CB_NORMALIZE_IMAGE | cv::CALIB_CB_FAST_CHECK)) {
      return 0;
    }
    for (size_t i = 0; i < corners.size(); i++) {
      x[i] = back(corners[i].x, double(width) / grey.cols);
      y[i] = back(corners[i].y, double(height) / grey.rows);
    }
    return 1;
  } catch (...) {
    return -1;
  }
}
