package transport

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"sync"
	"time"

	"coilside/transport/page"
)

// A browser cannot send a token of its own accord. Whoever has the token asks for a
// link, which works once and soon; opening it leaves a cookie in the browser that
// stands for the token. Links and cookies are kept in memory: a restart ends them.
const (
	linkFor    = 10 * time.Minute
	cookieFor  = 30 * 24 * time.Hour
	mostPasses = 1000 // of each sort; the oldest go first
	enterPath  = "/enter/"
)

// pass is a link or a cookie that stands for a token.
type pass struct {
	token Token
	until time.Time
}

// passes holds the links and cookies given out, by the hash of their secret.
type passes struct {
	mu      sync.Mutex
	links   map[[sha256.Size]byte]pass
	cookies map[[sha256.Size]byte]pass
	now     func() time.Time
}

func newPasses() *passes {
	return &passes{links: map[[sha256.Size]byte]pass{}, cookies: map[[sha256.Size]byte]pass{}, now: time.Now}
}

// give adds a pass and returns its secret, of 260 bits.
func (p *passes) give(to map[[sha256.Size]byte]pass, token Token, valid time.Duration) string {
	secret := rand.Text() + rand.Text()
	for key, one := range to {
		if one.until.Before(p.now()) {
			delete(to, key)
		}
	}
	if len(to) >= mostPasses {
		dropOldest(to)
	}
	to[sha256.Sum256([]byte(secret))] = pass{token, p.now().Add(valid)}
	return secret
}

func dropOldest(from map[[sha256.Size]byte]pass) {
	var oldest [sha256.Size]byte
	var until time.Time
	for key, one := range from {
		if until.IsZero() || one.until.Before(until) {
			oldest, until = key, one.until
		}
	}
	delete(from, oldest)
}

// link gives a secret that enter takes once.
func (p *passes) link(token Token) string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.give(p.links, token, linkFor)
}

// enter turns a link's secret into a cookie's.
func (p *passes) enter(secret string) (cookie string, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	key := sha256.Sum256([]byte(secret))
	link, ok := p.links[key]
	delete(p.links, key)
	if !ok || link.until.Before(p.now()) {
		return "", false
	}
	return p.give(p.cookies, link.token, cookieFor), true
}

// holder is the token that a cookie stands for.
func (p *passes) holder(cookie string) (Token, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	one, ok := p.cookies[sha256.Sum256([]byte(cookie))]
	return one.token, ok && !one.until.Before(p.now())
}

// cookieName has the port in it: browsers keep cookies by host, and send them to
// every port of it.
func (s *Server) cookieName() string {
	_, port, _ := net.SplitHostPort(s.listener.Addr().String())
	if s.tls != nil {
		return "__Host-coilside-" + port
	}
	return "coilside-" + port
}

// serveLink gives a link for a browser to whoever has shown a token.
func (s *Server) serveLink(w http.ResponseWriter, r *http.Request) {
	who := clientOf(r.Context())
	if who.token == nil {
		refuse(w, http.StatusNotFound, "This service takes no tokens, so a browser needs no link: open "+s.URL()+".")
		return
	}
	link := url.URL{Scheme: s.scheme(), Host: r.Host, Path: enterPath + s.passes.link(*who.token)}
	body, err := json.Marshal(map[string]any{"link": link.String(), "minutes": linkFor.Minutes()})
	if err != nil {
		refuse(w, http.StatusInternalServerError, "The link cannot be written.")
		return
	}
	writeJSON(w, http.StatusOK, body)
}

// entered leads on to the page. A redirect would still count as coming from where the
// link stood, and the cookie would not be sent along.
const entered = `<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0;url=/"><link rel="icon" href="/page/icon.svg" type="image/svg+xml"><title>Coilside</title>
<p>This browser may use the service now. <a href="/">Go on</a></p></html>
`

// serveEnter takes a link once and leaves a cookie.
func (s *Server) serveEnter(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Referrer-Policy", "no-referrer")
	cookie, ok := s.passes.enter(r.PathValue("secret"))
	if !ok {
		s.metrics.refused.WithLabelValues("link").Inc()
		refuse(w, http.StatusForbidden, "This link was used already or is too old. Ask for a new one: coilside link.")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: cookie, Path: "/", MaxAge: int(cookieFor.Seconds()),
		HttpOnly: true, Secure: s.tls != nil, SameSite: http.SameSiteStrictMode})
	page.Protect(w.Header(), r.Host)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = fmt.Fprint(w, entered)
}
