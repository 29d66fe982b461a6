package review

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/maruel/natural"

	"rimpair/measure"
)

// This file parts photos into groups, each of what seems to be one visit to one
// vehicle. A photo tells of that: the folder it came in, its camera, when it was taken,
// and how the sheets lie in it. Nobody lays two sheets by hand as they lay before, so
// that their places tell visits apart even where all else is equal. What is left
// together wrongly is noticed when it is measured (settle.go); what only the photos'
// order says is noted.

// Group is the photos that seem to be of one visit to one vehicle.
type Group struct {
	Folder   string    // that they came in, "" for none
	Number   int       // among the groups of the folder; 0 where it is the only one
	From, To time.Time // zero when the photos do not say
	Photos   []Photo   // as they were taken, as far as is known
	Notes    []string  // codes
}

// ByOrder is the note that sheets lie differently among the photos that came together,
// and that for some of this group, which do not show two, only their order says where
// they belong.
const ByOrder = "by_order"

// visitGap is the time from which on a photo belongs to another visit: a set takes some
// minutes, work between two of them more (common practice, no source).
const visitGap = time.Hour

// Sheets that lie as they lay before are within these limits, as two photos show them
// one by one: those of one set of test photos agreed to 3 mm and 0.1°, those of two
// sets differed by 37 mm or more.
const (
	layMm  = 12.0
	layDeg = 1.0
)

// camera is what tells cameras apart. One that writes the time writes it always, so that
// photos without are from elsewhere.
type camera struct {
	Make, Model string
	Long, Short int // of the picture's sides
	Timed       bool
}

func (p *Photo) camera() camera {
	c := p.Camera
	return camera{c.Make, c.Model, max(c.Width, c.Height), min(c.Width, c.Height), !p.Taken.IsZero()}
}

// group parts photos. Of those that cannot be read, the loose ones are in a folder that
// does not say whose they are.
func group(photos []Photo) (groups []Group, loose []Photo) {
	positioned(photos)
	folders := by(photos, (*Photo).visit)
	for _, folder := range slices.SortedFunc(maps.Keys(folders), natural.Compare) {
		found, unread := groupFolder(folders[folder])
		for i := range found {
			found[i].Folder = folder
			if len(found) > 1 || folder == "" {
				found[i].Number = i + 1
			}
		}
		groups, loose = append(groups, found...), append(loose, unread...)
	}
	return groups, loose
}

// by sorts photos into classes.
func by[K comparable](photos []Photo, class func(*Photo) K) map[K][]Photo {
	classes := map[K][]Photo{}
	for i := range photos {
		k := class(&photos[i])
		classes[k] = append(classes[k], photos[i])
	}
	return classes
}

func groupFolder(photos []Photo) (groups []Group, unread []Photo) {
	read := by(photos, func(p *Photo) bool { return p.readable })
	unread = read[false]
	for _, of := range by(read[true], (*Photo).camera) {
		slices.SortStableFunc(of, func(a, b Photo) int { return cmp.Or(a.Taken.Compare(b.Taken), natural.Compare(a.Name, b.Name)) })
		for _, visit := range visits(of) {
			groups = append(groups, arrangements(visit)...)
		}
	}
	slices.SortFunc(groups, func(a, b Group) int {
		return cmp.Or(a.Photos[0].Taken.Compare(b.Photos[0].Taken), natural.Compare(a.Photos[0].Name, b.Photos[0].Name))
	})
	if len(groups) == 1 {
		groups[0].Photos, unread = append(groups[0].Photos, unread...), nil
	}
	for i := range groups {
		groups[i].finish()
	}
	return groups, unread
}

// visits parts one camera's photos, sorted by time, where there is a gap.
func visits(photos []Photo) (parts [][]Photo) {
	first := 0
	for i := 1; i <= len(photos); i++ {
		if i == len(photos) || photos[i].Taken.Sub(photos[i-1].Taken) > visitGap {
			parts = append(parts, photos[first:i])
			first = i
		}
	}
	return parts
}

// arrangements parts the photos of a visit by how the sheets lie. Photos with two sheets
// or more tell; the others follow.
func arrangements(visit []Photo) []Group {
	const notTold = -1
	var tellers [][]*Photo // of each arrangement
	of := make([]int, len(visit))
	for i := range visit {
		p := &visit[i]
		of[i] = notTold
		if len(p.stand.Sheets) < 2 {
			continue
		}
		of[i] = slices.IndexFunc(tellers, func(known []*Photo) bool {
			return !slices.ContainsFunc(known, func(q *Photo) bool { return !alike(p.stand.Sheets, q.stand.Sheets) })
		})
		if of[i] < 0 {
			of[i] = len(tellers)
			tellers = append(tellers, nil)
		}
		tellers[of[i]] = append(tellers[of[i]], p)
	}
	groups := make([]Group, max(1, len(tellers)))
	told := slices.Clone(of)
	for i := range visit {
		k := of[i]
		if k == notTold {
			if k = nearest(visit, told, i); len(groups) > 1 {
				groups[k].note(ByOrder)
			}
		}
		groups[k].Photos = append(groups[k].Photos, visit[i])
	}
	return groups
}

// nearest is the group of the photo whose group is told that is nearest to photo i: in
// time, else in order, the one before it first.
func nearest(visit []Photo, told []int, i int) int {
	best, least := 0, time.Duration(math.MaxInt64)
	try := func(k int) {
		if away := visit[i].Taken.Sub(visit[k].Taken).Abs(); told[k] >= 0 && away < least {
			best, least = told[k], away
		}
	}
	for k := i - 1; k >= 0; k-- {
		try(k)
	}
	for k := i + 1; k < len(visit); k++ {
		try(k)
	}
	return best
}

// alike says that two photos do not show the sheets in different places. Photos that
// have no sheet in common are of different places.
func alike(a, b []measure.Lying) bool {
	var common [][2]measure.Lying
	for _, s := range a {
		if k := slices.IndexFunc(b, func(t measure.Lying) bool { return t.Number == s.Number }); k >= 0 {
			common = append(common, [2]measure.Lying{s, b[k]})
		}
	}
	for i := 1; i < len(common); i++ {
		p, q := common[i][0].SeenFrom(common[0][0]), common[i][1].SeenFrom(common[0][1])
		if math.Hypot(p.XMm-q.XMm, p.YMm-q.YMm) > layMm || math.Abs(math.Remainder(p.HeadingDeg-q.HeadingDeg, 360)) > layDeg {
			return false
		}
	}
	return len(common) > 0
}

func (g *Group) note(code string) {
	if !slices.Contains(g.Notes, code) {
		g.Notes = append(g.Notes, code)
	}
}

// finish finds when the photos were taken and which of them came twice.
func (g *Group) finish() {
	first := map[[32]byte]string{}
	for i := range g.Photos {
		p := &g.Photos[i]
		if !p.readable {
			continue
		}
		if name, ok := first[p.sum]; ok {
			p.CopyOf = name
		} else {
			first[p.sum] = p.Name
		}
		if g.From.IsZero() {
			g.From = p.Taken
		}
		g.To = p.Taken
	}
}
