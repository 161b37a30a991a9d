package transport

import (
	"errors"
	"sync"
)

// live are the WebSockets that are open, each with the token it was opened with.
type live struct {
	mu sync.Mutex
	of map[*socket]Token
}

func (l *live) add(k *socket, token Token) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.of == nil {
		l.of = map[*socket]Token{}
	}
	l.of[k] = token
}

func (l *live) drop(k *socket) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.of, k)
}

// endWithout ends those whose token is none of tokens, and gives how many.
func (l *live) endWithout(tokens Tokens) (ended int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for k, token := range l.of {
		if !tokens.has(token) {
			k.withdraw()
			ended++
		}
	}
	return ended
}

// withdraw ends a connection whose token is taken no longer; the call under way is answered.
func (k *socket) withdraw() { k.End(policyViolation, "this token was withdrawn") }

// asksForToken reports whether the service is for those with a token.
func (s *Server) asksForToken() bool { return len(*s.tokens.Load()) > 0 }

// SetTokens has the service take these tokens in the place of those before. Whoever came with one
// that is no longer among them is let in no more, by cookie neither, and its WebSockets are closed
// with code 1008. It is an error, and nothing changes, where that would open a service
// to everyone, or close one that was open.
func (s *Server) SetTokens(tokens Tokens) error {
	if s.asksForToken() != (len(tokens) > 0) {
		return errors.New("a service begins or ceases to ask for tokens only when it is started")
	}
	s.tokens.Store(&tokens)
	ended := s.live.endWithout(tokens)
	s.log.Info().Int("tokens", len(tokens)).Int("connections_ended", ended).Msg("tokens taken up")
	return nil
}
