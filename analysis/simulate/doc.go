// Package simulate is a seeded culture room: vessels in which lots grow under
// lamps, probes that measure them badly, people who harvest and write it down
// late, and faults that strike when the plan says so. The readings and
// entries come out in order of arrival, and beside them stands the truth.
//
// The room is for demonstrations and tests. Its constants come from the
// literature, named beside each, or are choices of this simulator, marked
// (choice): plausible numbers that no measurement stands behind.
//
// A room is pure: the same [Plan] and seed give the same readings, bit for bit
// on processors of one kind. Every vessel draws from streams of its own and
// draws as much with a fault as without, so that a fault changes nothing but
// what it touches.
package simulate
