// The marker detector of OpenCV as it is used here. Package yardstick includes it as well, where
// go does not see a change of it: build with -a then.
#ifndef RIMPAIR_VISION_ARUCO_HPP
#define RIMPAIR_VISION_ARUCO_HPP

#include <vector>

#include <opencv2/core.hpp>
#include <opencv2/core/version.hpp>

// It moved from the contributed module with free functions to classes in objdetect
// with OpenCV 4.7.
#define RIMPAIR_ARUCO_CLASSES (CV_VERSION_MAJOR > 4 || (CV_VERSION_MAJOR == 4 && CV_VERSION_MINOR >= 7))
#if RIMPAIR_ARUCO_CLASSES
#include <opencv2/objdetect/aruco_detector.hpp>
#else
#include <opencv2/aruco.hpp>
#endif

namespace rimpair {

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

// Finds the sheets' markers with one adaptive threshold of the given window, or with
// OpenCV's three for window 0.
inline void detect(const cv::Mat &grey, int window, Corners &corners, std::vector<int> &ids) {
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

} // namespace rimpair
#endif
