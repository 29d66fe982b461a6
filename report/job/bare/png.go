package bare

import (
	"encoding/binary"
	"hash/crc32"
	"slices"

	"github.com/bep/imagemeta"
)

const pngSignature = "\x89PNG\r\n\x1a\n"

// pngWanted are the chunks that say how the picture looks.
func pngWanted() []string {
	return []string{"IHDR", "PLTE", "tRNS", "cHRM", "gAMA", "iCCP", "sBIT", "sRGB", "cICP", "pHYs", "IDAT", "IEND"}
}

func barePNG(file []byte) ([]byte, error) {
	out := []byte(pngSignature)
	tiff := exifOf(file, imagemeta.PNG)
	for at := len(pngSignature); ; {
		if at+12 > len(file) {
			return nil, errDamaged
		}
		size := int64(binary.BigEndian.Uint32(file[at:]))
		if int64(at)+12+size > int64(len(file)) {
			return nil, errDamaged
		}
		end := at + 12 + int(size)
		kind := string(file[at+4 : at+8])
		if kind == "IDAT" && tiff != nil { // before the picture
			out = append(out, pngChunk("eXIf", tiff)...)
			tiff = nil
		}
		if slices.Contains(pngWanted(), kind) {
			out = append(out, file[at:end]...)
		}
		if kind == "IEND" {
			return out, nil
		}
		at = end
	}
}

func pngChunk(kind string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}
