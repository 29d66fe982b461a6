package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

type vec = r3.Vec

func dot(a, b vec) float64            { return r3.Dot(a, b) }
func cross(a, b vec) vec              { return r3.Cross(a, b) }
func plus(a, b vec) vec               { return r3.Add(a, b) }
func minus(a, b vec) vec              { return r3.Sub(a, b) }
func times(f float64, a vec) vec      { return r3.Scale(f, a) }
func between(a, b vec, f float64) vec { return plus(times(1-f, a), times(f, b)) }

func norm2(a vec) float64 { return r3.Norm2(a) }

// norm and unit do without r3's care for overflow, which costs more than all else
// here: lengths are from 1e-3 to 1e6 mm.
func norm(a vec) float64 { return math.Sqrt(norm2(a)) }
func unit(a vec) vec     { return r3.Scale(1/norm(a), a) }
