package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// version is the schema version this program writes, kept in user_version.
// Raising it by one takes a file sql/migrations/NNNN.sql with that number,
// which brings a file one version older to it, and the same in schema.sql.
const version = 1

//go:embed sql
var embedded embed.FS

// create makes a new database at path, whole or not at all: it is built
// beside and renamed, so that a file of ours always carries our mark. The
// caller holds the lock.
func create(ctx context.Context, path string) (err error) {
	schema, err := embedded.ReadFile("sql/schema.sql")
	if err != nil {
		return err
	}
	beside := path + ".new"
	if err := os.Remove(beside); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	db, err := sql.Open("sqlite", dsn(beside, "journal_mode(DELETE)", "synchronous(FULL)"))
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(beside)
		}
	}()
	script := fmt.Sprintf("begin;\n%s\npragma application_id = %d;\npragma user_version = %d;\ncommit;",
		schema, applicationID, version)
	_, err = db.ExecContext(ctx, script)
	if err := errors.Join(err, db.Close()); err != nil {
		return err
	}
	if err := os.Rename(beside, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes a rename in it last through a power cut.
func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// migrate brings the database up to the given version, one transaction a
// step, from the numbered files in sql/migrations.
func migrate(ctx context.Context, db *sql.DB, files fs.FS, to int) error {
	var at int
	if err := db.QueryRowContext(ctx, "pragma user_version").Scan(&at); err != nil {
		return err
	}
	if err := checkVersion(at, to); err != nil {
		return err
	}
	for v := at + 1; v <= to; v++ {
		if err := step(ctx, db, files, v); err != nil {
			return fmt.Errorf("migrate to version %d: %w", v, err)
		}
	}
	return nil
}

func step(ctx context.Context, db *sql.DB, files fs.FS, v int) error {
	script, err := fs.ReadFile(files, fmt.Sprintf("sql/migrations/%04d.sql", v))
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after a commit there is nothing to undo
	if _, err := tx.ExecContext(ctx, string(script)); err != nil {
		return err
	}
	if err := checkForeignKeys(ctx, tx); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("pragma user_version = %d", v)); err != nil {
		return err
	}
	return tx.Commit()
}

// checkForeignKeys reports the first row that points nowhere.
func checkForeignKeys(ctx context.Context, tx *sql.Tx) error {
	rows, err := tx.QueryContext(ctx, "pragma foreign_key_check")
	if err != nil {
		return err
	}
	defer rows.Close()
	if rows.Next() {
		var table, parent string
		var row, key sql.NullInt64
		if err := rows.Scan(&table, &row, &parent, &key); err != nil {
			return err
		}
		return fmt.Errorf("row %d of %s points to no row of %s", row.Int64, table, parent)
	}
	return rows.Err()
}
