package journal

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"net"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

// server is a PostgreSQL database, which several programs may write to. A record goes
// in only where the job's row is as its writer knows it, so that writers to one job come one
// after the other and a late one is told that it is late.
type server struct {
	path   string
	config *pgx.ConnConfig
	db     *sql.DB
	turns  *sql.DB // connections that hold a turn: whoever has one needs another to write
	commit func(*sql.Tx) error
	closed atomic.Bool
	// lostAt is when the database was found out of reach, in Unix nanoseconds; 0 = it was
	// there when it was last asked.
	lostAt    atomic.Int64
	listening atomic.Bool
}

const (
	connectWait = 3 * time.Second
	firstWait   = 5 * time.Millisecond // between two tries; each wait is twice the one before
	mostWait    = time.Second
	// quiet is how long nothing need be heard of the database before it is asked whether it
	// is still there.
	quiet           = 10 * time.Second
	mostConnections = 16
	mostTurn        = 10 * time.Second // what a turn is waited for
)

// patience is how long a call waits for a database that went out of reach. Once it has
// been away for so long, calls fail at once until it is back.
var patience = 5 * time.Second

// OpenServer opens a PostgreSQL database, postgres://USER@HOST/DATABASE, makes its tables
// if there are none and brings older ones up to date. Close it after use. Errors: *Newer
// for a database written by a newer program; every other names the database. None tells the
// password.
func OpenServer(where string) (*Store, error) {
	return openServer(where, nil, (*server).migrate)
}

// ReadServer opens a PostgreSQL database for reading only. It is an error if it has no
// tables, or older ones.
func ReadServer(where string) (*Store, error) {
	return openServer(where, map[string]string{"default_transaction_read_only": "on"}, (*server).upToDate)
}

// IsServer reports whether a text names a PostgreSQL database.
func IsServer(where string) bool {
	return strings.HasPrefix(where, "postgres://") || strings.HasPrefix(where, "postgresql://")
}

func openServer(where string, settings map[string]string, begin func(*server) error) (*Store, error) {
	config, err := serverConfig(where)
	if err != nil {
		return nil, err
	}
	for name, value := range settings {
		config.RuntimeParams[name] = value
	}
	d := &server{path: serverName(config), config: config, db: stdlib.OpenDB(*config), turns: stdlib.OpenDB(*config), commit: (*sql.Tx).Commit}
	for _, pool := range []*sql.DB{d.db, d.turns} {
		pool.SetMaxOpenConns(mostConnections)
		pool.SetMaxIdleConns(mostConnections)
		pool.SetConnMaxIdleTime(time.Minute)
	}
	if err := begin(d); err != nil {
		return nil, errors.Join(err, d.close())
	}
	return &Store{path: d.path, db: d.db, backend: d}, nil
}

func serverConfig(where string) (*pgx.ConnConfig, error) {
	if !IsServer(where) {
		return nil, errors.New("a database is named as postgres://USER@HOST/DATABASE")
	}
	config, err := pgx.ParseConfig(where)
	if err != nil {
		return nil, fmt.Errorf("the database is not named as it should be: %w", err)
	}
	config.ConnectTimeout = cmp.Or(config.ConnectTimeout, connectWait)
	config.DialFunc = (&net.Dialer{Timeout: config.ConnectTimeout, Control: giveUpAfter(patience),
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: patience, Interval: time.Second, Count: 3}}).DialContext
	// One moment for all statements of a transaction, as SQLite has it.
	config.RuntimeParams["default_transaction_isolation"] = "repeatable read"
	// The locks of a machine that is gone are not kept for hours.
	config.RuntimeParams["tcp_keepalives_idle"] = "5"
	config.RuntimeParams["tcp_keepalives_interval"] = "1"
	config.RuntimeParams["tcp_keepalives_count"] = "5"
	config.RuntimeParams["application_name"] = cmp.Or(config.RuntimeParams["application_name"], "coilside")
	return config, nil
}

// serverName names a database without its user and password.
func serverName(c *pgx.ConnConfig) string {
	host := c.Host
	if !strings.HasPrefix(host, "/") { // the folder of a socket
		host = net.JoinHostPort(host, strconv.Itoa(int(c.Port)))
	}
	return "postgres://" + host + "/" + c.Database
}

