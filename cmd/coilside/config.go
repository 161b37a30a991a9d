package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"

	"go.yaml.in/yaml/v3"
)

// A setting is given by a flag, else by the environment, else by the file that
// --config names. --token-file is COILSIDE_TOKEN_FILE and token_file there.
const environmentPrefix = "COILSIDE_"

// notSettings are flags that make sense on the command line only.
var notSettings = []string{"config", "print-config", "job", "seed", "plain", "cover", "case", "jobs", "before", "worth", "export"}

// notFlags are variables of the environment that are no settings but known: the
// token that chat, link and the clients show, and what the tests are told by.
var notFlags = []string{"TOKEN", "FULL", "CI", "CONFIG"}

func environmentName(flag string) string {
	return environmentPrefix + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

func fileName(flag string) string { return strings.ReplaceAll(flag, "-", "_") }

// list is a setting that may be given again; in the environment, its parts are
// separated as it says.
type list struct {
	to        *[]string
	separator string
}

func (l list) String() string {
	if l.to == nil {
		return ""
	}
	return strings.Join(*l.to, l.separator)
}

func (l list) Set(text string) error {
	if text == "" {
		return errors.New("it is empty")
	}
	*l.to = append(*l.to, text)
	return nil
}

// number is a setting within bounds.
type number struct {
	to          *int
	least, most int
}

func (n number) String() string {
	if n.to == nil {
		return "0"
	}
	return strconv.Itoa(*n.to)
}

func (n number) Set(text string) error {
	v, err := strconv.Atoi(text)
	if err != nil || v < n.least || v > n.most {
		return fmt.Errorf("it takes a whole number from %d to %d", n.least, n.most)
	}
	*n.to = v
	return nil
}

// settings fills in what the command line left out, and remembers where each value
// came from.
type settings struct {
	flags *flag.FlagSet
	known []string          // names of all settings, also those of other commands
	from  map[string]string // flag: where its value came from
}

// fill reads the environment and the file. All that is wrong is in the error.
func fill(flags *flag.FlagSet, environment []string) (*settings, error) {
	s := &settings{flags: flags, from: map[string]string{}}
	all := flag.NewFlagSet("", flag.ContinueOnError)
	(&serveOptions{}).addFlags(all)
	all.VisitAll(func(f *flag.Flag) {
		if !slices.Contains(notSettings, f.Name) {
			s.known = append(s.known, f.Name)
		}
	})
	flags.Visit(func(f *flag.Flag) { s.from[f.Name] = "command line" })
	problems := s.environment(environment)
	if path := flags.Lookup("config").Value.String(); path != "" {
		problems = append(problems, s.file(path)...)
	} else if path, ok := lookup(environment, environmentName("config")); ok && path != "" {
		problems = append(problems, s.file(path)...)
	}
	return s, errors.Join(problems...)
}

func lookup(environment []string, name string) (string, bool) {
	for _, entry := range environment {
		if value, ok := strings.CutPrefix(entry, name+"="); ok {
			return value, true
		}
	}
	return "", false
}

func (s *settings) environment(environment []string) []error {
	var problems []error
	names := map[string]string{}
	for _, flag := range s.known {
		names[environmentName(flag)] = flag
	}
	for _, entry := range slices.Sorted(slices.Values(environment)) {
		name, value, _ := strings.Cut(entry, "=")
		short, ours := strings.CutPrefix(name, environmentPrefix)
		if !ours || slices.Contains(notFlags, short) {
			continue
		}
		if flag, ok := names[name]; ok {
			problems = append(problems, s.set(flag, s.split(flag, value), name, name)...)
		} else if near := nearestSetting(short, s.known); near != "" {
			problems = append(problems, fmt.Errorf("%s is no setting; did you mean %s?", name, environmentName(near)))
		}
	}
	return problems
}

func nearestSetting(given string, known []string) string {
	return rules.Nearest(strings.ToLower(strings.ReplaceAll(given, "_", "-")), known)
}

// split takes a list apart; other values stay whole.
func (s *settings) split(flag, value string) []string {
	if f := s.flags.Lookup(flag); f != nil {
		if l, ok := f.Value.(list); ok {
			return strings.Split(value, l.separator)
		}
	}
	return []string{value}
}

// set gives a flag values that it does not have from a better source. One that this
// command does not take is passed over.
func (s *settings) set(flag string, values []string, where, from string) []error {
	if s.from[flag] != "" || s.flags.Lookup(flag) == nil {
		return nil
	}
	s.from[flag] = from
	var problems []error
	for _, value := range values {
		if err := s.flags.Set(flag, value); err != nil {
			problems = append(problems, fmt.Errorf("%s: %q can't be meant: %w", where, value, err))
		}
	}
	return problems
}

// file reads a YAML or JSON file: one setting a key, lists as lists.
func (s *settings) file(path string) []error {
	content, err := os.ReadFile(path)
	if err != nil {
		return []error{fmt.Errorf("the settings cannot be read: %w", err)}
	}
	var document yaml.Node
	if err := yaml.Unmarshal(content, &document); err != nil {
		return []error{fmt.Errorf("%s: %w", path, err)}
	}
	if len(document.Content) == 0 {
		return nil
	}
	top := document.Content[0]
	if top.Kind != yaml.MappingNode {
		return []error{fmt.Errorf("%s:%d: settings are written as name: value", path, top.Line)}
	}
	var problems []error
	seen := map[string]bool{}
	for i := 0; i < len(top.Content); i += 2 {
		key, value := top.Content[i], top.Content[i+1]
		where := fmt.Sprintf("%s:%d: %s", path, key.Line, key.Value)
		flag := strings.ReplaceAll(key.Value, "_", "-")
		values, err := scalars(value)
		switch {
		case !slices.Contains(s.known, flag) || strings.Contains(key.Value, "-"):
			problems = append(problems, unknownSetting(where, key.Value, s.known))
		case seen[flag]:
			problems = append(problems, fmt.Errorf("%s is given twice", where))
		case err != nil:
			problems = append(problems, fmt.Errorf("%s: %w", where, err))
		default:
			problems = append(problems, s.set(flag, values, where, path)...)
		}
		seen[flag] = true
	}
	return problems
}

func unknownSetting(where, given string, known []string) error {
	if near := nearestSetting(given, known); near != "" {
		return fmt.Errorf("%s is no setting; did you mean %s?", where, fileName(near))
	}
	return fmt.Errorf("%s is no setting; --print-config lists them", where)
}

func scalars(value *yaml.Node) ([]string, error) {
	if value.Kind == yaml.ScalarNode && value.Tag != "!!null" {
		return []string{value.Value}, nil
	}
	var out []string
	for _, one := range value.Content {
		if value.Kind != yaml.SequenceNode || one.Kind != yaml.ScalarNode || one.Tag == "!!null" {
			return nil, errors.New("it takes a value, or a list of values")
		}
		out = append(out, one.Value)
	}
	if value.Kind != yaml.SequenceNode {
		return nil, errors.New("it takes a value, or a list of values")
	}
	return out, nil
}

// print writes the settings in force as a file that --config takes, each with where
// it came from.
func (s *settings) print(w io.Writer) error {
	top := &yaml.Node{Kind: yaml.MappingNode, HeadComment: "The settings in force, and where each came from."}
	for _, name := range s.known {
		f := s.flags.Lookup(name)
		from := s.from[name]
		if from == "" {
			from = "default"
		}
		value := &yaml.Node{}
		switch v := f.Value.(type) {
		case list:
			value.Kind, value.Style = yaml.SequenceNode, yaml.FlowStyle
			for _, one := range *v.to {
				value.Content = append(value.Content, text(one))
			}
		case number:
			value.Kind, value.Value = yaml.ScalarNode, v.String()
		default:
			value = text(f.Value.String())
			if folder, err := stateFolder(); name == "data" && value.Value == "" && err == nil {
				value = text(folder)
			}
		}
		value.LineComment = from
		top.Content = append(top.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: fileName(name)}, value)
	}
	e := yaml.NewEncoder(w)
	e.SetIndent(2)
	return errors.Join(e.Encode(top), e.Close())
}

func text(s string) *yaml.Node {
	var n yaml.Node
	n.SetString(s)
	return &n
}
