package session

import (
	"container/list"
	"encoding/json"

	"coilside/session/journal"
)

// head is what is asked of a job without reading its log. It is kept beside the
// log, so that a start and a list of many jobs read no log.
type head struct {
	JobSummary
	Owner string `json:"owner,omitempty"`
	// Conversation is that of an open job which other instances may serve.
	Conversation *conversation `json:"conversation,omitempty"`
}

// makeHead makes the head of a job whose log is in memory.
func (s *Service) makeHead(j *job) *head {
	h := &head{JobSummary: j.summary(), Owner: j.log[0].Owner}
	if s.shared() && h.State == "open" {
		now := j.conversation
		h.Conversation = &now
	}
	return h
}

func marshalled(h *head) []byte {
	data, err := json.Marshal(h)
	if err != nil { // no text or time that a head holds fails
		return nil
	}
	return data
}

// readHead gives nil for a job whose head was not kept or cannot be used: its log
// is read instead.
func readHead(h journal.Head) *head {
	var out head
	if h.Damage != nil || len(h.Head) == 0 || json.Unmarshal(h.Head, &out) != nil || out.Job != h.Name {
		return nil
	}
	return &out
}

// headOf gives the head of a job, nil where its log has to be read for it.
func (s *Service) headOf(id string) *head {
	s.mu.Lock()
	defer s.mu.Unlock()
	if j := s.jobs[id]; j != nil {
		return j.head.Load()
	}
	return nil
}

// What bounds the jobs kept in memory where Options does not. A job with its case takes 2 MB when it was opened, and 5 to
// 15 MB after some readings; one with many pairs of faults to weigh takes up to 70 MB.
const (
	defaultResident      = 256
	defaultResidentBytes = 512 << 20
)

// residents are the jobs in memory, the one used last in front. Service.mu guards
// them.
type residents struct {
	most, mostBytes int
	bytes           int       // that all of them take, about
	order           list.List // of *resident
	at              map[*job]*list.Element
}

// resident is a job in memory and about how many bytes it takes, as of when it was last used.
type resident struct {
	*job
	bytes int
}

// use brings a job to the front.
func (r *residents) use(j *job) {
	if e := r.at[j]; e != nil {
		r.order.MoveToFront(e)
		return
	}
	if r.at == nil {
		r.at = map[*job]*list.Element{}
	}
	r.at[j] = r.order.PushFront(&resident{job: j})
}

// weigh notes what a job takes now.
func (r *residents) weigh(j *job, bytes int) {
	if e := r.at[j]; e != nil {
		own := e.Value.(*resident) //nolint:forcetypeassert // nothing else is put in
		r.bytes += bytes - own.bytes
		own.bytes = bytes
	}
}

// full reports whether some job has to go: not the only one, however large it is.
func (r *residents) full() bool {
	return r.order.Len() > r.most || r.bytes > r.mostBytes && r.order.Len() > 1
}

// pageOut takes jobs that were not used for long out of memory until few enough
// are left. A job that is in use just now is passed over.
func (r *residents) pageOut(durable bool) {
	for e := r.order.Back(); e != nil && r.full(); {
		own := e.Value.(*resident) //nolint:forcetypeassert // nothing else is put in
		before := e.Prev()
		if own.mu.TryLock() {
			own.rest(durable)
			own.mu.Unlock()
			r.weigh(own.job, 0)
			r.order.Remove(e)
			delete(r.at, own.job)
		}
		e = before
	}
}

// rest drops what can be made again: the case, and the log where it is on disk.
// What was asked and warned of is nowhere else and stays.
func (j *job) rest(durable bool) {
	j.forget()
	j.given = nil
	if durable && j.file != nil {
		j.read, j.file, j.log, j.keys, j.base = false, nil, nil, nil, nil
	}
}

// used notes that a job is in use and makes room for it.
func (s *Service) used(j *job) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.residents.use(j)
	s.residents.pageOut(s.o.Journal != nil)
}

// release gives back the turn with a job, and makes room for what it has come to take.
func (s *Service) release(j *job) {
	bytes := 0
	if j.c != nil {
		bytes = j.c.Bytes()
	}
	j.mu.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.residents.weigh(j, bytes)
	s.residents.pageOut(s.o.Journal != nil)
}
