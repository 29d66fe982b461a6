package job

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rimpair/report/job/bare"
)

// Export writes a job as one zip file for sending: its photos without location
// data, the rest as it is. What cannot be sent is left out and named.
func Export(dir, archive string) (leftOut []Damage, err error) {
	s, err := Inspect(dir)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(s.Damage, func(d Damage) bool { return d.File == recordName }); i >= 0 {
		return nil, fmt.Errorf("%s: %w", dir, s.Damage[i])
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	absolute, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	p := packer{job: s.Job, root: root, top: plain(filepath.Base(absolute)), leftOut: s.Damage}
	err = WriteFile(archive, p.pack)
	return p.leftOut, err
}

// packer packs one job.
type packer struct {
	job     *Job
	root    *os.Root
	top     string // the folder in the archive
	zip     *zip.Writer
	leftOut []Damage
}

func (p *packer) pack(w io.Writer) error {
	p.zip = zip.NewWriter(w)
	for i := range p.job.Entries {
		e := &p.job.Entries[i]
		for k := range e.Photos {
			if err := p.photo(&e.Photos[k]); err != nil {
				return err
			}
		}
		others := slices.Clone(e.Pictures) // drawn anew, without EXIF
		if e.Measurement != nil {
			others = append(others, e.Measurement.Result)
		}
		for _, f := range others {
			if err := p.file(f); err != nil {
				return err
			}
		}
	}
	if c := p.job.Vehicle.CameraProfile; c != nil {
		if err := p.file(*c); err != nil {
			return err
		}
	}
	record, err := json.MarshalIndent(p.job, "", "  ")
	if err != nil {
		return err
	}
	return errors.Join(p.add(recordName, zip.Deflate, append(record, '\n')), p.zip.Close())
}

// photo packs a photo without what tells a place, and records its new SHA-256.
func (p *packer) photo(f *File) error {
	content, ok, err := p.read(*f)
	if err != nil || !ok {
		return err
	}
	content, err = bare.Photo(content)
	if err != nil {
		p.leftOut = append(p.leftOut, Damage{File: f.File, What: "cannot be freed of location data: " + err.Error()})
		return nil
	}
	sum := sha256.Sum256(content)
	if now := hex.EncodeToString(sum[:]); now != f.SHA256 {
		if f.OriginalSHA256 == "" {
			f.OriginalSHA256 = f.SHA256
		}
		f.SHA256 = now
	}
	return p.add(f.File, zip.Store, content)
}

func (p *packer) file(f File) error {
	content, ok, err := p.read(f)
	if err != nil || !ok {
		return err
	}
	return p.add(f.File, zip.Deflate, content)
}

// read reads a file; one that is damaged is left out, as it was named before.
func (p *packer) read(f File) (content []byte, ok bool, err error) {
	if slices.ContainsFunc(p.leftOut, func(d Damage) bool { return d.File == f.File }) {
		return nil, false, nil
	}
	content, err = p.root.ReadFile(f.File)
	return content, err == nil, err
}

func (p *packer) add(name string, method uint16, content []byte) error {
	w, err := p.zip.CreateHeader(&zip.FileHeader{Name: p.top + "/" + name, Method: method, Modified: p.job.Latest()})
	if err == nil {
		_, err = w.Write(content)
	}
	return err
}

// IsArchive says whether a path looks like an exported job.
func IsArchive(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.Mode().IsRegular() && strings.EqualFold(filepath.Ext(name), ".zip")
}
