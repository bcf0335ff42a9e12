package ledger

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"

	"github.com/nightshelf/nightshelf/ingest"
)

// version is the schema version this program writes. It stands in a row of
// its own, since the file's version belongs to the store. Raising it by one
// takes a file sql/migrations/NNNN.sql of that number, and the same in
// schema.sql.
const version = 1

//go:embed sql
var embedded embed.FS

// ErrNewer says that the ledger was written by a newer version.
var ErrNewer = fmt.Errorf("the ledger is newer: %w", ingest.ErrNewer)

// build makes the tables in a new file and brings older ones up to date.
func build(ctx context.Context, tx *sql.Tx, files fs.FS, to int) error {
	var there bool
	err := tx.QueryRowContext(ctx, "select exists (select 1 from sqlite_schema where type = 'table' and name = 'ledger')").Scan(&there)
	if err != nil {
		return err
	}
	if !there {
		return run(ctx, tx, files, "sql/schema.sql", to)
	}
	var has int
	if err := tx.QueryRowContext(ctx, "select version from ledger").Scan(&has); err != nil {
		return fmt.Errorf("read its version: %w", err)
	}
	if has > to {
		return fmt.Errorf("it is version %d, this program knows up to %d: %w", has, to, ErrNewer)
	}
	for v := has + 1; v <= to; v++ {
		if err := run(ctx, tx, files, fmt.Sprintf("sql/migrations/%04d.sql", v), v); err != nil {
			return fmt.Errorf("migrate to version %d: %w", v, err)
		}
	}
	return nil
}

// run executes one file, after which the ledger has version v.
func run(ctx context.Context, tx *sql.Tx, files fs.FS, name string, v int) error {
	script, err := fs.ReadFile(files, name)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, string(script)); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "insert into ledger (id, version) values (1, ?) on conflict (id) do update set version = excluded.version", v)
	return err
}
