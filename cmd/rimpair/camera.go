package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report"
	"rimpair/vision"
)

func newCameraCommand() *cobra.Command {
	var output, pattern string
	var squareMm float64
	command := &cobra.Command{
		Use:   "camera PHOTO...",
		Short: "Calibrate a phone's camera from photos of a printed sheet",
		Long: `camera finds a phone's focal length, principal point and lens distortion from 8 or
more photos of a printed reference sheet, each number with its uncertainty, and
writes them as a profile that measure uses. A calibrated phone needs fewer photos
of a vehicle.

Take 12 to 15 photos:
  - Use the phone, lens and resolution that you will measure with, without zoom.
  - Lay the sheet flat, or tape it to something stiff and flat. It may be any
    of the numbers, or several at once. Do not bend it anew between photos.
  - Come near: the sheet should fill half of the picture or more, all in focus.
    Parts of it may lie outside the picture.
  - Take two or three straight from above, the others tilted by 30 to 45 degrees
    from all four sides of the sheet.
  - Turn the phone by a quarter in half of them, and by half a turn in some.
  - Let the sheet lie in every corner of the picture in one photo or another.
  - Give light from the side or above, without glare on the paper.

A chessboard does as well: --chessboard counts its inner corners, one fewer than
squares each way.`,
		Example: `  rimpair camera *.jpg
  rimpair camera *.jpg -o my-phone.json
  rimpair camera *.jpg --chessboard 9x6 --square 25 -o my-phone.json`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(command *cobra.Command, paths []string) error {
			board, err := chessboardOf(pattern, squareMm)
			if err != nil {
				return err
			}
			inputs, dropped, err := loadTargets(paths, board)
			if err != nil {
				return err
			}
			calibration, err := measure.Calibrate(inputs, dropped, board)
			if err != nil {
				return err
			}
			out := command.OutOrStdout()
			if err := report.Camera(out, calibration); err != nil {
				return err
			}
			profile := calibration.Profile(time.Now().Format(time.DateOnly))
			file, err := saveProfile(&profile, output)
			if err != nil {
				return err
			}
			fmt.Fprintf(out, "\n%s\n", file)
			return nil
		},
	}
	flags := command.Flags()
	flags.StringVarP(&output, "output", "o", "", "file to write; without it the profile goes where measure finds it by itself")
	flags.StringVar(&pattern, "chessboard", "", "photos are of a chessboard with so many inner corners, such as 9x6")
	flags.Float64Var(&squareMm, "square", defaultSquareMm, "side of the chessboard's squares in mm")
	return command
}

// defaultSquareMm: the squares' size changes the lens little, only through how flat
// a board of that size may be.
const defaultSquareMm = 25.0

const mostChessCorners = 50 // each way

// chessboardOf reads such as 9x6; nothing is no chessboard.
func chessboardOf(pattern string, squareMm float64) (calib.Chessboard, error) {
	if pattern == "" {
		return calib.Chessboard{}, nil
	}
	b := calib.Chessboard{SquareMm: squareMm}
	var rest string
	n, _ := fmt.Sscanf(pattern, "%dx%d%s", &b.Columns, &b.Rows, &rest)
	if n != 2 || min(b.Columns, b.Rows) < 3 || max(b.Columns, b.Rows) > mostChessCorners {
		return b, fmt.Errorf("--chessboard takes the inner corners each way, 3 to %d, such as 9x6, not %q", mostChessCorners, pattern)
	}
	if !(squareMm >= 1 && squareMm <= 1000) {
		return b, fmt.Errorf("--square takes the squares' side in mm, not %g", squareMm)
	}
	return b, nil
}

// loadTargets reads the photos and finds the sheets' or the chessboard's corners, as
// many at once as there are processors. A photo that cannot be used is left out.
func loadTargets(paths []string, board calib.Chessboard) ([]measure.Input, []measure.Dropped, error) {
	find := vision.FindNearSheet
	if board != (calib.Chessboard{}) {
		find = func(g *vision.Gray) ([]vision.Corner, error) { return vision.FindChessboard(g, board) }
	}
	loaded, errs := make([]measure.Input, len(paths)), make([]error, len(paths))
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	for i, path := range paths {
		group.Go(func() error {
			loaded[i], errs[i] = loadPhoto(path, vision.LoadGrey, find)
			if errs[i] == nil {
				loaded[i].Photo.Gray.Pix = nil // 12 MB a photo, and only its size is asked for from here
			}
			return nil
		})
	}
	_ = group.Wait() // the errors are in errs
	var inputs []measure.Input
	var dropped []measure.Dropped
	for i, err := range errs {
		var refusal *vision.Refusal
		switch {
		case err == nil:
			inputs = append(inputs, loaded[i])
		case errors.As(err, &refusal):
			dropped = append(dropped, measure.Dropped{Photo: filepath.Base(paths[i]), Reason: strings.TrimSuffix(refusal.Reason, ".")})
		default:
			return nil, nil, err
		}
	}
	return inputs, dropped, nil
}
