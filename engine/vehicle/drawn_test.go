package vehicle

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/rulesets"
)

// mostDraws is how many vehicles are drawn until a fault causes a complaint.
const mostDraws = 2000

var shipped = sync.OnceValues(func() (*diagnosis.Knowledge, error) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		return nil, err
	}
	return diagnosis.Compile(book)
})

func knowledge(t testing.TB) *diagnosis.Knowledge {
	t.Helper()
	k, err := shipped()
	require.NoError(t, err)
	return k
}

// full reports whether the long versions of the tests are asked for.
func full() bool { return os.Getenv("COILSIDE_FULL") == "1" }

// truths deals the suspects that are a fault out evenly: every round holds each of
// them once, in an order of its own. Those of the surroundings are left out: some of
// them cause no complaint.
func truths(book *rules.Book, jobs int) []string {
	var ids []string
	for _, s := range book.Suspects {
		if len(s.Does) > 0 && !strings.Contains(s.Pos.File, "surroundings") {
			ids = append(ids, s.ID)
		}
	}
	var out []string
	for round := uint64(0); len(out) < jobs; round++ {
		rng := rand.New(rand.NewPCG(round, 0xdea1))
		rng.Shuffle(len(ids), func(i, k int) { ids[i], ids[k] = ids[k], ids[i] })
		out = append(out, ids...)
	}
	return out[:jobs]
}

// complaining draws vehicles with the fault in them until one has a complaint, and
// tells how many had none.
func complaining(k *diagnosis.Knowledge, faults []string, seed uint64) (v *Vehicle, complaint string, redrawn int, err error) {
	for redrawn = range mostDraws {
		v, err = New(Options{Book: k.Book(), Model: k.Model(), Faults: faults, Seed: seed*10_000 + uint64(redrawn)})
		if err != nil {
			return nil, "", redrawn, err
		}
		if complaint = v.Complaint(); complaint != "" {
			return v, complaint, redrawn, nil
		}
	}
	return nil, "", mostDraws, fmt.Errorf("%v caused no complaint in %d vehicles", faults, mostDraws)
}
