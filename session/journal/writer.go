package journal

import (
	"database/sql"
	"errors"
	"io/fs"
	"sync"
)

// mostTogether bounds the writes that share one transaction.
const mostTogether = 256

// writer is the only one that writes to the database. Writes that arrive while the
// disk is busy share the next transaction, so that a load of many small writes costs few
// syncs; each is answered after its transaction is on disk.
type writer struct {
	path   string
	db     *sql.DB
	commit func(*sql.Tx) error
	queue  chan *pending
	quit   chan struct{}
	once   sync.Once
	done   sync.WaitGroup
}

type pending struct {
	run    func(*sql.Tx) error
	err    error
	answer chan struct{} // closed when err is known
}

func startWriter(path string, db *sql.DB, commit func(*sql.Tx) error) *writer {
	if commit == nil {
		commit = (*sql.Tx).Commit
	}
	w := &writer{path: path, db: db, commit: commit, queue: make(chan *pending), quit: make(chan struct{})}
	w.done.Go(w.loop)
	return w
}

// do hands in one write and waits until it is on disk or has failed.
func (w *writer) do(run func(*sql.Tx) error) error {
	p := &pending{run: run, answer: make(chan struct{})}
	select {
	case w.queue <- p:
	case <-w.quit:
		return ErrClosed
	}
	<-p.answer
	return p.err
}

// later hands in a write that may be lost, unless the writer is busy.
func (w *writer) later(run func(*sql.Tx) error) {
	select {
	case w.queue <- &pending{run: run, answer: make(chan struct{})}:
	default:
	}
}

func (w *writer) stop() {
	w.once.Do(func() { close(w.quit) })
	w.done.Wait()
}

func (w *writer) loop() {
	for {
		select {
		case p := <-w.queue:
			w.together(w.waiting(p))
		case <-w.quit:
			return
		}
	}
}

// waiting collects what waits behind the first.
func (w *writer) waiting(first *pending) []*pending {
	batch := []*pending{first}
	for len(batch) < mostTogether {
		select {
		case p := <-w.queue:
			batch = append(batch, p)
		default:
			return batch
		}
	}
	return batch
}

// together writes a batch in one transaction and answers each. Where it fails,
// each is tried alone, so that nobody fails for another's sake.
func (w *writer) together(batch []*pending) {
	err := w.transaction(batch)
	if err != nil && len(batch) > 1 {
		for _, p := range batch {
			w.together([]*pending{p})
		}
		return
	}
	for _, p := range batch {
		if err != nil {
			p.err = err
		}
		close(p.answer)
	}
}

// transaction does the whole batch or, on error, nothing of it. A write that was
// refused, as opposed to failed, has written nothing and leaves the others be.
func (w *writer) transaction(batch []*pending) (err error) {
	tx, err := w.db.Begin()
	if err != nil {
		return inFile(w.path, err)
	}
	defer func() {
		if err != nil {
			if undo := tx.Rollback(); !errors.Is(undo, sql.ErrTxDone) {
				err = errors.Join(err, undo)
			}
		}
	}()
	for _, p := range batch {
		p.err = p.run(tx)
		if p.err != nil && !errors.Is(p.err, ErrMoved) && !errors.Is(p.err, fs.ErrExist) {
			return inFile(w.path, p.err)
		}
	}
	return inFile(w.path, w.commit(tx))
}
