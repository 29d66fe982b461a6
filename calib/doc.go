// Package calib describes what stands between the scene and the picture, and
// nothing of the vehicle: the lens (Camera), where a body is (Pose), and the
// printed reference sheet (its layout and its PDF).
//
// # Lens
//
// A point X in camera coordinates (x right, y down, z forward, mm) projects with
//
//	a = X/Z, b = Y/Z, s = a² + b²
//	a' = a(1 + k1 s + k2 s² + k3 s³) + 2 p1 a b + p2 (s + 2a²)
//	b' = b(1 + k1 s + k2 s² + k3 s³) + p1 (s + 2b²) + 2 p2 a b
//	u = f a' + cx, v = f b' + cy
//
// which is OpenCV's model (Brown, "Close-range camera calibration",
// Photogrammetric Engineering 37(8), 1971) with square pixels. The centre of the
// top left pixel is (0, 0).
package calib
