// Package growth turns a series of densities into growth: a specific growth
// rate, a lag and a plateau, each with an interval, or the plain statement
// that the data do not tell.
//
// Times are days, rates 1/d, logarithms natural. A model gives ln N(t), N in
// whatever unit the values have; it is fitted to the values themselves or to
// their logarithms. Everything here is pure: no I/O, no clock, no randomness.
package growth
