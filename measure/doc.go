// Package measure turns features into numbers: one weighted least-squares
// adjustment over all photos of one state of a vehicle gives cameras, sheets and
// the two front wheels together, and from them toe, camber and track with their
// uncertainty.
//
// # Frame
//
// Millimetres; x to the vehicle's right, y forward, z up, the origin at the middle
// of the first sheet, the floor at z = 0.
//
// # A wheel
//
// A wheel is a body of revolution. With heading ψ and tilt γ of its axle (which
// points to the vehicle's right) its own axes are
//
//	axle    a = ( cosψ cosγ,  sinψ cosγ, sinγ)
//	forward f = (−sinψ,       cosψ,      0   )   wheel plane ∩ horizontal plane
//	up      k = (−cosψ sinγ, −sinψ sinγ, cosγ)
//
// Toe-in is −ψ on the left and +ψ on the right, camber (top outward) +γ on the
// left and −γ on the right.
//
// # What is seen of it
//
// The tyre is a torus: spheres of radius r along a circle of radius R. What one
// sees of it against its surroundings is its apparent contour: the points
// Q + r m of the tube about Q = C + R e(u), with m ⊥ the circle's tangent, where
// the ray from the camera O grazes the surface, m·(Q + r m − O) = 0. With
// m = cosφ e + sinφ a this is
//
//	cosφ e·(Q−O) + sinφ a·(Q−O) = −r,
//
// which has two solutions φ for each u: the outer and the inner contour. The rim
// shows true circles about its own axis, which the tyre's may wobble about.
//
// An edge point p observes the signed distance n·(p − π(X)) to the nearest
// predicted contour point X along the contour's normal n in the picture. Its
// derivative by any unknown is −n·∂π(X)/∂θ with X held on the body: sliding along
// the contour moves X across n only in second order, and sliding along the ray
// not at all (the envelope theorem).
package measure
