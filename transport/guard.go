package transport

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// names are the Host headers under which a listener may be asked, exactly. A page
// whose name was re-pointed at this machine sends its own name, and its Origin
// would agree with it, so comparing those two is not enough.
type names struct {
	hosts  []string
	any    bool // the listener takes all of the machine's addresses
	port   string
	scheme string
}

// namesFor lists the names of a listener: its own address, this machine's names for
// itself, and those that others know it by.
func namesFor(address net.Addr, scheme string, others []string) names {
	own, port, _ := net.SplitHostPort(address.String())
	n := names{port: port, scheme: scheme}
	if ip, err := netip.ParseAddr(own); err == nil && ip.Unmap().IsUnspecified() {
		n.any = true
	} else {
		n.add(own)
	}
	for _, name := range append([]string{"127.0.0.1", "::1", "localhost"}, others...) {
		n.add(strings.ToLower(name))
	}
	n.hosts = slices.Compact(n.hosts)
	return n
}

func (n *names) add(name string) {
	host := net.JoinHostPort(name, n.port)
	n.hosts = append(n.hosts, host)
	if standard := map[string]string{"http": "80", "https": "443"}[n.scheme]; n.port == standard { // clients leave it out
		n.hosts = append(n.hosts, strings.TrimSuffix(host, ":"+n.port))
	}
}

// ours reports whether a request asks for one of the names. Where the listener
// takes all addresses, the one that this connection came to is ours too: pages are
// re-pointed by name, so a Host that is this very address is no such page's.
func (n *names) ours(r *http.Request) bool {
	host := strings.ToLower(r.Host)
	if slices.Contains(n.hosts, host) {
		return true
	}
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !n.any || !ok {
		return false
	}
	to, err := netip.ParseAddrPort(local.String())
	if err != nil {
		return false
	}
	reached := names{port: n.port, scheme: n.scheme}
	reached.add(to.Addr().Unmap().WithZone("").String())
	return slices.Contains(reached.hosts, host)
}

// guard refuses requests that a web page of someone else could have caused. It
// stands before routing, so upgrades pass it too.
func (s *Server) guard(n names, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		switch origins := r.Header.Values("Origin"); {
		case !n.ours(r):
			s.turnAway(w, "host", http.StatusForbidden, fmt.Sprintf("This service answers to %s only.", strings.Join(n.hosts, ", ")))
		case len(origins) > 1 || len(origins) == 1 && !strings.EqualFold(origins[0], n.scheme+"://"+r.Host):
			s.turnAway(w, "origin", http.StatusForbidden, "Pages of other origins may not use this service.")
		case foreign(r.Header.Get("Sec-Fetch-Site")):
			s.turnAway(w, "origin", http.StatusForbidden, "Pages of other sites may not use this service.")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// foreign reads what browsers say of where a request was started; programs say
// nothing, and an address typed in says none.
func foreign(site string) bool { return site != "" && site != "same-origin" && site != "none" }

// turnAway refuses a request and counts why.
func (s *Server) turnAway(w http.ResponseWriter, why string, status int, sentence string) {
	s.metrics.refused.WithLabelValues(why).Inc()
	refuse(w, status, sentence)
}

// refuse answers outside JSON-RPC, in one sentence.
func refuse(w http.ResponseWriter, status int, sentence string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = fmt.Fprintln(w, sentence)
}
