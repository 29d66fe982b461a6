// Package vision turns pixels into features: it loads photos, finds the corners
// of the reference sheets, samples sub-pixel edges along given lines, and fits
// ellipses. It knows pictures, never a vehicle.
package vision
