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

// Listen opens the address HOST:PORT, port 0 for any free one. Without tokens the
// host must be this machine's own, as the service then asks nobody who they are.
// The error is an *AddressError if the address itself is at fault.
func Listen(address string, tokens bool) (net.Listener, error) {
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
	if err != nil || ip.Zone() != "" {
		return nil, &AddressError{fmt.Sprintf("%q is no address of this machine: give 127.0.0.1, [::1] or localhost, or one that others reach it by, such as 0.0.0.0 for all", host)}
	}
	if !ip.Unmap().IsLoopback() && !tokens {
		return nil, &AddressError{fmt.Sprintf("other machines can reach %s, and anyone who reaches the service can use it: a token is needed there, by --token-file or --tokens; or listen on 127.0.0.1", host)}
	}
	network := "tcp"
	if ip.Is4() {
		network = "tcp4" // "tcp" would take 0.0.0.0 to mean every address of IPv6 too
	}
	l, err := net.Listen(network, net.JoinHostPort(host, port))
	if err != nil {
		return nil, fmt.Errorf("cannot listen on %s: %w", address, err)
	}
	return l, nil
}

// IsLoopback reports whether only this machine reaches an address.
func IsLoopback(address net.Addr) bool {
	to, err := netip.ParseAddrPort(address.String())
	return err == nil && to.Addr().Unmap().IsLoopback()
}
