// Package store keeps what came in, in one SQLite file: readings, entries of
// the logbook, what was set aside, and the batches that the watch has not
// digested yet.
//
// Guarantees. When Append returns without an error the whole batch is on disk,
// also after a power cut; when it returns an error nothing of it is. A reading
// is known by vessel, quantity and time: the first value stays, every further
// one counts as a duplicate. One process at a time holds a file. Readers never
// wait for the writer, nor the writer for readers.
//
// Readings are written to a tail ordered by time, which is quick to insert
// into; Pack moves hours that are over into one blob per vessel, quantity and
// hour, several times smaller and quicker to scan. Whoever reads does not
// notice which of the two holds a reading. Times are kept in whole
// milliseconds since 1970, UTC.
//
// The same methods are offered in memory by package memstore; storetest holds
// the tests that both must pass.
package store
