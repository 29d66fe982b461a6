// Package samples makes test scenes: an invented tricycle with reference sheets
// on a floor, and photos of it whose truth is known exactly.
//
// # Truth
//
// Frame: millimetres, x to the vehicle's right, y forward, z up, floor at z = 0,
// origin on the floor between the front hubs. A wheel's axis is the unit vector
// along its axle that points to the vehicle's right. With outward = -1 on the left
// and +1 on the right:
//
//	toe    = outward · atan2(axis.y, axis.x)     positive: fronts closer together
//	camber = -outward · asin(axis.z)             positive: top leans outward
//	total toe = D (sin toe_left + sin toe_right) with the rim's outer diameter D
//	track = hub_right.x - hub_left.x
//	gap = |P_right - P_left|, where P is the foremost (rearmost) point of the circle
//	      of diameter D about hub - outward·axis·(width/2 - 1): the crest of the
//	      rim's inner flange, which is rounded by 1 mm
//
// The spin axis is called axle. The rim stands off it by its run-out: peak to peak
// run-out at diameter D means a tilt of atan(pp/D); the tyre stands off the rim in
// the same manner by its wobble.
//
// # Pictures
//
// Rays are cast from the true camera (distortion and all) against solids with
// closed-form or safely iterated intersections: once a pixel, and where an edge of a
// tyre, a rim or a sheet crosses the pixel 64 times, at places that share it out
// evenly whichever way the edge runs. So before the lens blurs it, such an edge lies
// where geometry puts it, without bias and to 0.015 px (standard deviation at one
// place along it). What a lens and a phone do to the picture (blur, motion, noise,
// tone, sharpening, JPEG) is a separate step with its own seed: the geometry of a
// scene does not change with it.
//
// A tyre is a torus down to its shoulders, then a side wall that bends in to the
// bead inside the rim's flange. It stands a few millimetres deep in the floor, which
// is how its flattened foot looks. The light is a sun with hard shadows or a sky with
// a soft lamp; there is no light from one part to another.
//
// The package shares no code with the measuring side, save the lens model, the pose
// and the sheet's layout in calib.
package samples
