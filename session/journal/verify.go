package journal

import (
	"context"
	"database/sql"
	"fmt"
)

// Report is what a look at the whole database found.
type Report struct {
	Jobs, Records int // sound ones
	Rules         int // rulebooks kept
	Problems      []error
}

// Verify reads the whole database: its pages, every job's records against their
// sums, and whether there are records of no job. What it finds is in the report; the
// error is that of a reading that could not go on.
func (d *Store) Verify(ctx context.Context) (*Report, error) {
	out := &Report{}
	if err := d.check(ctx, func(problem error) { out.Problems = append(out.Problems, problem) }); err != nil {
		return nil, err
	}
	heads, err := d.Heads()
	if err != nil {
		return nil, err
	}
	for _, h := range heads {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		_, records, err := d.Open(h.Name)
		if err != nil {
			out.Problems = append(out.Problems, err)
			continue
		}
		out.Jobs, out.Records = out.Jobs+1, out.Records+len(records)
	}
	strays, err := d.strays()
	if err != nil {
		return nil, err
	}
	out.Problems = append(out.Problems, strays...)
	hashes, err := d.RuleHashes()
	out.Rules = len(hashes)
	return out, err
}

// strays finds records of no job.
func (d *Store) strays() (found []error, err error) {
	err = d.view(func(tx *sql.Tx) error {
		found = nil
		rows, err := tx.Query("SELECT job, count(*) FROM records WHERE job NOT IN (SELECT name FROM jobs) GROUP BY job ORDER BY job")
		if err != nil {
			return err
		}
		return eachRow(rows, func(rows *sql.Rows) error {
			var job string
			var n int
			err := rows.Scan(&job, &n)
			found = append(found, &Damaged{File: d.path, Job: job, Problem: fmt.Sprintf("there are %d records and the job is missing from the list", n)})
			return err
		})
	})
	return found, err
}
