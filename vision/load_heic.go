package vision

import (
	"encoding/binary"

	"github.com/bep/imagemeta"
)

// A HEIC file is a tree of boxes (ISO/IEC 14496-12, 23008-12). Its decoder turns
// and mirrors the picture as the file's properties irot and imir say, in their
// order. Measuring wants the sensor's own coordinates, so this file reads these
// properties of the primary item and undoes them. They take the place of the
// orientation tag, which readers of HEIC must ignore.

// turn takes directions in the stored picture to directions in the displayed one
// (x right, y down): one of the eight that EXIF numbers.
type turn [2][2]int

func noTurn() turn      { return turn{{1, 0}, {0, 1}} }
func quarterLeft() turn { return turn{{0, 1}, {-1, 0}} } // anticlockwise
func topToBottom() turn { return turn{{1, 0}, {0, -1}} }
func leftToRight() turn { return turn{{-1, 0}, {0, 1}} }
func (t turn) mul(u turn) turn {
	var p turn
	for i := range p {
		for j := range p {
			p[i][j] = t[i][0]*u[0][j] + t[i][1]*u[1][j]
		}
	}
	return p
}

// orientation is the turn's number in EXIF.
func (t turn) orientation() int {
	return map[turn]int{
		{{1, 0}, {0, 1}}: 1, {{-1, 0}, {0, 1}}: 2, {{-1, 0}, {0, -1}}: 3, {{1, 0}, {0, -1}}: 4,
		{{0, 1}, {1, 0}}: 5, {{0, -1}, {1, 0}}: 6, {{0, -1}, {-1, 0}}: 7, {{0, 1}, {-1, 0}}: 8,
	}[t]
}

// undo brings a displayed picture back to how it is stored.
func (t turn) undo(shown *Gray) *Gray {
	if t == noTurn() {
		return shown
	}
	g := newGray(shown.Width, shown.Height)
	if t[0][0] == 0 {
		g.Width, g.Height = shown.Height, shown.Width
	}
	// Twice the coordinates from the middle of the picture are whole numbers.
	for y := range g.Height {
		v := 2*y - (g.Height - 1)
		for x := range g.Width {
			u := 2*x - (g.Width - 1)
			g.Pix[y*g.Width+x] = shown.At((t[0][0]*u+t[0][1]*v+shown.Width-1)/2, (t[1][0]*u+t[1][1]*v+shown.Height-1)/2)
		}
	}
	return g
}

func isHEIC(file []byte) bool {
	if len(file) < 12 || string(file[4:8]) != "ftyp" {
		return false
	}
	switch string(file[8:12]) {
	case "heic", "heix", "heim", "heis", "mif1", "msf1":
		return true
	}
	return false
}

// box returns the first box of the given kind within data, without its header,
// and what follows it.
func box(data []byte, kind string) (inner, rest []byte) {
	for len(data) >= 8 {
		size, head := uint64(binary.BigEndian.Uint32(data)), uint64(8)
		switch {
		case size == 1 && len(data) >= 16:
			size, head = binary.BigEndian.Uint64(data[8:]), 16
		case size == 0:
			size = uint64(len(data))
		}
		if size < head || size > uint64(len(data)) {
			return nil, nil
		}
		if string(data[4:8]) == kind {
			return data[head:size], data[size:]
		}
		data = data[size:]
	}
	return nil, nil
}

// complete checks that the file's top-level boxes end where the file does.
func complete(file []byte) bool {
	for len(file) >= 8 {
		size := uint64(binary.BigEndian.Uint32(file))
		if size == 1 && len(file) >= 16 {
			size = binary.BigEndian.Uint64(file[8:])
		}
		if size == 0 {
			return true
		}
		if size < 8 || size > uint64(len(file)) {
			return false
		}
		file = file[size:]
	}
	return len(file) == 0
}

func heicHeader(file []byte) (header, error) {
	if !complete(file) {
		return header{}, truncated()
	}
	h := header{format: imagemeta.HEIF, turn: noTurn()}
	for _, p := range primaryProperties(file) {
		switch {
		case p.kind == "ispe" && len(p.data) >= 12:
			h.width = int(binary.BigEndian.Uint32(p.data[4:]))
			h.height = int(binary.BigEndian.Uint32(p.data[8:]))
		case p.kind == "irot" && len(p.data) >= 1:
			for range p.data[0] & 3 {
				h.turn = quarterLeft().mul(h.turn)
			}
		case p.kind == "imir" && len(p.data) >= 1 && p.data[0]&1 == 0:
			h.turn = topToBottom().mul(h.turn)
		case p.kind == "imir" && len(p.data) >= 1:
			h.turn = leftToRight().mul(h.turn)
		}
	}
	return h, nil
}

type property struct {
	kind string
	data []byte
}

// primaryProperties lists the properties of the file's primary picture.
func primaryProperties(file []byte) []property {
	meta, _ := box(file, "meta")
	if len(meta) < 4 {
		return nil
	}
	meta = meta[4:] // version and flags
	pitm, _ := box(meta, "pitm")
	iprp, _ := box(meta, "iprp")
	ipco, _ := box(iprp, "ipco")
	ipma, _ := box(iprp, "ipma")
	all := propertiesOf(ipco)
	var mine []property
	for _, i := range associations(ipma, primaryItem(pitm)) {
		if 1 <= i && i <= len(all) {
			mine = append(mine, all[i-1])
		}
	}
	return mine
}

func primaryItem(pitm []byte) uint32 {
	switch {
	case len(pitm) >= 6 && pitm[0] == 0:
		return uint32(binary.BigEndian.Uint16(pitm[4:]))
	case len(pitm) >= 8:
		return binary.BigEndian.Uint32(pitm[4:])
	}
	return 0
}

func propertiesOf(ipco []byte) []property {
	var all []property
	for len(ipco) >= 8 {
		kind := string(ipco[4:8])
		inner, rest := box(ipco, kind)
		if inner == nil {
			break
		}
		all = append(all, property{kind, inner})
		ipco = rest
	}
	return all
}

// associations returns the numbers, counted from 1, of an item's properties.
func associations(ipma []byte, item uint32) []int {
	r := reader{ipma}
	version, flags := r.uint(1), r.uint(3)
	for entries := r.uint(4); entries > 0 && len(r.data) > 0; entries-- {
		idBytes := 2
		if version >= 1 {
			idBytes = 4
		}
		id := r.uint(idBytes)
		var numbers []int
		for n := r.uint(1); n > 0; n-- {
			// The top bit says whether a reader must know the property.
			if flags&1 != 0 {
				numbers = append(numbers, int(r.uint(2)&0x7FFF))
			} else {
				numbers = append(numbers, int(r.uint(1)&0x7F))
			}
		}
		if id == item {
			return numbers
		}
	}
	return nil
}

// reader reads big-endian numbers; past the end it reads zeros.
type reader struct{ data []byte }

func (r *reader) uint(bytes int) uint32 {
	var v uint32
	for range bytes {
		v <<= 8
		if len(r.data) > 0 {
			v |= uint32(r.data[0])
			r.data = r.data[1:]
		}
	}
	return v
}
