package main

import (
	"syscall"
	"time"
)

// threadTime is the processor time that this thread has used, in milliseconds: what a
// turn takes on a machine with nothing else to do. Its goroutine has to be locked to
// the thread.
func threadTime() float64 {
	const thread = 1 // RUSAGE_THREAD
	var used syscall.Rusage
	if err := syscall.Getrusage(thread, &used); err != nil {
		return float64(time.Now().UnixNano()) / 1e6
	}
	return float64(used.Utime.Nano()+used.Stime.Nano()) / 1e6
}