func (d *server) migrate() error {
	return d.read(func() error {
		ctx := context.Background()
		guard, err := d.db.Conn(ctx) // one program at a time
		if err != nil {
			return err
		}
		defer guard.Close()
		if _, err := guard.ExecContext(ctx, "SELECT pg_advisory_lock($1)", migrationLock); err != nil {
			return err
		}
		defer guard.ExecContext(ctx, "SELECT pg_advisory_unlock($1)", migrationLock) //nolint:errcheck // goes with the connection
		if _, err := guard.ExecContext(ctx, migrationsTable); err != nil {
			return err
		}
		version, err := versionOf(d.path, d.db, len(serverMigrations))
		if err != nil {
			return err
		}
		return migrate(d.path, d.db, version, serverMigrations, atServer)
	})
}

func (d *server) upToDate() error {
	version := 0
	err := d.read(func() (err error) {
		version, err = versionOf(d.path, d.db, len(serverMigrations))
		return err
	})
	problem, met := errors.AsType[*pgconn.PgError](err)
	switch {
	case met && problem.Code == undefinedTable:
		return fmt.Errorf("there are no jobs in %s; start the service on it once", d.path)
	case err == nil && version != len(serverMigrations):
		return older(d.path, version, len(serverMigrations))
	}
	return err
}

func (d *server) write(run func(*sql.Tx) error) error {
	sent := false // a commit whose answer never came
	err := d.again(func() error {
		tx, err := d.db.Begin()
		if err != nil {
			return err
		}
		if err := run(tx); err != nil {
			_ = tx.Rollback() // where that fails, the connection is gone and takes the transaction with it
			return err
		}
		err = d.commit(tx)
		sent = sent || lost(err)
		return err
	})
	unsure := sent && lost(err)
	err = atServer(d.path, err)
	if failed, ok := errors.AsType[*Failed](err); ok {
		failed.Unsure = unsure
	}
	return err
}

// later does it now: there is no queue that it could wait in.
func (d *server) later(run func(*sql.Tx) error) { _ = d.write(run) }

func (d *server) read(run func() error) error { return atServer(d.path, d.again(run)) }

// again runs what may be run again, until it comes through, fails for good, or the
// database has been out of reach for too long.
func (d *server) again(run func() error) error {
	for wait := firstWait; ; wait = min(2*wait, mostWait) {
		if d.closed.Load() {
			return ErrClosed
		}
		err := run()
		if !lost(err) {
			d.lostAt.Store(0)
		} else if d.lostAt.CompareAndSwap(0, time.Now().UnixNano()); time.Since(time.Unix(0, d.lostAt.Load())) > patience {
			return err
		}
		if !lost(err) && !crossed(err) {
			return err
		}
		time.Sleep(wait)
	}
}

// acknowledged notes nothing: the log of the server is the server's affair.
func (d *server) acknowledged(string, int) {}

// check has nothing to look at: the server keeps checksums of its pages, if it was told to.
func (d *server) check(context.Context, func(error)) error { return nil }

func (d *server) close() error {
	d.closed.Store(true)
	return atServer(d.path, errors.Join(d.turns.Close(), d.db.Close()))
}

// Turn holds a lock in the database, which goes with the connection that holds it.
func (d *server) Turn(job string) (done func()) {
	ctx, cancel := context.WithTimeout(context.Background(), mostTurn)
	defer cancel()
	conn, err := d.turns.Conn(ctx)
	if err != nil {
		return func() {} // the write will say what is wrong
	}
	hash := fnv.New32a()
	hash.Write([]byte(job))
	lock := []any{turnLock, int32(hash.Sum32())} // two jobs of one number only wait for each other
	if _, err := conn.ExecContext(ctx, "SELECT pg_advisory_lock($1, $2)", lock...); err != nil {
		_ = conn.Close()
		return func() {}
	}
	return func() {
		if _, err := conn.ExecContext(context.Background(), "SELECT pg_advisory_unlock($1, $2)", lock...); err != nil {
			_ = conn.Raw(func(any) error { return driver.ErrBadConn }) // have it dropped, and the lock with it
		}
		_ = conn.Close()
	}
}

