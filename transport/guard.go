package transport

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
)

// guard refuses requests that a web page of someone else could have caused. It
// stands before routing, so upgrades pass it too. The Host must be one of ours
// exactly: a page whose name was re-pointed at this machine sends its own name,
// and its Origin would agree with it, so comparing those two is not enough.
func guard(hosts []string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		switch origins := r.Header.Values("Origin"); {
		case !slices.Contains(hosts, strings.ToLower(r.Host)):
			refuse(w, http.StatusForbidden, fmt.Sprintf("This service answers to %s only.", strings.Join(slices.Compact(hosts), ", ")))
		case len(origins) > 1 || len(origins) == 1 && !strings.EqualFold(origins[0], "http://"+r.Host):
			refuse(w, http.StatusForbidden, "Pages of other origins may not use this service.")
		case foreign(r.Header.Get("Sec-Fetch-Site")):
			refuse(w, http.StatusForbidden, "Pages of other sites may not use this service.")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// foreign reads what browsers say of where a request was started; programs say
// nothing, and an address typed in says none.
func foreign(site string) bool { return site != "" && site != "same-origin" && site != "none" }

// refuse answers outside JSON-RPC, in one sentence.
func refuse(w http.ResponseWriter, status int, sentence string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = fmt.Fprintln(w, sentence)
}
