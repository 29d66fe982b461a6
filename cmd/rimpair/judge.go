package main

import (
	"time"

	"rimpair/report/review"
	"rimpair/vision"
)

// judgePhoto is review.Judge as the server asks for it.
func judgePhoto(photo *vision.Photo, begun time.Time) (verdict string, judgement any) {
	j := review.Judge(photo, begun)
	return j.Verdict, j
}
