package serve

import (
	"errors"
	"time"

	"rimpair/vision"
)

// PlainJudge looks at the sheets in a photo: whether any is there, large and sharp
// enough.
func PlainJudge(photo *vision.Photo, begun time.Time) (verdict string, judgement any) {
	j := struct {
		Verdict  string    `json:"verdict"`
		Findings []finding `json:"findings"`
		Sheets   []int     `json:"sheets"`
		BlurPx   float64   `json:"blur_px"`
		Seconds  float64   `json:"seconds"`
	}{Verdict: "good", Findings: []finding{}, Sheets: []int{}}
	corners, err := vision.FindSheets(photo.Gray)
	var refusal *vision.Refusal
	if errors.As(err, &refusal) {
		j.Verdict, j.Findings = Repeat, append(j.Findings, finding{refusal.Code, refusal.Reason, refusal.Remedy})
	}
	for i, c := range corners {
		if i == 0 || c.Sheet != corners[i-1].Sheet {
			j.Sheets = append(j.Sheets, c.Sheet)
		}
	}
	if len(corners) > 0 {
		j.BlurPx = vision.BlurPx(corners)
	}
	j.Seconds = time.Since(begun).Seconds()
	return j.Verdict, j
}
