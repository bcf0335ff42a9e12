package config

import (
	"slices"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// fieldName checks the name of a field with its unit.
func fieldName(s string) (string, error) {
	if quantityOf(s) != 0 {
		return s, nil
	}
	return "", sentence("is no quantity with its unit: %s; %s", quoted(s), meant(s, unit.Fields()))
}

// quantityOf returns the quantity that a field carries, 0 for an unknown field.
func quantityOf(field string) unit.Quantity {
	q, _, err := unit.Lookup(field)
	if err != nil {
		return 0
	}
	return q
}

// keptNames are the field names of the quantities in the unit each is kept in.
var keptNames = func() []string {
	var names []string
	for _, q := range unit.All {
		names = append(names, q.Field())
	}
	return names
}()

// keptQuantity returns the quantity named by its own field, 0 for other names.
func keptQuantity(name string) unit.Quantity {
	if !slices.Contains(keptNames, name) {
		return 0
	}
	return quantityOf(name)
}
