package job

import "rimpair/measure"

// LastResult is the whole result of the last measurement; an empty one where there
// is none or it is damaged.
func (s *Inspected) LastResult() measure.Result {
	for i := len(s.Entries) - 1; i >= 0; i-- {
		if s.Entries[i].Measurement != nil {
			return s.Results[i]
		}
	}
	return measure.Result{}
}

// Advice is advice on the rods where that comes next and the steering is described,
// else nil; what is wrong with the description is said by the adjust command.
func (s *Inspected) Advice() *measure.RodAdvice {
	steering, ok := s.Described()
	if !ok || s.Next().Task != Adjust || steering.Thread == "" {
		return nil
	}
	advice, err := measure.AdviseRods(s.LastResult(), steering)
	if err != nil {
		return nil
	}
	return advice
}
