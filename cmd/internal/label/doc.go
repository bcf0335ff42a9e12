// Package label draws the labels that are stuck on vessels: one as SVG, many
// as an HTML sheet that prints on A4 or Letter. It is pure: what is on a label
// comes in as a [Label], and nothing is asked of a clock, a file or a network.
//
// A label is read at arm's length from a wet carboy, so the vessel and the
// time of inoculation are the largest things on it, and the code leads a phone
// to the vessel's page. Names come from people and are not trusted: whatever
// they hold, they are shown as text, inside the line that is meant for them.
package label
