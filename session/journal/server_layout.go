package journal

import "database/sql"

// channel is where each job that is written to is told of, by its name.
const channel = "coilside_jobs"

// migrationLock keeps programs that start at the same time from migrating at the same
// time. The number only has to be the same in all of them.
const migrationLock = 7285_0001

// turnLock is the first number of the locks that hold a job's turn.
const turnLock int32 = 7285

const migrationsTable = `CREATE TABLE IF NOT EXISTS migrations (version INTEGER PRIMARY KEY, applied TEXT NOT NULL, words TEXT NOT NULL)`

var serverMigrations = []migration{
	{words: "jobs, their records and their rules; what is written is told", run: createServerTables},
}

// serverTables are those of SQLite. Texts are compared byte by byte, as it does.
const serverTables = `
CREATE TABLE jobs (
	name    TEXT COLLATE "C" PRIMARY KEY,
	records INTEGER NOT NULL,
	sum     TEXT NOT NULL,
	head    BYTEA NOT NULL,
	seal    TEXT NOT NULL,
	problem TEXT NOT NULL
);
CREATE TABLE records (
	job  TEXT COLLATE "C" NOT NULL REFERENCES jobs (name),
	n    INTEGER NOT NULL CHECK (n >= 1),
	sum  TEXT NOT NULL,
	data BYTEA NOT NULL,
	PRIMARY KEY (job, n)
);
CREATE TABLE rules (
	hash    TEXT COLLATE "C" NOT NULL,
	layer   INTEGER NOT NULL,
	name    TEXT NOT NULL,
	file    TEXT COLLATE "C" NOT NULL,
	content BYTEA NOT NULL,
	PRIMARY KEY (hash, layer, file)
);
CREATE FUNCTION tell_of_record() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
	PERFORM pg_notify('` + channel + `', NEW.job);
	RETURN NULL;
END $$;
CREATE TRIGGER record_told AFTER INSERT ON records FOR EACH ROW EXECUTE FUNCTION tell_of_record();`

func createServerTables(tx *sql.Tx, _ string) error {
	_, err := tx.Exec(serverTables)
	return err
}
