package plan

// Parts A and B are dosed in equal volumes (common practice). How a maker
// parts the salts between the two differs; since both go in, what the culture
// gets does not. Here A holds nitrate and phosphate, B metals and vitamins.

const (
	thiamineHCl = "C12H18Cl2N4OS"
	biotin      = "C10H16N2O3S"
	cobalamin   = "C63H88CoN14O14P"
	edta        = "Na2C10H14N2O8.2H2O"
)

// F2 is f/2 (Guillard and Ryther 1962; Guillard 1975). Stocks after Clark
// University, "F/2 Culture Media", but iron and EDTA as the L1 page of a public
// protocol repository has them, 3.15 and 4.36 g/L: the Clark page alone says 1.3
// and 8.7, which is in the note.
func F2() Recipe {
	return Recipe{Name: "f/2", Note: f2Note, Parts: []Part{
		macronutrients(),
		{Name: "B", MLPerL: 1, Vitamins: true, Salts: append(append(ironEDTA(),
			Salt{"MnCl2.4H2O", 0.180, "Mn"},
			Salt{"ZnSO4.7H2O", 0.0220, "Zn"},
			Salt{"CoCl2.6H2O", 0.0100, "Co"},
			Salt{"CuSO4.5H2O", 0.0098, "Cu"},
			Salt{"Na2MoO4.2H2O", 0.0063, "Mo"},
		), vitamins()...)},
		silicate(),
	}}
}

// L1 is L1 (Guillard and Hargraves 1993), traces after the SCCAP's page; the
// original has slightly more zinc and cobalt (from memory). Vitamins as f/2,
// from memory.
func L1() Recipe {
	return Recipe{Name: "L1", Parts: []Part{
		macronutrients(),
		{Name: "B", MLPerL: 1, Vitamins: true, Salts: append(append(ironEDTA(),
			Salt{"MnCl2.4H2O", 0.180, "Mn"},
			Salt{"ZnSO4.7H2O", 0.0220, "Zn"},
			Salt{"CoCl2.6H2O", 0.0100, "Co"},
			Salt{"CuSO4.5H2O", 0.00245, "Cu"},
			Salt{"Na2MoO4.2H2O", 0.0199, "Mo"},
			Salt{"H2SeO3", 0.0013, "Se"},
			Salt{"NiSO4.6H2O", 0.0027, "Ni"},
			Salt{"Na3VO4", 0.00184, "V"},
			Salt{"K2CrO4", 0.00194, "Cr"},
		), vitamins()...)},
		silicate(),
	}}
}

// Walne is Walne's medium, also called Conwy (Walne 1970; Laing 1991, MAFF
// Laboratory Leaflet 67; FAO Fisheries Technical Paper 361, Table 2.3), all of
// it from memory. Its solution B of metals goes into A, 1 mL a litre, not into
// the culture, so that what is dosed is A and the vitamins. How strong those
// are no source at hand says, so that part has a volume and no salts.
func Walne() Recipe {
	return Recipe{Name: "Walne", Note: walneNote, Parts: []Part{
		{Name: "A", MLPerL: 1, Salts: []Salt{
			{"NaNO3", 100, Nitrogen},
			{"NaH2PO4.2H2O", 20, Phosphorus},
			{"FeCl3.6H2O", 1.3, Iron},
			{edta, 45, EDTA},
			{"MnCl2.4H2O", 0.36, "Mn"},
			{"H3BO3", 33.6, "B"},
			{"ZnCl2", 0.021, "Zn"},
			{"CoCl2.6H2O", 0.020, "Co"},
			{"(NH4)6Mo7O24.4H2O", 0.009, "Mo"},
			{"CuSO4.5H2O", 0.020, "Cu"},
		}},
		{Name: "vitamins", MLPerL: 0.1, Vitamins: true},
		{Name: "silicate", MLPerL: 2, Diatoms: true, Salts: []Salt{{"Na2SiO3.5H2O", 40, Silicon}}},
	}}
}

// What a person should know of the amounts.
const (
	f2Note = "Iron and EDTA differ between printed recipes of f/2: 3.15 and 4.36 g/L in the trace stock here, 1.3 and 8.7 elsewhere, " +
		"which makes 0.27 mg/L of iron and 8.7 of EDTA."
	walneNote = "Walne's amounts are from memory and differ between printed recipes: hold them against the bottle. What the vitamins hold is not known here: ask the label."
)

func macronutrients() Part {
	return Part{Name: "A", MLPerL: 1, Salts: []Salt{{"NaNO3", 75, Nitrogen}, {"NaH2PO4.H2O", 5, Phosphorus}}}
}

func silicate() Part {
	return Part{Name: "silicate", MLPerL: 1, Diatoms: true, Salts: []Salt{{"Na2SiO3.9H2O", 30, Silicon}}}
}

func ironEDTA() []Salt {
	return []Salt{{"FeCl3.6H2O", 3.15, Iron}, {edta, 4.36, EDTA}}
}

// vitamins are 0.5 mL/L of a stock of 200, 1 and 1 mg/L, in a part of 1 mL/L.
func vitamins() []Salt {
	return []Salt{{thiamineHCl, 0.1, Thiamine}, {biotin, 0.0005, Biotin}, {cobalamin, 0.0005, Cobalamin}}
}
