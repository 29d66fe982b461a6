package vision

// Pixels is how many pixels a photo has, from its file's header alone, so that room
// can be made before it is decoded. The error is the *Refusal that Load would give.
func Pixels(path string, lim Limits) (int64, error) {
	file, err := readFile(path, lim.Bytes)
	if err != nil {
		return 0, forPhoto(path, err)
	}
	h, err := checkedHeader(file, lim)
	if err != nil {
		return 0, forPhoto(path, err)
	}
	return int64(h.width) * int64(h.height), nil
}
