package review

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"rimpair/measure"
	"rimpair/vision"
)

// from is a photo from a side; its name is the state that it shows, a slash and its own.
func from(name string, bearing float64) Photo {
	p := seen(name, phone, -1, sheet(1, 0, 0, 0))
	p.stand.BearingDeg = bearing
	return p
}

// byState measures photos of one state. Photos of a state "?" cannot be measured and are
// named; states that differ contradict each other.
func byState(photos []Photo) (*measure.Result, *vision.Refusal) {
	for _, p := range photos {
		if strings.HasPrefix(p.Name, "?") {
			return nil, &vision.Refusal{Code: "wheels_cut_off", Photo: p.Name}
		}
	}
	first := photos[0].Name[0]
	for _, p := range photos[1:] {
		if p.Name[0] != first {
			return nil, &vision.Refusal{Code: "photo_disagrees", Photo: p.Name}
		}
	}
	return &measure.Result{}, nil
}

// Strangers that followed by their order do not spoil a set whose sheets tell that it is
// one; where they do not contradict it, they belong.
func TestSettleTold(t *testing.T) {
	told := func(p Photo) Photo {
		p.stand.Sheets = append(p.stand.Sheets, sheet(2, -560, -800, 2))
		return p
	}
	for name, c := range map[string]struct {
		follower string
		photos   int
		without  int
	}{"a stranger": {"b/3", 2, 1}, "one of them": {"a/3", 3, 0}} {
		g := Group{Photos: []Photo{told(from("a/1", 0)), told(from("a/2", 180)), from(c.follower, 0)}, Notes: []string{ByOrder}}
		m := settle(g, byState)
		assert.Nil(t, m.Refused, name)
		if assert.Len(t, m.States, 1, name) {
			assert.Len(t, m.States[0].Photos, c.photos, name)
		}
		assert.Len(t, m.LeftOut, c.without, name)
	}
}

func TestSettle(t *testing.T) {
	const front, right, rear = 0, 90, 180
	bad := seen("a/bad", phone, -1)
	for name, c := range map[string]struct {
		photos []Photo
		want   string
	}{
		"one state":                {[]Photo{from("a/1", front), from("a/2", rear)}, "[a/1 a/2]"},
		"bad ones are not tried":   {[]Photo{from("a/1", front), bad, from("a/2", rear)}, "[a/1 a/2]"},
		"none can be measured":     {[]Photo{bad}, "no_photos"},
		"without the one named":    {[]Photo{from("a/1", front), from("?/2", right), from("a/3", rear)}, "[a/1 a/3] without ?/2"},
		"one is left":              {[]Photo{from("?/1", front), from("a/2", rear)}, "[a/2] without ?/1"},
		"none is left":             {[]Photo{from("?/1", front)}, "wheels_cut_off"},
		"two agree against one":    {[]Photo{from("a/1", front), from("b/2", right), from("a/3", rear)}, "[a/1 a/3] without b/2"},
		"two against each other":   {[]Photo{from("a/1", front), from("b/2", rear)}, "photo_disagrees"},
		"rounds":                   {[]Photo{from("a/1", front), from("a/2", rear), from("b/1", front), from("b/2", rear)}, "[a/1 a/2] [b/1 b/2] rounds"},
		"a round without one":      {[]Photo{from("a/1", front), from("a/2", rear), from("b/1", front), from("?/2", rear)}, "[a/1 a/2] [b/1] without ?/2 rounds"},
		"a round that cannot be":   {[]Photo{from("a/1", front), from("a/2", rear), from("?/1", front)}, "[a/1 a/2] without ?/1 rounds"},
		"no round can be":          {[]Photo{from("?/1", front), from("?/2", front)}, "wheels_cut_off"},
		"the order is none":        {[]Photo{from("a/1", front), from("a/2", rear), from("a/3", front), from("b/2", rear), from("b/1", front)}, "photo_disagrees"},
		"too many, of all sides":   {many(9, 1), "[a/0 a/1 a/2 a/3 a/4 a/5 a/6 a/7] [a/8] many"},
		"too many, of a few sides": {many(9, 4), "[a/0 a/1] [a/2 a/3] [a/4 a/5] [a/6 a/7] [a/8] many"},
	} {
		t.Run(name, func(t *testing.T) {
			m := settle(Group{Photos: c.photos}, byState)
			assert.Equal(t, c.want, strings.Join(append(outcome(&m), m.Notes...), " "))
		})
	}
}

// outcome is what was measured together, left out and refused.
func outcome(m *Measured) (said []string) {
	for _, s := range m.States {
		said = append(said, fmt.Sprint(s.Photos))
	}
	for _, r := range m.LeftOut {
		said = append(said, "without "+r.Photo)
	}
	if m.Refused != nil {
		said = append(said, m.Refused.Code)
	}
	return said
}

// many are photos of one state, some eighths of the way around apart.
func many(n, eighths int) (photos []Photo) {
	for i := range n {
		photos = append(photos, from(fmt.Sprint("a/", i), float64(45*eighths*i)))
	}
	return photos
}
