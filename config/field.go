package config

import (
	"maps"
	"slices"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// kept are the field names of the quantities in the unit each is kept in.
var kept = func() map[string]unit.Quantity {
	out := map[string]unit.Quantity{}
	for _, q := range unit.All {
		out[q.Field()] = q
	}
	return out
}()

// fields are the field names that a sensor's value may have.
var fields = func() map[string]unit.Quantity {
	out := maps.Clone(kept)
	out["temp_f"] = unit.Temperature
	out["temp_k"] = unit.Temperature
	out["lux"] = unit.Light
	out["air_mlmin"] = unit.Airflow
	return out
}()

// The names in order, so that messages are the same every time.
var (
	fieldNames = slices.Sorted(maps.Keys(fields))
	keptNames  = slices.Sorted(maps.Keys(kept))
)

// fieldName checks the name of a field with its unit.
func fieldName(s string) (string, error) {
	if _, ok := fields[s]; ok {
		return s, nil
	}
	return "", sentence("is no quantity with its unit: %s; %s", quoted(s), meant(s, fieldNames))
}
