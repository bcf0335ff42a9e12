// Package plan is the arithmetic of the job at the shelf: bleach and
// thiosulfate, nutrients, the inoculum, harvests and rations, air as the
// supply of carbon and nitrogen as the end of it.
//
// Each function takes a struct whose fields name their units, and returns a
// struct of amounts with Advice: the cautions of that job, the stated bounds
// that were passed, and what was taken for granted. An amount without its
// Advice is half an answer: show both. What makes no sense comes back as an
// InputError for every field at fault, joined, and no amount at all.
//
// An amount never stands for the test that follows it: what a label means, how
// old the bleach is and which way thiosulfate goes is not known well enough.
//
// In an input a zero stands for "not said" only where its comment says so.
// The package plans; it opens no valve and doses nothing.
package plan
