package bare

import (
	"encoding/binary"
	"errors"
	"slices"

	"github.com/bep/imagemeta"
)

// Flags of the chunk VP8X (RFC 9649, 2.7).
const (
	webpXMP, webpEXIF = 0x04, 0x08
)

func bareWebP(file []byte) ([]byte, error) {
	size := int64(binary.LittleEndian.Uint32(file[4:])) + 8
	if size > int64(len(file)) {
		return nil, errDamaged
	}
	tiff := exifOf(file, imagemeta.WebP)
	out := []byte("RIFF\x00\x00\x00\x00WEBP")
	extended := false
	for at := int64(12); at+8 <= size; {
		kind := string(file[at : at+4])
		end := at + 8 + int64(binary.LittleEndian.Uint32(file[at+4:]))
		end += end % 2
		if end > size {
			return nil, errDamaged
		}
		chunk := slices.Clone(file[at:end])
		switch kind {
		case "VP8X":
			if len(chunk) < 18 {
				return nil, errDamaged
			}
			extended = true
			chunk[8] &^= webpXMP | webpEXIF
			if tiff != nil {
				chunk[8] |= webpEXIF
			}
			out = append(out, chunk...)
		case "VP8 ", "VP8L", "ALPH", "ICCP":
			out = append(out, chunk...)
		case "ANIM", "ANMF":
			return nil, errors.New("it is a moving picture")
		}
		at = end
	}
	if extended && tiff != nil {
		out = append(out, "EXIF"...)
		out = binary.LittleEndian.AppendUint32(out, uint32(len(tiff)))
		out = append(out, tiff...)
		out = append(out, make([]byte, len(tiff)%2)...)
	}
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-8))
	return out, nil
}
