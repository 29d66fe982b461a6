// Command bench measures photos and drawn scenes whose truth is known, and prints
// what came out beside the truth and beside the limits that the project has set
// itself. It measures as a person does, with the rimpair program; it asserts nothing.
//
//	go run ./cmd/bench                     everything
//	go run ./cmd/bench -only photos,speed  parts of it
//
// Folders of photos with a truth.json each are looked for in $RIMPAIR_PHOTOS, else
// in ../shared/photos, else in samples/photos.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
)

// bench is one run of the program.
type bench struct {
	out     io.Writer
	rimpair string // the program under test
	scenes  int
	seed    uint64
	long    int
	draws   int
	heap    int
	dir     string // for drawn photos
}

func main() {
	if len(os.Args) > 1 {
		switch os.Args[1] {
		case yardstickCommand:
			exit(runYardstick(os.Args[2:]))
		case costCommand:
			exit(printCost(os.Args[2:]))
		case warmYardstickCommand:
			exit(runWarmYardstick(os.Args[2:]))
		case faultsCommand:
			exit(triesReader(os.Args[2:]))
		case cameraYardstickCommand:
			exit(runCameraYardstick(os.Args[2:]))
		}
	}
	b := bench{out: os.Stdout}
	only := flag.String("only", "photos,states,rear,scenes,geometry,negatives,adjust,jobs,camera,speed,faults,serve,review,grouping", "which tables, separated by commas")
	flag.StringVar(&b.rimpair, "rimpair", "./rimpair", "the program to measure with")
	flag.IntVar(&b.scenes, "scenes", 200, "how many scenes to draw")
	flag.Uint64Var(&b.seed, "seed", uint64(time.Now().UnixNano()), "seed of the first scene")
	flag.IntVar(&b.long, "long", 2000, "longer side of the drawn pictures in px, 0 for a phone's 3264 to 4032")
	flag.IntVar(&b.draws, "draws", 2000, "how many draws of noisy points")
	flag.IntVar(&b.heap, "heap", 0, "how many photos to review at least, by copying those there are")
	flag.Parse()
	exit(b.run(strings.Split(*only, ",")))
}

func exit(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
	os.Exit(0)
}

func (b *bench) run(parts []string) (err error) {
	if b.dir, err = os.MkdirTemp("", "bench"); err != nil {
		return err
	}
	defer os.RemoveAll(b.dir)
	tables := map[string]func() error{
		"photos": b.photoTables, "states": b.statesTables, "rear": b.rearTables, "scenes": b.sceneTables, "geometry": b.geometryTable, "negatives": b.negativesTable, "adjust": b.adjustTable, "jobs": b.jobsTable, "camera": b.cameraTable, "speed": b.speedTable, "faults": b.faultsTable, "serve": b.serveTable, "review": b.reviewTable, "grouping": b.groupingTable,
	}
	for _, part := range parts {
		table, ok := tables[part]
		if !ok {
			return fmt.Errorf("no table %q", part)
		}
		start := time.Now()
		if err := table(); err != nil {
			return err
		}
		b.printf("(%s took %.0f s)\n\n", part, time.Since(start).Seconds())
	}
	return nil
}

func (b *bench) printf(format string, args ...any) { fmt.Fprintf(b.out, format, args...) }

func (b *bench) title(format string, args ...any) {
	line := fmt.Sprintf(format, args...)
	b.printf("%s\n%s\n", line, strings.Repeat("=", len(line)))
}
