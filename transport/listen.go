package transport

import (
	"fmt"
	"net"
	"net/netip"
	"strconv"
)

// AddressError is a listening address that cannot be meant.
type AddressError struct{ Message string }

func (e *AddressError) Error() string { return e.Message }

// Listen opens the address HOST:PORT, port 0 for any free one. The host must be
// this machine's own, as the service asks nobody who they are. The error is an
// *AddressError if the address itself is at fault.
func Listen(address string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, &AddressError{fmt.Sprintf("%q is not HOST:PORT, such as 127.0.0.1:7285", address)}
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return nil, &AddressError{fmt.Sprintf("%q is no port: give a number from 0 to 65535", port)}
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	ip, err := netip.ParseAddr(host)
	if err != nil || !ip.IsLoopback() || ip.Zone() != "" {
		return nil, &AddressError{fmt.Sprintf("%q is not this machine's own address: listen on 127.0.0.1, [::1] or localhost, since anyone who reaches the service can use it", host)}
	}
	l, err := net.Listen("tcp", net.JoinHostPort(host, port))
	if err != nil {
		return nil, fmt.Errorf("cannot listen on %s: %w", address, err)
	}
	return l, nil
}

// hostsFor lists the exact Host headers under which a listener may be asked.
func hostsFor(address net.Addr) []string {
	own, port, _ := net.SplitHostPort(address.String())
	var hosts []string
	for _, name := range []string{own, "127.0.0.1", "::1", "localhost"} {
		host := net.JoinHostPort(name, port)
		hosts = append(hosts, host)
		if port == "80" { // clients leave the default port out
			hosts = append(hosts, host[:len(host)-len(":80")])
		}
	}
	return hosts
}
