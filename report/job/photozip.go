package job

import (
	"archive/zip"
	"fmt"
	"io"
	"os"
	"path"
	"strings"
)

// PhotoZip is an archive of photos that somebody sent. It is to be closed.
type PhotoZip struct {
	zip  *zip.ReadCloser
	left int64 // bytes that may still be unpacked
}

// OpenPhotoZip opens an archive of photos.
func OpenPhotoZip(archive string) (*PhotoZip, error) {
	info, err := os.Stat(archive)
	if err != nil {
		return nil, err
	}
	z, err := zip.OpenReader(archive)
	if err != nil {
		return nil, err
	}
	if len(z.File) > mostFiles {
		z.Close()
		return nil, fmt.Errorf("holds %d files, more than %d", len(z.File), mostFiles)
	}
	return &PhotoZip{z, swellFreeBytes + swellAllowed*info.Size()}, nil
}

func (z *PhotoZip) Close() error { return z.zip.Close() }

// Files are the plain files that a person put into it: no links, no devices, nothing
// hidden. Their names may lead anywhere: they are words, not places to write to.
func (z *PhotoZip) Files() (files []*zip.File) {
	for _, f := range z.zip.File {
		if f.Mode().IsRegular() && !strings.HasPrefix(path.Base(f.Name), ".") && !strings.HasPrefix(f.Name, "__MACOSX/") {
			files = append(files, f)
		}
	}
	return files
}

// Unpack unpacks one of its files, which may have so many bytes, and which together may
// have so many times the archive's as photos can.
func (z *PhotoZip) Unpack(w io.Writer, f *zip.File, most int64) (err error) {
	n, err := unpack(w, f, min(most, z.left))
	z.left -= n
	return err
}
