package serve

import (
	"strings"

	"rsc.io/qr"
)

// QR draws a text as a QR code (ISO/IEC 18004) for a terminal, two rows of modules a
// line. Its own colours make it dark on light on any terminal.
func QR(text string) (string, error) {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return "", err
	}
	const (
		quiet        = 2 // modules around it; the norm wants 4, phones are content with 2
		blackOnWhite = "\x1b[30;107m"
		plain        = "\x1b[0m"
	)
	halves := map[[2]bool]string{{false, false}: " ", {true, false}: "▀", {false, true}: "▄", {true, true}: "█"}
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		b.WriteString(blackOnWhite)
		for x := -quiet; x < code.Size+quiet; x++ {
			b.WriteString(halves[[2]bool{code.Black(x, y), code.Black(x, y+1)}])
		}
		b.WriteString(plain + "\n")
	}
	return b.String(), nil
}
