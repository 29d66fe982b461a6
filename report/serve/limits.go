package serve

import (
	"time"

	"rimpair/vision"
)

// What a client may ask for.
const (
	photoBytes    = 40 << 20
	photoPixels   = 64e6 // of the phones' largest everyday modes
	photosPerJob  = 40
	archiveBytes  = 1 << 30
	reviewPhotos  = 2000
	jsonBytes     = 256 << 10
	headerBytes   = 16 << 10
	longestText   = 2000 // characters of a name or a note
	widestPicture = 1600 // px

	connections   = 256
	uploadsAtOnce = 24
	streamsAtOnce = 100
	// Requests of one client.
	requestsPerSecond = 60
	requestsAtOnce    = 300
	clientsKnown      = 1000
)

// How long a client may take.
const (
	headerTime = 10 * time.Second
	idleTime   = 2 * time.Minute
	answerTime = time.Minute
	// A body may take bodyGrace and what the slowest line that is served needs.
	bodyGrace     = 30 * time.Second
	slowestPerSec = 4 << 10 // bytes
	slotTime      = 20 * time.Second
	heartbeat     = 15 * time.Second
	closingTime   = 10 * time.Second
)

// heavyAtOnce is how many photos' pixels may be held at a time; a photo beyond
// largePixels counts as all of them. In colour a pixel takes about colourBytes while
// it is drawn on, so that both hold well under 1 GiB, less while it is measured.
const (
	colourBytes = 12
	heavyAtOnce = 2
	largePixels = 25e6
)

// MemoryLimit is what the collector is to keep the program's own memory under;
// OpenCV's pictures come on top.
const MemoryLimit = 640 << 20

// PhotoLimits are those of a photo that a client sends.
func PhotoLimits() vision.Limits {
	return vision.Limits{Bytes: photoBytes, Pixels: photoPixels, Time: 30 * time.Second}
}
