package review

import (
	"log"
	"path"
	"runtime/debug"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/vision"
)

// File is a photo that is to be reviewed.
type File struct {
	Key  string // names it to a program; any
	Path string // where it lies
	Name string // as it came, with its folders, separated by "/"
}

// Photo is what was found in a file. Its pixels are given back.
type Photo struct {
	File
	Taken     time.Time // see vision.Photo; zero when not known
	Camera    vision.CameraID
	Judgement Judgement
	CopyOf    string // name of the photo of the group that is the same one

	position string // where the valves point, by its folder's name; "" where none says so
	readable bool
	sum      [32]byte
	corners  []vision.Corner
	stand    measure.Stand
}

// useful says that a photo is to be measured.
func (p *Photo) useful() bool { return p.Judgement.Verdict != Repeat && p.CopyOf == "" }

// folder is the folder that a photo came in. An archive's names are left as they are:
// they are words, not places.
func (p *Photo) folder() string {
	folder, _ := path.Split(p.Name)
	return strings.TrimSuffix(folder, "/")
}

func (p *Photo) pixels() int64 { return int64(p.Camera.Width) * int64(p.Camera.Height) }

// side is a number for each side that a photo can be taken from: above, or an eighth
// of the way around.
func (p *Photo) side() int {
	if p.stand.PitchDeg > aboveDeg {
		return -1
	}
	return eighth(p.stand)
}

// look reads and judges a photo.
func look(f File, limits vision.Limits) (p Photo) {
	p.File = f
	begun := time.Now()
	photo, err := vision.Load(f.Path, limits)
	if err != nil {
		p.Judgement = Refused(err)
		return p
	}
	p.Taken, p.Camera, p.sum, p.readable = photo.Taken, photo.Camera, photo.SHA256, true
	p.corners, p.stand, p.Judgement = judge(photo, 0, begun)
	return p
}

// choked is to be deferred where a photo is looked at: whatever a file does to a reader,
// it is the file that is bad.
func choked(p *Photo, f File) {
	if failure := recover(); failure != nil {
		log.Printf("reading %s failed: %v\n%s", f.Name, failure, debug.Stack())
		*p = Photo{File: f, Judgement: Refused(&vision.Refusal{Code: "unreadable", Reason: "Reading the photo failed.", Remedy: "Take it again."})}
	}
}
