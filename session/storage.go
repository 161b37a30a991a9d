package session

import (
	"errors"
	"path/filepath"

	"coilside/session/journal"
)

// storageError says what the disk or the database did not do. Their folder is the
// server's own affair: only the file is named. What else went wrong stays in the log.
func storageError(err error, job, consequence string) error {
	if failed, ok := errors.AsType[*journal.Failed](err); ok {
		file := filepath.Base(failed.File)
		if failed.Unsure {
			consequence = "whether this was stored is not known; ask how the job stands, or make the call again with its key"
		}
		return &Error{Kind: Storage, Job: job, File: file, Message: failed.Problem + " (" + file + "): " + consequence}
	}
	if broken, ok := errors.AsType[*journal.Broken](err); ok {
		file := filepath.Base(broken.File)
		return &Error{Kind: Damaged, Job: job, File: file, Message: "the jobs' database " + file + " is damaged: " + consequence}
	}
	if errors.Is(err, journal.ErrClosed) {
		return &Error{Kind: Storage, Job: job, Message: "the service is stopping: " + consequence}
	}
	return &Error{Kind: Internal, Job: job, Message: consequence + ": " + err.Error()}
}
