package serve

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
	"time"

	"rimpair/report/job"
)

// unpackPhotos takes the photos out of an archive into a spool. Nothing in an archive
// names a place: each photo gets a key of its own, and the archive's name before its
// own. What cannot be taken is named.
func unpackPhotos(archive string, of *shot, to spool, room int) (photos []*shot, problems []ReviewProblem, err error) {
	z, err := job.OpenPhotoZip(archive)
	if err != nil {
		return nil, []ReviewProblem{{Name: of.Name, Reason: "The archive cannot be read."}}, nil
	}
	defer z.Close()
	for i, f := range z.Files() {
		if len(photos) == room {
			problems = append(problems, ReviewProblem{Name: of.Name, Reason: fmt.Sprintf("There are more photos in it than the %d that are allowed.", reviewPhotos)})
			break
		}
		sum := sha256.Sum256(fmt.Appendf(nil, "%s/%d", of.Key, i))
		p := &shot{
			Key: hex.EncodeToString(sum[:16]), Name: strings.ToValidUTF8(of.Name+"/"+f.Name, "_"), Modified: f.Modified, Arrived: time.Now().UTC(),
		}
		problem, err := unpackPhoto(z, f, p, to)
		if err != nil {
			return photos, problems, err
		}
		if problem != "" {
			problems = append(problems, ReviewProblem{Name: p.Name, Reason: problem})
			continue
		}
		photos = append(photos, p)
	}
	return photos, problems, nil
}

// unpackPhoto unpacks one photo; err is of this machine's disk, problem of the
// archive.
func unpackPhoto(z *job.PhotoZip, f *zip.File, p *shot, to spool) (problem string, err error) {
	from, into := io.Pipe()
	unpacked := make(chan error, 1)
	go func() {
		err := z.Unpack(into, f, photoBytes)
		into.CloseWithError(err)
		unpacked <- err
	}()
	err = to.put(p, from)
	from.Close() // a full disk must not leave the other side waiting
	if bad := <-unpacked; bad != nil && bad != io.ErrClosedPipe {
		return fmt.Sprintf("The archive %v.", bad), nil
	}
	return "", err
}
