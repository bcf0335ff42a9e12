package page

// VesselPath is where the page of a vessel is, from the root of the site on
// and escaped: what a label's code adds to the room's address.
func VesselPath(name string) string { return vesselPath(name) }
