package daemon

// doseUnfit says why a dose does not fit, empty if it does or nothing is known.
func doseUnfit(medium, strain string, litres float64, partsML map[string]float64) string { return "" }
