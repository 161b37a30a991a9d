package journal

import (
	"errors"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// giveUpAfter has a connection break when what was sent on it is not acknowledged for so
// long; the system itself waits a quarter of an hour.
func giveUpAfter(d time.Duration) func(network, address string, c syscall.RawConn) error {
	return func(network, _ string, c syscall.RawConn) error {
		if !strings.HasPrefix(network, "tcp") {
			return nil
		}
		var failed error
		err := c.Control(func(fd uintptr) {
			failed = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, int(d.Milliseconds()))
		})
		return errors.Join(err, failed)
	}
}
