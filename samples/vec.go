package samples

import "gonum.org/v1/gonum/spatial/r3"

type vec = r3.Vec

func dot(a, b vec) float64            { return r3.Dot(a, b) }
func cross(a, b vec) vec              { return r3.Cross(a, b) }
func plus(a, b vec) vec               { return r3.Add(a, b) }
func minus(a, b vec) vec              { return r3.Sub(a, b) }
func times(f float64, a vec) vec      { return r3.Scale(f, a) }
func unit(a vec) vec                  { return r3.Unit(a) }
func between(a, b vec, f float64) vec { return plus(times(1-f, a), times(f, b)) }

func norm(a vec) float64  { return r3.Norm(a) }
func norm2(a vec) float64 { return r3.Norm2(a) }
