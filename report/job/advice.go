package job

import "rimpair/measure"

// LastResult is the whole result of the last measurement; ok is false where there is
// none or it is damaged.
func (s *Inspected) LastResult() (r measure.Result, ok bool) {
	for i := len(s.Entries) - 1; i >= 0; i-- {
		if s.Entries[i].Measurement != nil {
			r, ok = s.Results[i]
			break
		}
	}
	return r, ok
}

// Advice is advice on the rods where that comes next and the steering is described,
// else nil; what is wrong with the description is said by the adjust command.
func (s *Inspected) Advice() *measure.RodAdvice {
	steering, ok := s.Described()
	result, whole := s.LastResult()
	if !ok || !whole || s.Next().Task != Adjust || steering.Thread == "" {
		return nil
	}
	advice, err := measure.AdviseRods(result, steering)
	if err != nil {
		return nil
	}
	return advice
}
