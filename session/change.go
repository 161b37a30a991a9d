package session

// Change tells a watcher that a job has moved on. Changes are merged when a
// watcher is slow: what counts is the newest Seq, and a watcher that needs more
// reads the job again.
type Change struct {
	Job   string `json:"job"`
	Seq   int    `json:"seq"`   // the job's running number after the change
	Kind  string `json:"kind"`  // what the last entry is: reading, retract, skip, repair, close ...
	Entry *int   `json:"entry"` // the last entry, null if the change made none
}
