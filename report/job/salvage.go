package job

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	jsonv2 "github.com/go-json-experiment/json"
)

// salvage takes a record apart, one value at a time, up to where its JSON breaks.
func salvage(content []byte) (p parts, broken error) {
	p.values = map[string]json.RawMessage{}
	d := json.NewDecoder(bytes.NewReader(content))
	broken = p.read(d)
	if broken == nil {
		return p, nil
	}
	line := 1 + bytes.Count(content[:min(d.InputOffset(), int64(len(content)))], []byte("\n"))
	return p, fmt.Errorf("is broken at line %d (%v): %d entries before that can be read", line, broken, len(p.entries))
}

func (p *parts) read(d *json.Decoder) error {
	if err := expect(d, json.Delim('{')); err != nil {
		return err
	}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return err
		}
		key, _ := token.(string)
		if key == "entries" {
			err = p.readEntries(d)
		} else {
			var value json.RawMessage
			if err = d.Decode(&value); err == nil {
				p.values[key] = value
			}
		}
		if err != nil {
			return err
		}
	}
	return expect(d, json.Delim('}'))
}

func (p *parts) readEntries(d *json.Decoder) error {
	if err := expect(d, json.Delim('[')); err != nil {
		return err
	}
	for d.More() {
		var entry json.RawMessage
		if err := d.Decode(&entry); err != nil {
			return err
		}
		p.entries = append(p.entries, entry)
	}
	return expect(d, json.Delim(']'))
}

func expect(d *json.Decoder, want json.Token) error {
	token, err := d.Token()
	if err == nil && token != want {
		err = fmt.Errorf("%v stands where %v should", token, want)
	}
	return err
}

// job puts the parts together that can be read. An entry that cannot is left out,
// and named.
func (p parts) job() (*Job, []Damage) {
	j := new(Job)
	var damage []Damage
	damaged := func(format string, a ...any) {
		damage = append(damage, Damage{File: recordName, What: fmt.Sprintf(format, a...)})
	}
	for _, key := range slices.Sorted(maps.Keys(p.values)) {
		if err := strictly(fmt.Appendf(nil, "{%q: %s}", key, p.values[key]), j); err != nil {
			damaged("has an unreadable %q (%v)", key, err)
		}
	}
	for i, raw := range p.entries {
		var e Entry
		err := strictly(raw, &e)
		if err == nil {
			err = (&Job{Entries: []Entry{e}}).validate()
		}
		if err != nil {
			damaged("has an unreadable entry %d (%v)", i+1, err)
			continue
		}
		j.Entries = append(j.Entries, e)
	}
	if err := j.validate(); err != nil { // of the vehicle, of the ruler, or of entries together
		damaged("%v", err)
		j.Vehicle.CameraProfile, j.RulerMm = nil, [2]float64{}
	}
	return j, damage
}

// strictly reads JSON that may hold nothing unknown: it would be lost in the next
// writing. This library reads more than three times as fast as that of Go 1.26,
// whose next version it is, and takes no key twice.
func strictly(raw []byte, to any) error {
	return jsonv2.Unmarshal(raw, to, jsonv2.RejectUnknownMembers(true))
}
