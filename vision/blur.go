package vision

import (
	"math"
	"sort"
)

// How sharp a photo is in which nothing was found.
//
// A step of height h, blurred by a Gaussian of standard deviation s, rises by at
// most h/(s√2π) per pixel. So an edge's height and its steepest rise tell its blur.
// Every scene has some edges that are sharp if the photo is: the sharpest tenth is
// taken, and the worse of rows and columns, since a shaken photo may be sharp
// across one of them.

const (
	blurReach  = 12   // pixels to either side over which an edge's height is taken
	blurStride = 8    // every eighth row and column is looked at
	blurHeight = 50   // grey values that an edge must have
	blurShare  = 0.1  // of the edges: the sharpest
	fewEdges   = 50   // too few edges to tell
	clearPx    = 3.0  // blur above which no marker of a sheet in usual distance can be read
	usualPx    = 4000 // of a 12-megapixel photo, for which clearPx holds
)

// maxBlurPx is clearPx, more for a photo of more pixels.
func maxBlurPx(g *Gray) float64 {
	return clearPx * math.Max(1, float64(max(g.Width, g.Height))/usualPx)
}

// sharpestBlurPx is the blur of the photo's sharpest edges, 0 when it has too few.
func sharpestBlurPx(g *Gray) float64 {
	var rows, columns []float64
	for y := 0; y < g.Height; y += blurStride {
		rows = appendBlurs(rows, g.Pix[y*g.Width:(y+1)*g.Width])
	}
	column := make([]uint8, g.Height)
	for x := 0; x < g.Width; x += blurStride {
		for y := range column {
			column[y] = g.At(x, y)
		}
		columns = appendBlurs(columns, column)
	}
	return math.Max(sharpest(rows), sharpest(columns))
}

func sharpest(blurs []float64) float64 {
	if len(blurs) < fewEdges {
		return 0
	}
	sort.Float64s(blurs)
	return blurs[int(blurShare*float64(len(blurs)))]
}

// appendBlurs appends the blur of every edge along a line: of each place where the
// rise is the steepest within reach.
func appendBlurs(blurs []float64, line []uint8) []float64 {
	rise := func(i int) float64 { return math.Abs(float64(line[i+1])-float64(line[i-1])) / 2 }
	for i := blurReach; i < len(line)-blurReach; i++ {
		top := rise(i)
		if top < blurHeight/(2*blurReach) {
			continue
		}
		low, high := line[i], line[i]
		steepest := true
		for k := i - blurReach + 1; k < i+blurReach; k++ {
			low, high = min(low, line[k]), max(high, line[k])
			if k != i && rise(k) > top {
				steepest = false
				break
			}
		}
		if height := float64(high) - float64(low); steepest && height >= blurHeight {
			blurs = append(blurs, height/(top*math.Sqrt(2*math.Pi)))
			i += blurReach
		}
	}
	return blurs
}
