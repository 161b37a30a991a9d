package session

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"
)

// mostListeners bounds the watchers of one job.
const mostListeners = 256

// listeners are the watchers of one job. Each has room for one Change; a newer
// one takes the place of one not yet read, so a slow watcher holds up nobody
// and misses nothing that counts.
type listeners struct {
	mu   sync.Mutex
	next int
	to   map[int]chan Change
}

func (l *listeners) add(first *Change) (<-chan Change, func(), error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.to) >= mostListeners {
		return nil, nil, refuse(Limit, "this job is watched by %d already", mostListeners)
	}
	if l.to == nil {
		l.to = map[int]chan Change{}
	}
	id, ch := l.next, make(chan Change, 1)
	l.next++
	l.to[id] = ch
	if first != nil {
		ch <- *first
	}
	return ch, func() { l.drop(id) }, nil
}

func (l *listeners) drop(id int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if ch, ok := l.to[id]; ok {
		delete(l.to, id)
		close(ch)
	}
}

func (l *listeners) any() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.to) > 0
}

func (l *listeners) send(c Change) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, id := range slices.Sorted(maps.Keys(l.to)) {
		ch := l.to[id]
		select {
		case <-ch:
		default:
		}
		ch <- c
	}
}

// Subscribe tells of every change of a job from now on, whoever makes it, and
// answers where the job stands. Where that is past from, a number seen before, the
// first Change comes at once. Changes not read in time are merged into the newest.
// The channel is closed by stop, which may be called twice.
func (s *Service) Subscribe(ctx context.Context, id string, from *int) (seq int, changes <-chan Change, stop func(), err error) {
	j, unlock, err := s.lock(ctx, id)
	if err != nil {
		return 0, nil, nil, err
	}
	defer unlock()
	var first *Change
	if from != nil && (*from < 0 || *from > j.seq()) {
		return 0, nil, nil, &Error{Kind: Invalid, Field: "from", Job: id, Message: fmt.Sprintf("from is %d; the job stands at %d", *from, j.seq())}
	}
	if from != nil && *from < j.seq() {
		c := j.change()
		first = &c
	}
	changes, stop, err = j.listen.add(first)
	return j.seq(), changes, stop, err
}

func (j *job) change() Change {
	last := j.log[len(j.log)-1]
	n := last.Entry
	return Change{Job: j.id, Seq: n, Kind: last.Kind, Entry: &n}
}
