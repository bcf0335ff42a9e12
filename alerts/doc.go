// Package alerts holds the words for what needs a person: alarms with their
// states after ISA-18.2 / IEC 62682, calls, and the pure step from a finding
// to a change of an alarm. Its children keep them on disk (ledger), deliver
// calls (outbox, webhook) and run one room from stored batches to alarms
// (room).
package alerts
