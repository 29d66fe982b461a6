package vision

import "fmt"

// Refusal says why no number is given: a wrong number is worse than none.
type Refusal struct {
	Code   string `json:"code"`   // stable, for programs
	Photo  string `json:"photo"`  // the photo it is about; empty when it is the set
	Reason string `json:"reason"` // what is wrong, one sentence
	Remedy string `json:"remedy"` // what to do about it, one sentence
}

func (r *Refusal) Error() string {
	where := ""
	if r.Photo != "" {
		where = r.Photo + ": "
	}
	return fmt.Sprintf("%s%s %s [%s]", where, r.Reason, r.Remedy, r.Code)
}
