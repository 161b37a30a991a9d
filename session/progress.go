package session

import "context"

// Progress is how far the replay of a job's log has come, for who waits for it.
type Progress struct {
	Job  string `json:"job"`
	What string `json:"what"` // is counted
	Done int    `json:"done"`
	Of   int    `json:"of"`
}

type progressKey struct{}

// WithProgress has tell called while a call made with the context replays a log, once
// an entry. It must return fast.
func WithProgress(ctx context.Context, tell func(Progress)) context.Context {
	return context.WithValue(ctx, progressKey{}, tell)
}

// telling is who wants to know how far a call is; it can always be called.
func telling(ctx context.Context) func(Progress) {
	if tell, ok := ctx.Value(progressKey{}).(func(Progress)); ok {
		return tell
	}
	return func(Progress) {}
}
