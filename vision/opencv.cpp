#include "opencv.h"

#include <algorithm>
#include <cstdlib>
#include <vector>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/core/version.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

// The marker detector moved from the contributed module with free functions to
// classes in objdetect with OpenCV 4.7.
#define RIMPAIR_ARUCO_CLASSES (CV_VERSION_MAJOR > 4 || (CV_VERSION_MAJOR == 4 && CV_VERSION_MINOR >= 7))
#if RIMPAIR_ARUCO_CLASSES
#include <opencv2/objdetect/aruco_detector.hpp>
#include <opencv2/objdetect/charuco_detector.hpp>
#else
#include <opencv2/aruco.hpp>
#include <opencv2/aruco/charuco.hpp>
#endif

namespace {

#ifdef __GLIBC__
// glibc keeps freed pictures in an arena for each thread that decoded one, and Go moves
// from thread to thread: with a single arena three photos of 12 megapixels peak a fifth
// lower, and take no longer.
[[maybe_unused]] const int oneArena = mallopt(M_ARENA_MAX, 1);
#endif

using Corners = std::vector<std::vector<cv::Point2f>>;

// The defaults lose the markers of a large photo: they may be 20 px wide in 4000,
// and in a phone's tone curve white bleeds over the rims of the black cells.
template <class Parameters> void tune(Parameters &p, int window) {
  p.minMarkerPerimeterRate = 0.005;
  p.perspectiveRemoveIgnoredMarginPerCell = 0.33;
  p.cornerRefinementMethod = cv::aruco::CORNER_REFINE_NONE;
  if (window > 0) {
    p.adaptiveThreshWinSizeMin = p.adaptiveThreshWinSizeMax = window;
  }
}

void detect(const cv::Mat &grey, int window, Corners &corners, std::vector<int> &ids) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
#if RIMPAIR_ARUCO_CLASSES
  cv::aruco::DetectorParameters parameters;
  tune(parameters, window);
  cv::aruco::ArucoDetector(dictionary, parameters).detectMarkers(grey, corners, ids);
#else
  const auto parameters = cv::aruco::DetectorParameters::create();
  tune(*parameters, window);
  cv::aruco::detectMarkers(grey, dictionary, corners, ids, parameters);
#endif
}

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

} // namespace

int rimpair_find_markers(const unsigned char *pix, int width, int height, double scale,
                         int window, rimpair_marker *out, int max) {
  try {
    const cv::Mat grey = resized(pix, width, height, scale);
    Corners corners;
    std::vector<int> ids;
    detect(grey, window, corners, ids);
    const double sx = double(width) / grey.cols, sy = double(height) / grey.rows;
    const int n = std::min(max, static_cast<int>(ids.size()));
    for (int i = 0; i < n; i++) {
      out[i].id = ids[i];
      for (int k = 0; k < 4; k++) {
        out[i].x[k] = back(corners[i][k].x, sx);
        out[i].y[k] = back(corners[i][k].y, sy);
      }
    }
    return n;
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

int rimpair_opencv_sheets(const unsigned char *pix, int width, int height, int columns, int rows,
                          int sheets, int markers_each, int *counts, int *index, float *x, float *y) {
  try {
    const cv::Mat grey(height, width, CV_8UC1, const_cast<unsigned char *>(pix));
    Corners corners;
    std::vector<int> ids;
    detect(grey, 0, corners, ids);
    const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
#if RIMPAIR_ARUCO_CLASSES
    const cv::aruco::CharucoBoard board(cv::Size(columns, rows), 4, 3, dictionary);
#else
    const auto board = cv::aruco::CharucoBoard::create(columns, rows, 4, 3, dictionary);
#endif
    int k = 0;
    for (int sheet = 0; sheet < sheets; sheet++) {
      Corners mine;
      std::vector<int> own;
      for (size_t i = 0; i < ids.size(); i++) {
        if (ids[i] / markers_each == sheet) {
          mine.push_back(corners[i]);
          own.push_back(ids[i] % markers_each);
        }
      }
      std::vector<cv::Point2f> found;
      std::vector<int> numbers;
      if (!own.empty()) {
#if RIMPAIR_ARUCO_CLASSES
        cv::aruco::CharucoDetector(board).detectBoard(grey, found, numbers, mine, own);
#else
        cv::aruco::interpolateCornersCharuco(mine, own, grey, board, found, numbers);
#endif
      }
      counts[sheet] = static_cast<int>(found.size());
      for (size_t i = 0; i < found.size(); i++, k++) {
        index[k] = numbers[i];
        x[k] = found[i].x;
        y[k] = found[i].y;
      }
    }
    return 0;
  } catch (...) {
    return -1;
  }
}

double rimpair_opencv_calibrate(int views, const int *counts, const float *board_x, const float *board_y,
                                const float *x, const float *y, int width, int height) {
  try {
    std::vector<std::vector<cv::Point3f>> targets(views);
    Corners pictures(views);
    for (int v = 0, k = 0; v < views; v++) {
      for (int i = 0; i < counts[v]; i++, k++) {
        targets[v].emplace_back(board_x[k], board_y[k], 0.f);
        pictures[v].emplace_back(x[k], y[k]);
      }
    }
    cv::Mat matrix = cv::Mat::eye(3, 3, CV_64F), distortion;
    std::vector<cv::Mat> turns, shifts;
    return cv::calibrateCamera(targets, pictures, cv::Size(width, height), matrix, distortion, turns, shifts,
                               cv::CALIB_FIX_ASPECT_RATIO);
  } catch (...) {
    return -1;
  }
}

int rimpair_decode_colours(const unsigned char *file, size_t length, unsigned char *grey,
                           unsigned char *blue, int width, int height) {
  try {
    const cv::Mat bytes(1, static_cast<int>(length), CV_8UC1, const_cast<unsigned char *>(file));
    const cv::Mat colours = cv::imdecode(bytes, cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    if (colours.cols != width || colours.rows != height) return -1;
    cv::Mat greys(height, width, CV_8UC1, grey), blues(height, width, CV_8UC1, blue);
    cv::cvtColor(colours, greys, cv::COLOR_BGR2GRAY);
    cv::extractChannel(colours, blues, 0);
    return 0;
  } catch (...) {
    return -1;
  }
}

int rimpair_decode_grey(const unsigned char *file, size_t length, unsigned char *pix,
                        int width, int height) {
  try {
    const cv::Mat bytes(1, static_cast<int>(length), CV_8UC1, const_cast<unsigned char *>(file));
    cv::Mat grey(height, width, CV_8UC1, pix);
    cv::imdecode(bytes, cv::IMREAD_GRAYSCALE | cv::IMREAD_IGNORE_ORIENTATION, &grey);
    // OpenCV decodes in place when the size is as announced, and elsewhere, or
    // nowhere, when it is not.
    return grey.data == pix ? 0 : -1;
  } catch (...) {
    return -1;
  }
}
