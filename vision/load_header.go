package vision

import (
	"bytes"
	"encoding/binary"

	"github.com/bep/imagemeta"
	"golang.org/x/image/webp"
)

// header is what a file's first bytes say of the picture.
type header struct {
	format        imagemeta.ImageFormat
	width, height int  // as stored
	turn          turn // HEIC only: what its decoder does to the stored picture
}

// readHeader finds format and size of a picture without decoding it, and checks
// that the file has its end.
func readHeader(file []byte) (header, error) {
	switch {
	case bytes.HasPrefix(file, []byte("\xff\xd8\xff")):
		return jpegHeader(file)
	case bytes.HasPrefix(file, []byte("\x89PNG\r\n\x1a\n")):
		return pngHeader(file)
	case len(file) >= 12 && string(file[:4]) == "RIFF" && string(file[8:12]) == "WEBP":
		return webpHeader(file)
	case isHEIC(file):
		return heicHeader(file)
	}
	return header{}, &Refusal{
		Code:   "not_a_photo",
		Reason: "The file is no JPEG, PNG, WebP or HEIC picture.",
		Remedy: "Give the photo as the phone stored it.",
	}
}

func truncated() *Refusal {
	return &Refusal{
		Code:   "truncated",
		Reason: "The file ends before the picture does.",
		Remedy: "Copy the photo from the phone again.",
	}
}

func damaged() *Refusal {
	return &Refusal{
		Code:   "unreadable",
		Reason: "The picture's data are damaged.",
		Remedy: "Copy the photo from the phone again.",
	}
}

// JPEG markers (ITU-T T.81, table B.1).
const (
	jpegSOI, jpegEOI, jpegSOS, jpegTEM = 0xD8, 0xD9, 0xDA, 0x01
	jpegRST0, jpegRST7                 = 0xD0, 0xD7
	jpegSOF0, jpegSOF15                = 0xC0, 0xCF
	jpegDHT, jpegJPG, jpegDAC          = 0xC4, 0xC8, 0xCC // in the range of SOF, but are none
)

// jpegHeader walks the file's segments to its end-of-image marker. libjpeg fills
// what is missing with grey and says nothing, so a missing end has to be seen here.
func jpegHeader(file []byte) (header, error) {
	h := header{format: imagemeta.JPEG}
	for at := 2; ; {
		next := bytes.IndexByte(file[at:], 0xFF)
		if next < 0 || at+next+1 >= len(file) {
			return header{}, truncated()
		}
		at += next + 1
		code := file[at]
		switch {
		case code == 0xFF: // fill byte: look at the next one
			continue
		case code == jpegEOI:
			return h, nil
		case code == 0, code == jpegTEM, code == jpegSOI, jpegRST0 <= code && code <= jpegRST7:
			at++ // no segment follows; after SOS these stand amid the picture's data
			continue
		}
		at++
		if at+2 > len(file) {
			return header{}, truncated()
		}
		end := at + int(binary.BigEndian.Uint16(file[at:]))
		if end > len(file) {
			return header{}, truncated()
		}
		frame := jpegSOF0 <= code && code <= jpegSOF15 && code != jpegDHT && code != jpegJPG && code != jpegDAC
		if frame && end-at >= 8 {
			h.height = int(binary.BigEndian.Uint16(file[at+3:]))
			h.width = int(binary.BigEndian.Uint16(file[at+5:]))
		}
		at = max(end, at+2)
	}
}

// pngHeader reads the size from the header chunk, which comes first, and looks for
// the end chunk (ISO/IEC 15948).
func pngHeader(file []byte) (header, error) {
	if len(file) < 24 {
		return header{}, truncated()
	}
	if string(file[12:16]) != "IHDR" {
		return header{}, damaged()
	}
	if !bytes.Contains(file[max(0, len(file)-4096):], []byte("IEND\xaeB`\x82")) {
		return header{}, truncated()
	}
	return header{
		format: imagemeta.PNG,
		width:  int(binary.BigEndian.Uint32(file[16:])),
		height: int(binary.BigEndian.Uint32(file[20:])),
	}, nil
}

func webpHeader(file []byte) (header, error) {
	if int64(binary.LittleEndian.Uint32(file[4:]))+8 > int64(len(file)) {
		return header{}, truncated()
	}
	config, err := webp.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return header{}, damaged()
	}
	return header{format: imagemeta.WebP, width: config.Width, height: config.Height}, nil
}
