package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/rules"
	"coilside/session/journal"
)

// floor is a figure beside the least that any program could take for it.
type floor struct {
	what, least string
	took, takes time.Duration
}

func floors(repeat int) ([]floor, error) {
	turn, err := turnAndPass(repeat)
	if err != nil {
		return nil, err
	}
	out := []floor{turn}
	err = withService(func(s *service) error {
		calls, err := callsAndWrites(s, repeat)
		out = append(out, calls...)
		return err
	})
	return out, err
}

func callsAndWrites(s *service, repeat int) ([]floor, error) {
	job, test, err := s.open()
	if err != nil {
		return nil, err
	}
	call := floor{what: "a call that reads: `job.show` over HTTP", least: "one loopback round trip"}
	if call.took, err = byClock(20*repeat, func() error { return s.call("job.show", map[string]any{"job": job}, nil) }); err != nil {
		return nil, err
	}
	if call.takes, err = roundTrip(20 * repeat); err != nil {
		return nil, err
	}
	write := floor{what: "a call that writes and chooses the next test: `job.record` over HTTP", least: fmt.Sprintf("one write and fsync of %d bytes", entrySize)}
	if write.took, err = byClock(20*repeat, func() error { return s.record(job, test) }); err != nil {
		return nil, err
	}
	if write.takes, err = fsync(s.folder, 20*repeat); err != nil {
		return nil, err
	}
	entry := floor{what: "one entry of a job's log put on disk", least: write.least, takes: write.takes}
	entry.took, err = appending(filepath.Join(s.folder, "log"), 20*repeat)
	return []floor{call, write, entry}, err
}

// appending puts entries in a log of its own, one after another.
func appending(folder string, repeat int) (time.Duration, error) {
	store, err := journal.OpenFolder(folder)
	if err != nil {
		return 0, err
	}
	entry := fmt.Appendf(nil, `{"note":%q}`, strings.Repeat("x", entrySize-len(`{"note":""}`)))
	f, err := store.Create("job", entry, nil)
	if err != nil {
		return 0, err
	}
	took, err := byClock(repeat, func() error { return f.Append(entry, nil) })
	if err != nil {
		return 0, err
	}
	return took, store.Close()
}

const entrySize = 300 // bytes of a usual entry

// turnAndPass plays a turn of a job of unknown wiring in process, and passes once over as many
// numbers as there are predictions: one for each draw of each suspect and each test.
func turnAndPass(repeat int) (floor, error) {
	k, err := shipped()
	if err != nil {
		return floor{}, err
	}
	took, err := timed(repeat, processor, func(seed int) (func() error, error) {
		job, err := k.Open(diagnosis.Opening{Complaint: "dead", Seed: uint64(seed),
			Facts: map[string]rules.Value{"system_volts": rules.NumberValue(12)}})
		if err != nil {
			return nil, err
		}
		job.Next(1)
		return turn(job, diagnosis.Reading{Entry: 1, Measure: batteryVolts, Answer: diagnosis.Answer{Number: new(12.4)}}), nil
	})
	if err != nil {
		return floor{}, err
	}
	predictions := make([]float64, len(k.Book().Suspects)*rank.DefaultDraws*len(k.Book().Tests))
	for i := range predictions {
		predictions[i] = float64(i)
	}
	pass, err := byProcessor(20*repeat, func() error {
		var sums [4]float64 // four at a time: the memory is to be the limit, not the adding
		for i := 0; i+4 <= len(predictions); i += 4 {
			for j := range sums {
				sums[j] += predictions[i+j]
			}
		}
		runtime.KeepAlive(sums) // or they might be left out
		return nil
	})
	return floor{"a turn of unknown wiring in process, processor time",
		fmt.Sprintf("one pass over the predictions: %d suspects, %d draws, %d tests, %.0f MB", len(k.Book().Suspects), rank.DefaultDraws, len(k.Book().Tests), float64(8*len(predictions))/1e6),
		took, pass}, err
}

// roundTrip sends a byte over a connection to this machine and waits for it to come back.
func roundTrip(repeat int) (time.Duration, error) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer listener.Close()
	go func() {
		conn, err := listener.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		_, _ = io.Copy(conn, conn)
	}()
	conn, err := net.Dial("tcp", listener.Addr().String())
	if err != nil {
		return 0, err
	}
	defer conn.Close()
	message := make([]byte, 1)
	return byClock(repeat, func() error {
		if _, err := conn.Write(message); err != nil {
			return err
		}
		_, err := io.ReadFull(conn, message)
		return err
	})
}

func fsync(folder string, repeat int) (time.Duration, error) {
	f, err := os.Create(filepath.Join(folder, "floor"))
	if err != nil {
		return 0, err
	}
	defer f.Close()
	record := make([]byte, entrySize)
	return byClock(repeat, func() error {
		if _, err := f.Write(record); err != nil {
			return err
		}
		return f.Sync()
	})
}
