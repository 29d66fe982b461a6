package bare

import (
	"encoding/binary"
	"errors"
	"slices"
)

// box is one of those that a HEIC file is made of (ISO/IEC 14496-12, 4.2).
type box struct {
	kind  string
	inner []byte // without the header
	at    int    // of inner, in what the box was found in
	head  []byte // size and kind
}

// clear makes a box one that readers skip.
func (b box) clear() {
	copy(b.head[4:8], "free")
	clear(b.inner)
}

func boxesIn(data []byte) ([]box, error) {
	var boxes []box
	for at := 0; at < len(data); {
		rest := data[at:]
		if len(rest) < 8 {
			return nil, errDamaged
		}
		size, head := uint64(binary.BigEndian.Uint32(rest)), 8
		switch {
		case size == 1 && len(rest) >= 16:
			size, head = binary.BigEndian.Uint64(rest[8:]), 16
		case size == 0:
			size = uint64(len(rest))
		}
		if size < uint64(head) || size > uint64(len(rest)) {
			return nil, errDamaged
		}
		boxes = append(boxes, box{string(rest[4:8]), rest[head:size], at + head, rest[:head]})
		at += int(size)
	}
	return boxes, nil
}

func find(boxes []box, kind string) *box {
	if i := slices.IndexFunc(boxes, func(b box) bool { return b.kind == kind }); i >= 0 {
		return &boxes[i]
	}
	return nil
}

// item is one of those that the meta box lists: a picture, a tile, EXIF data, ….
type item struct {
	kind    string
	inIdat  bool     // its data are in the meta box
	extents []extent // in the file, or in idat
}

type extent struct{ offset, length int }

// itemsIn lists a meta box's items (ISO/IEC 14496-12, 8.11.3 and 8.11.6).
func itemsIn(meta []byte) ([]item, error) {
	boxes, err := boxesIn(meta)
	if err != nil {
		return nil, err
	}
	iinf, iloc := find(boxes, "iinf"), find(boxes, "iloc")
	if iinf == nil || iloc == nil {
		return nil, errDamaged
	}
	kinds, err := itemKinds(iinf.inner)
	if err != nil {
		return nil, err
	}
	return itemPlaces(iloc.inner, kinds)
}

func itemKinds(iinf []byte) (map[int]string, error) {
	r := reader{data: iinf}
	version := r.uint(1)
	r.uint(3)
	r.uint(map[bool]int{true: 2, false: 4}[version == 0])
	entries, err := boxesIn(r.data)
	if err != nil || r.short {
		return nil, errDamaged
	}
	kinds := map[int]string{}
	for _, e := range entries {
		r := reader{data: e.inner}
		version := r.uint(1)
		r.uint(3)
		id := r.uint(map[bool]int{true: 4, false: 2}[version == 3])
		r.uint(2)
		if e.kind != "infe" || version < 2 || version > 3 || r.short || len(r.data) < 4 {
			return nil, errors.New("it lists its parts in a way that is not known")
		}
		kinds[id] = string(r.data[:4])
	}
	return kinds, nil
}

func itemPlaces(iloc []byte, kinds map[int]string) ([]item, error) {
	r := reader{data: iloc}
	version := r.uint(1)
	r.uint(3)
	sizes := r.uint(2)
	offsetSize, lengthSize, baseSize, indexSize := sizes>>12, sizes>>8&15, sizes>>4&15, sizes&15
	if version == 0 {
		indexSize = 0
	}
	wide := map[bool]int{true: 4, false: 2}[version == 2]
	var items []item
	for count := r.uint(wide); count > 0 && !r.short; count-- {
		it := item{kind: kinds[r.uint(wide)]}
		method := 0
		if version > 0 {
			method = r.uint(2) & 15
		}
		elsewhere := r.uint(2) // another file
		base := r.uint(baseSize)
		for extents := r.uint(2); extents > 0 && !r.short; extents-- {
			r.uint(indexSize)
			offset := base + r.uint(offsetSize)
			it.extents = append(it.extents, extent{offset, r.uint(lengthSize)})
		}
		if method > 1 || elsewhere != 0 {
			return nil, errors.New("it keeps its parts in a way that is not known")
		}
		it.inIdat = method == 1
		items = append(items, it)
	}
	if r.short || version > 2 {
		return nil, errDamaged
	}
	return items, nil
}

// reader reads big-endian numbers; short says that it went past the end.
type reader struct {
	data  []byte
	short bool
}

func (r *reader) uint(bytes int) int {
	if len(r.data) < bytes {
		r.short, r.data = true, nil
		return 0
	}
	v := 0
	for _, b := range r.data[:bytes] {
		v = v<<8 | int(b)
	}
	r.data = r.data[bytes:]
	return v
}
