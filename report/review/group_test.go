package review

import (
	"fmt"
	"math/rand/v2"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/vision"
)

var (
	someDay = time.Date(2026, 6, 14, 10, 0, 0, 0, time.UTC)
	phone   = vision.CameraID{Make: "Demo", Model: "Phone 1", Width: 4000, Height: 3000}
	other   = vision.CameraID{Make: "Demo", Model: "Phone 2", Width: 4000, Height: 3000}
)

// seen is a photo of sheets that lie so; each file is a different one.
func seen(name string, camera vision.CameraID, minutes int, sheets ...measure.Lying) Photo {
	p := Photo{File: File{Name: name, Path: name}, Camera: camera, readable: true, stand: measure.Stand{PitchDeg: 45, Sheets: sheets}}
	copy(p.sum[:], name)
	p.Judgement.Verdict = Good
	if minutes >= 0 {
		p.Taken = someDay.Add(time.Duration(minutes) * time.Minute)
	}
	if len(sheets) == 0 {
		p.Judgement.Verdict = Repeat
	}
	return p
}

func spoilt(name string) Photo {
	return Photo{File: File{Name: name}, Judgement: Refused(&vision.Refusal{Code: "truncated"})}
}

func sheet(number int, x, y, heading float64) measure.Lying {
	return measure.Lying{Number: number, XMm: x, YMm: y, HeadingDeg: heading}
}

func named(g Group) string {
	if g.Number == 0 {
		return g.Folder
	}
	return path.Join(g.Folder, fmt.Sprint("group-", g.Number))
}

// written are groups as "name: photos", with what is noted.
func written(groups []Group, loose []Photo) (list []string) {
	for _, g := range groups {
		list = append(list, strings.TrimSpace(fmt.Sprintf("%s: %s %s", named(g), strings.Join(names(g.Photos), " "), strings.Join(g.Notes, " "))))
	}
	if len(loose) > 0 {
		list = append(list, "loose: "+strings.Join(names(loose), " "))
	}
	return list
}

func TestGroup(t *testing.T) {
	one := sheet(1, 0, 0, 0)
	here, there := sheet(2, -560, -800, 2), sheet(2, -520, -800, 2)
	for name, c := range map[string]struct {
		photos []Photo
		want   []string
	}{
		"folders": {
			[]Photo{seen("b/1.jpg", phone, 0, one), seen("a/10.jpg", phone, 0, one), seen("a/9.jpg", phone, 0, one)},
			[]string{"a: a/9.jpg a/10.jpg", "b: b/1.jpg"},
		},
		"an archive's odd names": {
			[]Photo{seen("s.zip/../x/1.jpg", phone, 0, one), seen("s.zip//2.jpg", phone, 0, one)},
			[]string{"s.zip/: s.zip//2.jpg", "s.zip/../x: s.zip/../x/1.jpg"},
		},
		"cameras": {
			[]Photo{seen("1.jpg", phone, 0, one), seen("2.jpg", other, 0, one), seen("3.jpg", phone, 1, one)},
			[]string{"group-1: 1.jpg 3.jpg", "group-2: 2.jpg"},
		},
		"time": { // the clock goes before the names
			[]Photo{seen("x/3.jpg", phone, 0, one), seen("x/1.jpg", phone, 2, one), seen("x/2.jpg", phone, 70, one)},
			[]string{"x/group-1: x/3.jpg x/1.jpg", "x/group-2: x/2.jpg"},
		},
		"sheets lie elsewhere": {
			[]Photo{seen("x/1.jpg", phone, -1, one, here), seen("x/2.jpg", phone, -1, one, there), seen("x/3.jpg", phone, -1, one, sheet(2, -565, -805, 2.5))},
			[]string{"x/group-1: x/1.jpg x/3.jpg", "x/group-2: x/2.jpg"},
		},
		"sheets turned": {
			[]Photo{seen("x/1.jpg", phone, -1, one, here), seen("x/2.jpg", phone, -1, one, sheet(2, -560, -800, 4))},
			[]string{"x/group-1: x/1.jpg", "x/group-2: x/2.jpg"},
		},
		"the same place from another sheet's frame": { // a quarter turn on
			[]Photo{seen("x/1.jpg", phone, -1, one, here, sheet(3, -560, -700, 92)), seen("x/2.jpg", phone, -1, sheet(2, 0, 0, 0), sheet(3, 3.5, 99.9, 90))},
			[]string{"x: x/1.jpg x/2.jpg"},
		},
		"other sheets": {
			[]Photo{seen("x/1.jpg", phone, -1, one, here), seen("x/2.jpg", phone, -1, sheet(3, 0, 0, 0), sheet(4, 500, 700, 0))},
			[]string{"x/group-1: x/1.jpg", "x/group-2: x/2.jpg"},
		},
		"one sheet tells no place": { // and so nothing parts these but measuring
			[]Photo{seen("x/1.jpg", phone, -1, one), seen("x/2.jpg", phone, -1, one), seen("x/3.jpg", phone, -1, one, here)},
			[]string{"x: x/1.jpg x/2.jpg x/3.jpg"},
		},
		"one sheet among several places follows in order": {
			[]Photo{seen("x/1.jpg", phone, -1, one, here), seen("x/2.jpg", phone, -1, one), seen("x/3.jpg", phone, -1, one, there), seen("x/4.jpg", phone, -1, sheet(2, 0, 0, 0))},
			[]string{"x/group-1: x/1.jpg x/2.jpg by_order", "x/group-2: x/3.jpg x/4.jpg by_order"},
		},
		"one sheet among several places follows in time": {
			[]Photo{seen("x/1.jpg", phone, 0, one, here), seen("x/2.jpg", phone, 9, one), seen("x/3.jpg", phone, 10, one, there)},
			[]string{"x/group-1: x/1.jpg", "x/group-2: x/2.jpg x/3.jpg by_order"},
		},
		"bad ones go with the only group of their folder": {
			[]Photo{seen("a/1.jpg", phone, 0, one), spoilt("a/2.jpg"), seen("a/3.jpg", phone, 1)},
			[]string{"a: a/1.jpg a/3.jpg a/2.jpg"},
		},
		"bad ones of nobody": {
			[]Photo{seen("a/1.jpg", phone, 0, one), seen("a/2.jpg", other, 0, one), spoilt("a/3.jpg"), spoilt("b/1.jpg")},
			[]string{"a/group-1: a/1.jpg", "a/group-2: a/2.jpg", "loose: a/3.jpg b/1.jpg"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, c.want, written(group(c.photos)))
			shuffled := slices.Clone(c.photos)
			rand.New(rand.NewPCG(1, 2)).Shuffle(len(shuffled), func(i, k int) { shuffled[i], shuffled[k] = shuffled[k], shuffled[i] })
			again := written(group(shuffled))
			if name != "bad ones of nobody" { // whose order means nothing
				assert.Equal(t, c.want, again, "in any order")
			}
		})
	}
}

func TestCopies(t *testing.T) {
	twin := seen("x/2.jpg", phone, 0, sheet(1, 0, 0, 0))
	twin.sum = seen("x/1.jpg", phone, 0).sum
	groups, _ := group([]Photo{seen("x/1.jpg", phone, 0, sheet(1, 0, 0, 0)), twin})
	require.Len(t, groups, 1)
	assert.Equal(t, "x/1.jpg", groups[0].Photos[1].CopyOf)
	assert.Equal(t, someDay, groups[0].From)
}
