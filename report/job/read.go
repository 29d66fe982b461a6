package job

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// Schema is the version of job.json that this program writes.
const Schema = schemaName + "4"

const (
	schemaName    = "rimpair/job/"
	schemaVersion = 4
)

// largestRecord bounds what is read as a record: it may come from somebody else.
const largestRecord = 64 << 20

// Damage is something in a job that is not as it was written.
type Damage struct {
	File string `json:"file"`
	What string `json:"what"`           // in English
	Code string `json:"code,omitempty"` // the same, where it is not of the record: "missing", "changed", "unreadable", "other_toe"
}

func (d Damage) Error() string { return d.File + " " + d.What }

// ErrNoJob says that a folder holds no job.
var ErrNoJob = errors.New("is no job: there is no job.json in it")

// Read reads the record in a folder. Where it is damaged it returns what could be
// read and names the damage; Inspect looks at the other files too.
func Read(dir string) (*Job, []Damage, error) {
	content, err := readRecord(dir, nil)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil, fmt.Errorf("%s %w", dir, ErrNoJob)
	}
	if err != nil {
		return nil, nil, err
	}
	j, damage, err := decode(content)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", filepath.Join(dir, recordName), err)
	}
	return j, damage, nil
}

// readRecord reads the record in a folder as it is, into that memory where it suffices.
func readRecord(dir string, into []byte) ([]byte, error) {
	name := filepath.Join(dir, recordName)
	if info, err := os.Stat(name); err == nil && (!info.Mode().IsRegular() || info.Size() > largestRecord) {
		return nil, fmt.Errorf("%s is no file of at most %d MB", name, largestRecord>>20)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	content := bytes.NewBuffer(into[:0])
	_, err = content.ReadFrom(f)
	return content.Bytes(), err
}

// decode reads a record of this version, or an older one.
func decode(content []byte) (*Job, []Damage, error) {
	j := new(Job)
	if err := strictly(content, j); err == nil && j.Schema == Schema && j.validate() == nil {
		return j, nil, nil
	}
	return decodePieces(content)
}

// decodePieces reads what is not a whole record of this version.
func decodePieces(content []byte) (*Job, []Damage, error) {
	p, broken := salvage(content)
	err := p.readable()
	if err != nil && broken == nil {
		return nil, nil, err
	}
	if err == nil {
		p.migrate()
	}
	j, damage := p.job()
	if broken != nil {
		damage = append([]Damage{{File: recordName, What: broken.Error()}}, damage...)
	}
	return j, damage, nil
}

// parts is a record's JSON, one piece by key.
type parts struct {
	values  map[string]json.RawMessage
	entries []json.RawMessage
}

// readable says why a record cannot be read: it is none, or a newer one.
func (p parts) readable() error {
	var schema string
	if err := json.Unmarshal(p.values["schema"], &schema); err != nil || !strings.HasPrefix(schema, schemaName) {
		return errors.New("is no record of a job")
	}
	version, err := strconv.Atoi(strings.TrimPrefix(schema, schemaName))
	switch {
	case err != nil || version < 1:
		return fmt.Errorf("has the version %q, which is none", schema)
	case version > schemaVersion:
		return fmt.Errorf("was written by a newer rimpair (%s, this one reads up to %s): use the newer program", schema, Schema)
	}
	return nil
}
