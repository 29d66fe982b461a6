// Package report turns numbers into what people read: text for a terminal, JSON
// for programs, the photos with everything drawn on them that was used, and one
// rectified view from above. It computes no measurement; it rounds, words and draws.
//
// # Rounding
//
// People are shown the half-width of the 95 % interval with two significant
// digits and the value to the same decimal place (JCGM 100:2008, 7.2.6). JSON is
// never rounded.
//
// # Pictures
//
// Places in a photo come in stored pixels with centres at whole numbers, as the
// measuring uses them. Photos are turned upright by their orientation tag for
// display only, and the marks with them. The drawing library counts from the top
// left pixel's corner, half a pixel further up and left than its centre.
package report
