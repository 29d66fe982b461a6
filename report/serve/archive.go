package serve

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"path"
	"strings"
	"time"

	"rimpair/report/job"
)

// unpackPhotos takes the photos out of an archive into a spool. Nothing in an archive
// names a place: each photo gets a key of its own, links and devices are left, and
// every byte is counted while it is unpacked. What cannot be taken is named.
func unpackPhotos(archive string, of *shot, archiveSize int64, to spool, room int) (photos []*shot, problems []reviewProblem, err error) {
	z, err := zip.OpenReader(archive)
	if err != nil {
		return nil, []reviewProblem{{of.Name, "The archive cannot be read."}}, nil
	}
	defer z.Close()
	left := job.MayUnpack(archiveSize)
	for i, f := range z.File {
		if !f.Mode().IsRegular() || isHidden(f.Name) {
			continue
		}
		if len(photos) == room {
			problems = append(problems, reviewProblem{of.Name, fmt.Sprintf("There are more photos in it than the %d that are allowed.", reviewPhotos)})
			break
		}
		sum := sha256.Sum256(fmt.Appendf(nil, "%s/%d", of.Key, i))
		p := &shot{
			Key: hex.EncodeToString(sum[:16]), Name: strings.ToValidUTF8(f.Name, "_"), Modified: f.Modified, Arrived: time.Now().UTC(),
		}
		n, problem, err := unpackPhoto(f, p, to, min(left, photoBytes))
		if err != nil {
			return photos, problems, err
		}
		left -= n
		if problem != "" {
			problems = append(problems, reviewProblem{p.Name, problem})
			continue
		}
		photos = append(photos, p)
	}
	return photos, problems, nil
}

// isHidden tells what no person put into an archive.
func isHidden(name string) bool {
	return strings.HasPrefix(path.Base(name), ".") || strings.HasPrefix(name, "__MACOSX/")
}

// unpackPhoto unpacks one photo; err is of this machine's disk, problem of the
// archive.
func unpackPhoto(f *zip.File, p *shot, to spool, most int64) (n int64, problem string, err error) {
	from, into := io.Pipe()
	unpacked := make(chan error, 1)
	go func() {
		var err error
		n, err = job.Unpack(into, f, most)
		into.CloseWithError(err)
		unpacked <- err
	}()
	err = to.put(p, from)
	from.Close() // a full disk must not leave the other side waiting
	if bad := <-unpacked; bad != nil && bad != io.ErrClosedPipe {
		return n, "The archive " + bad.Error() + ".", nil
	}
	return n, "", err
}
