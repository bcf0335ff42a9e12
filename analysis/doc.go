// Package analysis holds the words for what the watcher makes of readings:
// phases, estimates, expected courses and findings. Its children are the ways
// of getting from one to the next. Nothing below here does I/O or asks a
// clock: time comes in as an argument, so that a replay and a live watch run
// the very same step.
package analysis
