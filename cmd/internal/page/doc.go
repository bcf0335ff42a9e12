// Package page is what a person sees: the shelf on a phone at night, one
// vessel, the alarms, what was set aside, and the endpoints by which a machine
// sees whether the daemon is well.
//
// Every page is made whole on the server and works without a script, without
// an inline style and without a request to anybody else. A small script that
// is served as a file renews the parts of a page that changed. The package
// reads no clock and no disk: [Source], [History], [Health] and [Acknowledger]
// say what it needs from whoever mounts it.
package page
