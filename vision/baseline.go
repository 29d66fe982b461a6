package vision

import "os"

// Yardstick does the least that any program does that finds markers in photos: it
// decodes one to grey and runs OpenCV's marker detector over it at full size, once,
// with OpenCV's three thresholds. It returns how many markers that finds. It
// measures nothing; the time of measuring is compared with its time.
func Yardstick(path string) (markers int, err error) {
	file, err := os.ReadFile(path)
	if err != nil {
		return 0, err
	}
	h, err := readHeader(file)
	if err != nil {
		return 0, err
	}
	grey, err := decodeGrey(file, h.width, h.height)
	if err != nil {
		return 0, err
	}
	found, err := findMarkers(grey, 1, 0)
	return len(found), err
}
