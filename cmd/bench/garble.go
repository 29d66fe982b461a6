package main

import (
	"encoding/binary"
	"math/rand/v2"
	"slices"
)

// garble spoils a file as transmission, bad memory or ill will do: the draw decides
// where and how, so that the same seed spoils alike. Every second time it spoils the
// first part, where most formats say what follows.
func garble(r *rand.Rand, seeds [][]byte) []byte {
	b := slices.Clone(seeds[r.IntN(len(seeds))])
	for range 1 + r.IntN(4) {
		if len(b) == 0 {
			return b
		}
		reach := len(b)
		if r.IntN(2) == 0 {
			reach = min(reach, 400)
		}
		at := r.IntN(reach)
		n := min(1+r.IntN(16), len(b)-at)
		switch r.IntN(8) {
		case 0: // a bit
			b[at] ^= 1 << r.IntN(8)
		case 1: // some bytes
			for i := range n {
				b[at+i] = byte(r.Uint32())
			}
		case 2: // the end
			b = b[:at]
		case 3: // a piece is missing
			b = slices.Delete(b, at, at+n)
		case 4: // a piece comes twice, or often
			b = slices.Insert(b, at, slices.Repeat(slices.Clone(b[at:at+n]), 1+r.IntN(50))...)
		case 5: // a number of extreme size
			extremes := []uint32{0, 1, 0x7f, 0xff, 0x7fff, 0xffff, 0x7fffffff, 0xffffffff, 0x80000000}
			var number [4]byte
			binary.BigEndian.PutUint32(number[:], extremes[r.IntN(len(extremes))])
			copy(b[at:], number[r.IntN(4):])
		case 6: // words that mean something to a parser
			words := []string{"null", "[[[[[[[[", "{\"a\":", "1e999", "-0", "\"\\ud800\"", "../", "\x00", "18446744073709551616", "Exif\x00\x00", "NaN"}
			b = slices.Insert(b, at, []byte(words[r.IntN(len(words))])...)
		case 7: // another file's rest
			other := seeds[r.IntN(len(seeds))]
			b = append(b[:at], other[r.IntN(len(other)+1):]...)
		}
	}
	return b
}
