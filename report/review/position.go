package review

import (
	"path"
	"strings"
)

// This file finds out where the wheels stood. Photos of both half turns, one after the
// other, come in folders side by side that are called by where the valves are: top and
// bottom, oben and unten, 12 and 6. Such folders are of one visit to one vehicle, as long
// as nothing else lies beside them: customers may be numbered.

// hours are the words for where the valves point, by the clock and seen from the vehicle's
// right.
var hours = map[string]float64{"top": 0, "oben": 0, "12": 0, "3": 3, "bottom": 6, "unten": 6, "6": 6, "9": 9}

// positioned tells photos in such folders where their wheels stood.
func positioned(photos []Photo) {
	found := map[string]map[float64]bool{} // by the folder that holds the positions'
	mixed := map[string]bool{}             // with something else in it
	for i := range photos {
		in, word := photos[i].within()
		hour, ok := hours[word]
		switch {
		case !ok:
			mixed[in] = true
		case found[in] == nil:
			found[in] = map[float64]bool{hour: true}
		default:
			found[in][hour] = true
		}
		mixed[photos[i].folder()] = true
	}
	for i := range photos {
		if in, word := photos[i].within(); len(found[in]) > 1 && !mixed[in] {
			photos[i].position = word
		}
	}
}

// within is the folder that holds a photo's own, and what that is called.
func (p *Photo) within() (in, called string) {
	in, called = path.Split(p.folder())
	return strings.TrimSuffix(in, "/"), strings.ToLower(called)
}

// visit is the folder of all that was photographed at once.
func (p *Photo) visit() string {
	if p.position != "" {
		in, _ := p.within()
		return in
	}
	return p.folder()
}

// byPosition parts photos by where their wheels stood, in the order in which they come.
func byPosition(photos []Photo) (parts [][]Photo) {
	at := map[float64]int{}
	for _, p := range photos {
		hour := hours[p.position]
		if _, ok := at[hour]; !ok {
			at[hour] = len(parts)
			parts = append(parts, nil)
		}
		parts[at[hour]] = append(parts[at[hour]], p)
	}
	return parts
}
