// Package logbook says what the entries of the logbook mean: which fields each
// kind of entry has, how one is read from words, and what all of them together
// make of the shelf: vessels with what stands in them, lots with their donors
// and harvests, and the checklist that makes a vessel ready.
//
// A [Book] is the pure fold of its entries. They count in the order in which
// they happened, whatever the order in which they were written, and a
// correction or a withdrawal is an entry too: nothing is ever erased.
//
// [Check] refuses what cannot be an entry. What may be one but ought not to be
// done, such as inoculating where no test has found the water free of
// chlorine, is a [Doubt]: it is asked first, and done all the same is kept with
// who overruled it.
package logbook
