package bare

import (
	"bytes"
	"errors"
	"slices"

	"github.com/bep/imagemeta"
)

// bareHEIC overwrites with zeros, in a copy of the file, everything that neither is the
// picture nor says how to put it together; the EXIF data's place gets the new ones.
func bareHEIC(file []byte) ([]byte, error) {
	tiff := exifOf(file, imagemeta.HEIF)
	out := slices.Clone(file)
	boxes, err := boxesIn(out)
	if err != nil {
		return nil, err
	}
	meta := find(boxes, "meta")
	if meta == nil || len(meta.inner) < 4 {
		return nil, errDamaged
	}
	items, err := itemsIn(meta.inner[4:])
	if err != nil {
		return nil, err
	}
	for _, b := range boxes {
		switch b.kind {
		case "ftyp", "meta", "mdat":
		default:
			b.clear()
		}
	}
	keep := make([]bool, len(out)) // what belongs to an item
	for _, item := range items {
		if err := item.clean(out, meta.inner[4:], tiff, keep); err != nil {
			return nil, err
		}
	}
	for _, b := range boxes {
		if b.kind == "mdat" {
			for i := range b.inner {
				if !keep[b.at+i] {
					b.inner[i] = 0
				}
			}
		}
	}
	return out, clearUnknown(meta.inner[4:])
}

// clean takes care of one item's data.
func (it item) clean(file, meta, tiff []byte, keep []bool) error {
	data := file
	if it.inIdat {
		boxes, err := boxesIn(meta)
		if err != nil {
			return err
		}
		idat := find(boxes, "idat")
		if idat == nil {
			return errDamaged
		}
		data = idat.inner
	}
	for _, e := range it.extents {
		if e.offset < 0 || e.length <= 0 || e.offset > len(data) || e.length > len(data)-e.offset {
			return errDamaged
		}
		place := data[e.offset : e.offset+e.length]
		if !it.picture() {
			blank(place)
		}
		if it.kind == "Exif" && tiff != nil {
			if len(it.extents) != 1 || 4+len(tiff) > len(place) {
				return errors.New("its EXIF data leave no room for what measuring needs of them")
			}
			clear(place) // with the offset of the TIFF header, 0
			copy(place[4:], tiff)
		}
		if !it.inIdat {
			for i := range e.length {
				keep[e.offset+i] = true
			}
		}
	}
	return nil
}

// emptyXMP is what readers of XMP take for a text without any property.
const emptyXMP = `<x:xmpmeta xmlns:x="adobe:ns:meta/"/>`

// blank overwrites an item that is no picture.
func blank(data []byte) {
	copy(data, bytes.Repeat([]byte(" "), len(data)))
	if len(data) >= len(emptyXMP) {
		copy(data, emptyXMP)
	}
}

// picture says that the item is coded picture or says how to put pictures together.
func (it item) picture() bool {
	return slices.Contains([]string{"hvc1", "hev1", "grid", "iden", "iovl"}, it.kind)
}

// clearUnknown overwrites boxes of the meta box, and properties in it, that the
// picture is not made of.
func clearUnknown(meta []byte) error {
	boxes, err := boxesIn(meta)
	if err != nil {
		return err
	}
	for _, b := range boxes {
		if !slices.Contains([]string{"hdlr", "pitm", "iloc", "iinf", "iprp", "iref", "idat", "dinf", "grpl"}, b.kind) {
			b.clear()
		}
	}
	iprp := find(boxes, "iprp")
	if iprp == nil {
		return errDamaged
	}
	if boxes, err = boxesIn(iprp.inner); err != nil {
		return err
	}
	ipco := find(boxes, "ipco")
	if ipco == nil {
		return errDamaged
	}
	properties, err := boxesIn(ipco.inner)
	for _, b := range properties {
		if !slices.Contains([]string{"hvcC", "ispe", "colr", "pixi", "irot", "imir", "clap", "pasp", "auxC", "rloc", "lsel", "mdcv", "clli", "cclv", "amve"}, b.kind) {
			b.clear() // it keeps its number among the properties
		}
	}
	return err
}
