package transport

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"strings"

	"coilside/session"

	"github.com/rs/zerolog"
)

// client is who a request comes from.
type client struct {
	token *Token // nil where the service takes none
	key   string // what limits are counted by
}

type clientKey struct{}

func clientOf(ctx context.Context) client {
	c, _ := ctx.Value(clientKey{}).(client)
	return c
}

// withClient has the calls of ctx made for c: with a token of a front end's own
// they reach its jobs only.
func withClient(ctx context.Context, c client) context.Context {
	ctx = context.WithValue(ctx, clientKey{}, c)
	if c.token != nil && c.token.Name != "" {
		log := zerolog.Ctx(ctx).With().Str("client", c.token.Name).Logger()
		ctx = session.For(log.WithContext(ctx), c.token.Name)
	}
	return ctx
}

// open paths ask for no token: they tell nothing, or hold a secret themselves.
func openPath(path string) bool {
	return path == "/healthz" || path == "/readyz" || strings.HasPrefix(path, enterPath)
}

// known finds out who a request comes from, and refuses it without the token that
// the service asks for.
func (s *Server) known(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := client{key: "address " + network(r.RemoteAddr)}
		// Addresses end up in histories and logs, so nothing secret may stand there.
		// No call of this service takes anything after the "?".
		if r.URL.RawQuery != "" || r.URL.ForceQuery {
			s.turnAway(w, "query", http.StatusBadRequest, `Nothing goes after "?" in the address. A token goes into the header: Authorization: Bearer TOKEN.`)
			return
		}
		if s.asksForToken() && !openPath(r.URL.Path) {
			if !s.hasRoom(c) { // guessing is slow work
				s.tooFast(w)
				return
			}
			token, ok := s.tokenOf(r)
			if !ok {
				s.allow(c)
				w.Header().Set("WWW-Authenticate", `Bearer realm="coilside"`)
				s.turnAway(w, "token", http.StatusUnauthorized, unknownWords(r.URL.Path))
				return
			}
			c = client{token: &token, key: "token " + token.Name}
		}
		next.ServeHTTP(w, r.WithContext(withClient(r.Context(), c)))
	})
}

// unknownWords says how to be known: a person looks at /, programs do not.
func unknownWords(path string) string {
	if path == "/" {
		return "This browser needs a link first. On the machine that serves, run: coilside link. Then open here what it prints."
	}
	return "This service takes a token it knows, in the header: Authorization: Bearer TOKEN."
}

// tokenOf is the token a request shows: in its header, or, from a browser, by the
// cookie that stands for it.
func (s *Server) tokenOf(r *http.Request) (Token, bool) {
	headers := r.Header.Values("Authorization")
	if len(headers) > 0 {
		scheme, sent, _ := strings.Cut(headers[0], " ")
		if len(headers) > 1 || !strings.EqualFold(scheme, "Bearer") {
			return Token{}, false
		}
		return s.tokens.Load().find(strings.TrimSpace(sent))
	}
	if cookie, err := r.Cookie(s.cookieName()); err == nil {
		token, ok := s.passes.holder(cookie.Value)
		return token, ok && s.tokens.Load().has(token)
	}
	return Token{}, false
}

// network is the part of an address that one machine can't change at will.
func network(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		return remote
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	if ip = ip.Unmap(); ip.Is4() || ip.IsLoopback() {
		return ip.String()
	}
	prefix, err := ip.Prefix(64) // a machine of IPv6 has as many addresses as it likes
	if err != nil {
		return host
	}
	return prefix.String()
}
