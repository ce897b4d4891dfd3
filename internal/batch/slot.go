package batch

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"
)

// slot is the place of one worker process: when that dies, the next one takes it.
type slot struct {
	*run
	p       *process // nil while none runs
	results chan<- result
}

func (s *slot) stop() {
	if s.p != nil {
		s.p.stop()
		s.p = nil
	}
}

// ready starts a worker where none runs, again and again if it must, with longer and longer pauses. When ctx ends first there is
// none, and that is no error.
func (s *slot) ready(ctx context.Context) error {
	if s.p != nil {
		return nil
	}
	pause := s.patience.pause
	for tries := 1; ; tries++ {
		p, err := startProcess(ctx, s.cfg.Start, s.patience.limit, s.answers)
		if err == nil {
			s.p = p
			s.mu.Lock()
			s.lived = true
			s.mu.Unlock()
			return nil
		}
		if ctx.Err() != nil {
			return nil //nolint:nilerr // nobody waits for a worker any more
		}
		s.mu.Lock()
		most := s.patience.first
		if s.lived {
			most = s.patience.later
		}
		s.mu.Unlock()
		if tries >= most {
			return fmt.Errorf("%w; gave up after %d tries", err, tries)
		}
		if tries == 1 {
			s.note(fmt.Sprintf("%v; starting it again", err))
		}
		select {
		case <-time.After(pause):
		case <-ctx.Done():
			return nil
		}
		pause = min(2*pause, s.patience.longest)
	}
}

// do has a capture analysed and passes the result on. A capture that costs its worker gets a second try, no more. goOn is false when the
// slot is to take no more captures; the error is one of the run.
func (s *slot) do(w work) (goOn bool, err error) {
	if w.tried != "" {
		return s.again(w)
	}
	s.alone.RLock()
	answer, err := s.ask(&w)
	s.alone.RUnlock()
	if err == nil {
		return s.deliver(w, answer)
	}
	if s.abort.Err() != nil {
		w.body.drop()
		return false, nil //nolint:nilerr // the run was aborted, which cost the worker
	}
	w.tried = tryReason(w, err)
	v := w.job.Versions
	if err := s.store.SetTried(s.abort, w.job.Capture, w.job.SHA256, v.Settings, v.Model, w.tried); err != nil {
		w.body.drop()
		return false, err
	}
	return s.again(w)
}

// again gives a capture that cost a worker its second try, in a fresh one with nothing else under way: the machine may have been
// short of memory. A capture that fails again is set aside as unreadable.
func (s *slot) again(w work) (goOn bool, err error) {
	s.note(fmt.Sprintf("%s: %s; trying once more, alone", w.job.Capture, w.tried))
	s.stop()
	if err := s.ready(s.abort); err != nil || s.p == nil {
		s.leave(w)
		return false, s.without(err)
	}
	s.alone.Lock()
	answer, err := s.ask(&w)
	s.alone.Unlock()
	switch {
	case err == nil:
		return s.deliver(w, answer)
	case s.abort.Err() != nil:
		w.body.drop()
		return false, nil //nolint:nilerr // the run was aborted, which cost the worker
	}
	return s.deliver(w, response{Capture: unreadable(w.job, tryReason(w, err)+", tried twice")})
}

// leave puts a capture aside for another slot. When the run is over nobody takes it, and it stays undone.
func (s *slot) leave(w work) { s.waiting <- w }

func tryReason(w work, err error) string {
	if errors.Is(err, errTimedOut) {
		return tooSlow(w.job.Limit)
	}
	return err.Error()
}

// ask is process.ask, cut short when the run is aborted. After an error there is no worker in the slot.
func (s *slot) ask(w *work) (response, error) {
	release := context.AfterFunc(s.abort, s.p.kill)
	defer release()
	answer, err := s.p.ask(s.abort, w.job, &w.body, cmp.Or(s.cfg.Grace, defaultGrace))
	if err != nil {
		s.p = nil
	}
	return answer, err
}

// deliver passes a result on to be stored.
func (s *slot) deliver(w work, answer response) (goOn bool, err error) {
	w.body.drop()
	if answer.Last {
		s.stop()
	}
	switch {
	case answer.Failure != "":
		err = errors.New(answer.Failure)
	case answer.Capture == nil:
		err = fmt.Errorf("worker gave no answer for %s", w.job.Capture)
	default:
		s.results <- result{w, answer}
		return true, nil
	}
	s.answers.Release(answer.held)
	return false, err
}
