package journal

import (
	"context"
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
func (d *Folder) Verify(ctx context.Context) (*Report, error) {
	out := &Report{}
	if err := d.checkPages(ctx, out); err != nil {
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
	if err := d.checkStrays(ctx, out); err != nil {
		return nil, err
	}
	hashes, err := d.RuleHashes()
	out.Rules = len(hashes)
	return out, err
}

func (d *Folder) checkPages(ctx context.Context, out *Report) error {
	rows, err := d.db.QueryContext(ctx, "PRAGMA integrity_check(20)")
	if err != nil {
		return inFile(d.path, err)
	}
	defer rows.Close()
	for rows.Next() {
		var found string
		if err := rows.Scan(&found); err != nil {
			return inFile(d.path, err)
		}
		if found != "ok" {
			out.Problems = append(out.Problems, &Broken{File: d.path, Problem: found})
		}
	}
	return inFile(d.path, rows.Err())
}

func (d *Folder) checkStrays(ctx context.Context, out *Report) error {
	rows, err := d.db.QueryContext(ctx, "SELECT job, count(*) FROM records WHERE job NOT IN (SELECT name FROM jobs) GROUP BY job ORDER BY job")
	if err != nil {
		return inFile(d.path, err)
	}
	defer rows.Close()
	for rows.Next() {
		var job string
		var n int
		if err := rows.Scan(&job, &n); err != nil {
			return inFile(d.path, err)
		}
		out.Problems = append(out.Problems, &Damaged{File: d.path, Job: job, Problem: fmt.Sprintf("there are %d records and the job is missing from the list", n)})
	}
	return inFile(d.path, rows.Err())
}
