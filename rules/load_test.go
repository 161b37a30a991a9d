package rules_test

import (
	"os"
	"testing"

	"coilside/rules"
)

func TestRelay(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: os.DirFS("../rulesets/relay")})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(len(book.Suspects), len(book.Circuits[0].Parts), len(book.Facts), len(book.Circuits[0].Chains))
}