// Shared is true.
func (d *server) Shared() bool { return true }

// Ready asks the database whether it is there, and makes sure that it is listened to.
func (d *server) Ready(ctx context.Context) error {
	soon, cancel := context.WithTimeout(ctx, connectWait)
	defer cancel()
	if err := d.db.PingContext(soon); err != nil {
		return atServer(d.path, err)
	}
	if !d.listening.Load() {
		return &Failed{File: d.path, Problem: "the database does not tell yet what other programs write", err: errors.New("not listening")}
	}
	return nil
}

// Follow listens on a connection of its own, and returns when that breaks.
func (d *server) Follow(ctx context.Context, changed func(job string)) error {
	conn, err := pgx.ConnectConfig(ctx, d.config)
	if err != nil {
		return atServer(d.path, err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, "LISTEN "+channel); err != nil {
		return atServer(d.path, err)
	}
	d.listening.Store(true)
	defer d.listening.Store(false)
	changed("") // what was written before went unheard
	for {
		job, err := next(ctx, conn)
		if err != nil {
			return atServer(d.path, err)
		}
		if job != "" {
			changed(job)
		}
	}
}

// next waits for a notification; "" = none came, and the connection is sound.
func next(ctx context.Context, conn *pgx.Conn) (job string, err error) {
	waiting, cancel := context.WithTimeout(ctx, quiet)
	defer cancel()
	told, err := conn.WaitForNotification(waiting)
	switch {
	case err == nil:
		return told.Payload, nil
	case ctx.Err() != nil || waiting.Err() == nil:
		return "", err
	}
	asking, cancel := context.WithTimeout(ctx, connectWait)
	defer cancel()
	return "", conn.Ping(asking)
}

// Codes of PostgreSQL's appendix A, "PostgreSQL Error Codes".
const (
	undefinedTable     = "42P01"
	connectionClass    = "08"
	shutdownClass      = "57P"
	tooManyConnections = "53300"
	serializationFails = "40001"
	deadlock           = "40P01"
	diskFull           = "53100"
	badPassword        = "28P01"
	badUser            = "28000"
	noDatabase         = "3D000"
	readOnly           = "25006"
)

// lost reports whether the database was out of reach: another try may find it.
func lost(err error) bool {
	if problem, ok := errors.AsType[*pgconn.PgError](err); ok {
		return strings.HasPrefix(problem.Code, connectionClass) || strings.HasPrefix(problem.Code, shutdownClass) || problem.Code == tooManyConnections
	}
	_, network := errors.AsType[net.Error](err)
	return network || said[*away](err) || said[*pgconn.ConnectError](err) || pgconn.SafeToRetry(err) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, driver.ErrBadConn)
}

// crossed reports whether another transaction came first: another try sees what it wrote.
func crossed(err error) bool {
	problem, ok := errors.AsType[*pgconn.PgError](err)
	return ok && (problem.Code == serializationFails || problem.Code == deadlock)
}

var serverProblems = map[string]string{
	diskFull:    "the database's disk is full",
	badPassword: "the database does not take this password",
	badUser:     "the database does not take this user",
	noDatabase:  "there is no such database",
	readOnly:    "the database takes no writing",
}

// away is how the database was out of reach. It keeps the cause to itself: that a socket is
// not there must not be taken for a job that is not there.
type away struct{ cause error }

func (e *away) Error() string { return e.cause.Error() }

// atServer says in plain words what went wrong, and at which database.
func atServer(path string, err error) error {
	problem, met := errors.AsType[*pgconn.PgError](err)
	switch {
	case err == nil, said[*Failed](err):
		return err
	case lost(err):
		return &Failed{File: path, Problem: "the database cannot be reached", err: &away{err}}
	case ours(err):
		return err
	case met && serverProblems[problem.Code] != "":
		return &Failed{File: path, Problem: serverProblems[problem.Code], err: err}
	}
	return &Failed{File: path, Problem: "the database failed", err: err}
}
