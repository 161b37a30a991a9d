package circuit_test

import (
	"bytes"
	"fmt"
	"os/exec"
	"regexp"
	"strings"

	"coilside/engine/circuit/netlist"
)

// ngspice runs one netlist and picks the printed values out of its output.
func ngspice(text string) (netlist.Solved, error) {
	cmd := exec.Command("ngspice", "-b", "/dev/stdin")
	cmd.Stdin = strings.NewReader(text)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	s, parsed := netlist.Parse(out.String())
	if parsed != nil {
		return s, fmt.Errorf("%w (exit %v) in:\n%s", parsed, err, out.String())
	}
	return s, nil
}

// ngspiceVersion is the line that tells the version, or "" without ngspice.
func ngspiceVersion() string {
	out, err := exec.Command("ngspice", "--version").CombinedOutput()
	if err != nil {
		return ""
	}
	return regexp.MustCompile(`ngspice-\S+`).FindString(string(out))
}
