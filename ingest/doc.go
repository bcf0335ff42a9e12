// Package ingest holds the words of what comes in from a culture room:
// quantities and readings, vessels and lots, entries of the logbook, and the
// batches in which they are kept. Its children are the ways in (mqtt, broker,
// lineproto, device, runfolder), the place where it is kept (store) and what
// the entries mean (logbook).
package ingest
