#include "opencv.h"

#include <vector>

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "../aruco.hpp"
#if RIMPAIR_ARUCO_CLASSES
#include <opencv2/objdetect/charuco_detector.hpp>
#else
#include <opencv2/aruco/charuco.hpp>
#endif

namespace {

using rimpair::Corners;

cv::Mat decoded(const unsigned char *file, size_t length) {
  const cv::Mat bytes(1, static_cast<int>(length), CV_8UC1, const_cast<unsigned char *>(file));
  return cv::imdecode(bytes, cv::IMREAD_GRAYSCALE | cv::IMREAD_IGNORE_ORIENTATION);
}

} // namespace

int rimpair_opencv_markers(const unsigned char *file, size_t length) {
  try {
    Corners corners;
    std::vector<int> ids;
    rimpair::detect(decoded(file, length), 0, corners, ids);
    return static_cast<int>(ids.size());
  } catch (...) {
    return -1;
  }
}

int rimpair_opencv_sheets(const unsigned char *file, size_t length, int *width, int *height,
                          int columns, int rows, int sheets, int markers_each,
                          int *counts, int *index, float *x, float *y) {
  try {
    const cv::Mat grey = decoded(file, length);
    *width = grey.cols;
    *height = grey.rows;
    Corners corners;
    std::vector<int> ids;
    rimpair::detect(grey, 0, corners, ids);
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
