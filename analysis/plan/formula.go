package plan

import (
	"fmt"
	"strconv"
	"strings"
)

// atomicMass is the abridged standard atomic weight, g/mol (IUPAC 2021), of
// what culture media are made of.
var atomicMass = map[string]float64{
	"H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "Na": 22.98977, "Mg": 24.305, "Si": 28.085,
	"P": 30.97376, "S": 32.06, "Cl": 35.45, "K": 39.0983, "Ca": 40.078, "V": 50.9415, "Cr": 51.9961,
	"Mn": 54.93804, "Fe": 55.845, "Co": 58.93319, "Ni": 58.6934, "Cu": 63.546, "Zn": 65.38, "Se": 78.971, "Mo": 95.95,
}

// atoms counts the atoms of a formula such as "Na2SiO3.9H2O" or
// "(NH4)6Mo7O24.4H2O".
func atoms(formula string) (map[string]int, error) {
	total := map[string]int{}
	for group := range strings.SplitSeq(strings.ReplaceAll(formula, "·", "."), ".") { // as bottles print it
		times, rest := leadingCount(group)
		p := parser{text: rest}
		counts, err := p.group(0)
		if err != nil || p.at != len(rest) || len(counts) == 0 {
			return nil, &InputError{Name: "formula", Given: formula, Need: `must be one such as "NaNO3" or "Na2SiO3.9H2O", of elements used in media`}
		}
		add(total, counts, times)
	}
	return total, nil
}

// molarMass is the mass of one mole of a formula, g/mol.
func molarMass(formula string) (float64, error) {
	counts, err := atoms(formula)
	if err != nil {
		return 0, err
	}
	var sum float64
	for _, symbol := range sortedKeys(counts) { // in one order, so that the last digit is always the same
		sum += float64(counts[symbol]) * atomicMass[symbol]
	}
	return sum, nil
}

type parser struct {
	text string
	at   int
}

// group reads elements and brackets up to a closing bracket or the end.
func (p *parser) group(depth int) (map[string]int, error) {
	total := map[string]int{}
	for p.at < len(p.text) && p.text[p.at] != ')' {
		counts, err := p.item(depth)
		if err != nil {
			return nil, err
		}
		times, rest := leadingCount(p.text[p.at:])
		p.at = len(p.text) - len(rest)
		add(total, counts, times)
	}
	return total, nil
}

// item reads one element, or one group in brackets.
func (p *parser) item(depth int) (map[string]int, error) {
	if p.text[p.at] == '(' {
		p.at++
		counts, err := p.group(depth + 1)
		if err != nil || depth > 2 || p.at >= len(p.text) {
			return nil, fmt.Errorf("bracket not closed in %q", p.text)
		}
		p.at++
		return counts, nil
	}
	for _, length := range []int{2, 1} {
		if end := p.at + length; end <= len(p.text) && atomicMass[p.text[p.at:end]] > 0 {
			symbol := p.text[p.at:end]
			p.at = end
			return map[string]int{symbol: 1}, nil
		}
	}
	return nil, fmt.Errorf("no element at %q", p.text[p.at:])
}

// leadingCount splits off a leading number of at most three digits; 1 if none.
func leadingCount(s string) (int, string) {
	i := 0
	for i < len(s) && i < 3 && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	n, err := strconv.Atoi(s[:i])
	if err != nil || n == 0 {
		return 1, s
	}
	return n, s[i:]
}

func add(total, counts map[string]int, times int) {
	for symbol, n := range counts {
		total[symbol] += n * times
	}
}
