package main

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"
	"coilside/session/journal"
	"coilside/session/rulecase"

	"github.com/rs/zerolog"
)

// setup is what the commands that work on jobs share.
type setup struct {
	data    string   // folder of the jobs
	store   string   // PostgreSQL database of the jobs; "" = they are in the folder
	folders []string // rule folders over the shipped rules, later ones over earlier ones
	jobs    *journal.Store

	loading sync.Mutex // of loader
	loader  rules.Loader
	// mostOpen bounds the jobs open at once for each front end; 0 = no bound.
	mostOpen int
	// mostResident bounds the jobs in memory and residentMiB about how much they take; 0 = the session's own bound.
	mostResident, residentMiB int
	// experience has proven repairs of closed jobs sharpen the priors.
	experience bool
}

// addFlags has --data and --rules fill the setup.
func (s *setup) addFlags(flags *flag.FlagSet) {
	flags.StringVar(&s.data, "data", "", "`folder` that holds the jobs (default: a folder of your own, "+stateFolderWords()+")")
	s.addStoreFlag(flags)
	flags.Var(list{&s.folders, string(os.PathListSeparator)}, "rules", "`folder` of rules laid over the shipped ones; may be given again")
	flags.String("config", "", "`file` with settings, as YAML or JSON; what the command line and the environment say goes before it")
}

func (s *setup) addStoreFlag(flags *flag.FlagSet) {
	flags.Var(address{&s.store}, "store", "PostgreSQL `database` that holds the jobs instead of the data folder, postgres://USER@HOST/DATABASE; several instances may work on it")
}

// address is a setting that names a database, and keeps its password to itself.
type address struct{ to *string }

func (a address) String() string {
	if a.to == nil || *a.to == "" {
		return ""
	}
	where, err := url.Parse(*a.to)
	if err != nil {
		return "postgres:"
	}
	return where.Redacted()
}

func (a address) Set(text string) error {
	*a.to = text
	return nil
}

// openJobs opens the jobs to work on, readJobs for reading only.
func (s *setup) openJobs() (*journal.Store, error) {
	return s.jobsBy(journal.OpenServer, journal.OpenFolder)
}
func (s *setup) readJobs() (*journal.Store, error) {
	return s.jobsBy(journal.ReadServer, journal.ReadFolder)
}

func (s *setup) jobsBy(server, folder func(string) (*journal.Store, error)) (*journal.Store, error) {
	if s.store != "" {
		if !journal.IsServer(s.store) {
			return nil, &usageError{"--store takes postgres://USER@HOST/DATABASE"}
		}
		return server(s.store)
	}
	path, err := s.folder()
	if err != nil {
		return nil, err
	}
	return folder(path)
}

// loadBook reads the shipped rules and the rule folders over them.
func (s *setup) loadBook() (*rules.Book, error) {
	layers := []rules.Layer{{Name: "relay", FS: rulesets.Relay()}}
	for _, folder := range s.folders {
		info, err := os.Stat(folder)
		if err != nil {
			return nil, fmt.Errorf("the rule folder cannot be read: %w", err)
		}
		if !info.IsDir() {
			return nil, fmt.Errorf("%s is a file; --rules takes a folder", folder)
		}
		layers = append(layers, rules.Layer{Name: folder, FS: os.DirFS(folder)})
	}
	s.loading.Lock()
	defer s.loading.Unlock()
	return s.loader.Load(layers...)
}

// readCases reads the cases of the shipped rules and of the rule folders.
func (s *setup) readCases() ([]rulecase.Case, error) {
	all, err := rulecase.Read(rulesets.Relay())
	for _, folder := range s.folders {
		more, wrong := rulecase.Read(os.DirFS(folder))
		if err = errors.Join(err, wrong); wrong == nil {
			all = append(all, more...)
		}
	}
	return all, err
}

// rulesStamp tells one state of the rule folders' files from another, by name, size and
// time of change.
func (s *setup) rulesStamp() string {
	var b strings.Builder
	for _, folder := range s.folders {
		err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() && d.Name() != "cases" {
				return err
			}
			if d.IsDir() {
				return fs.SkipDir
			}
			info, err := d.Info()
			if err == nil {
				b.WriteString(fileStamp(path, info))
			}
			return err
		})
		if err != nil {
			fmt.Fprintf(&b, "%q %v\n", folder, err)
		}
	}
	return b.String()
}

// fileStamp tells one state of a file from another.
func fileStamp(path string, info fs.FileInfo) string {
	return fmt.Sprintf("%q %d %d\n", path, info.Size(), info.ModTime().UnixNano())
}

// openService starts the assistant on the jobs; closeJobs lets them go.
func (s *setup) openService(log zerolog.Logger) (*session.Service, error) {
	book, err := s.loadBook()
	if err != nil {
		return nil, err
	}
	if s.jobs, err = s.openJobs(); err != nil {
		return nil, err
	}
	return session.New(session.Options{Book: book, Reload: s.loadBook, Cases: s.readCases, Experience: s.experience, Journal: s.jobs, Log: log, MostOpen: s.mostOpen, MostResident: s.mostResident, MostResidentBytes: s.residentMiB << 20})
}

// closeJobs ends the work on the jobs, where this program has them open.
func (s *setup) closeJobs() error {
	if s.jobs == nil {
		return nil
	}
	return s.jobs.Close()
}

// stateFolder is where a program of this user keeps its state: $XDG_STATE_HOME
// or its default (XDG Base Directory Specification 0.8), and the nearest
// thing on systems without one.
func stateFolder() (string, error) {
	if state := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(state) {
		return filepath.Join(state, "coilside"), nil
	}
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		config, err := os.UserConfigDir()
		if err != nil {
			return "", fmt.Errorf("no folder for the jobs: %w; name one with --data", err)
		}
		return filepath.Join(config, "coilside"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no folder for the jobs: %w; name one with --data", err)
	}
	return filepath.Join(home, ".local", "state", "coilside"), nil
}

func stateFolderWords() string {
	folder, err := stateFolder()
	if err != nil {
		return "none here"
	}
	return folder
}
