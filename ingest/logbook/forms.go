package logbook

import "github.com/nightshelf/nightshelf/ingest"

// Beyond these bounds a number is a slip of the pen.
const (
	leastL, mostL         = 0.0001, 20000.0
	leastML, mostML       = 0.001, 1e6
	mostCells             = 1e10 // cells/mL
	mostOD                = 100.0
	mostChlorine          = 5000.0 // mg/L: bleach 1 to 10, for surfaces
	leastShare, mostTimes = 0.001, 10.0
)

// The methods of a chlorine test, and what each can still see.
const (
	Strip = "strip" // resolves about 0.5 mg/L at best (from memory)
	DPD   = "dpd"   // below about 0.05 mg/L (from memory)
	Other = "other"
)

// Roles of a lot by their purpose.
const (
	Working = "working" // grown to be fed
	Stock   = "stock"   // kept only to start others
)

// Reasons to end a lot.
const (
	Harvested    = "harvested"
	Crashed      = "crash"
	Contaminated = "contaminated"
	Discarded    = "discarded" // in doubt, or not needed
)

var common = []Field{
	text("remark", "remark"),
	text("lot", "lot"),
	text(OverruledBy, "in spite of the question, said by"),
	text(overruled, "questions that were overruled"),
}

// OverruledBy is the field that names who had an entry written in spite of a
// doubt, overruled the one that says which.
const (
	OverruledBy = "overruled_by"
	overruled   = "overruled"
)

var water = number("volume_l", "volume, L", leastL, mostL)

var forms = []Form{
	{ingest.Fill, "fill", []Field{water,
		words("treated", "treated by", "none", "filtered", "pasteurised", "autoclaved"),
		number("salinity", "salinity, g/L", 0, 200), text("medium", "medium")}},
	{ingest.Chlorinate, "bleach in", []Field{
		number("bleach_ml", "bleach, mL", leastML, mostML),
		number("chlorine_mg_l", "free chlorine aimed at, mg/L", 0.01, mostChlorine),
		number("strength_percent", "strength on the label, %", 0.1, 20),
		number("contact_h", "to stay for, h", 0.05, 720), water}},
	{ingest.Neutralise, "thiosulfate in", []Field{
		number("thiosulfate_g", "thiosulfate, g", 0.0001, 1e5),
		number("thiosulfate_ml", "thiosulfate solution, mL", leastML, mostML),
		number("stock_g_l", "strength of the solution, g/L", 0.1, 1000)}},
	{ingest.ChlorineTest, "chlorine test", []Field{
		must(number("chlorine_mg_l", "chlorine found, mg/L", 0, mostChlorine)),
		words("method", "method", Strip, DPD, Other),
		number("limit_mg_l", "least that the method shows, mg/L", 0.001, 10)}},
	{ingest.Dump, "emptied", []Field{water}},
	{ingest.Clean, "cleaned", nil},
	{ingest.Rinse, "rinsed", nil},
	{ingest.AcidRinse, "acid rinse", []Field{text("acid", "acid and strength")}},
	{ingest.Dose, "nutrients in", []Field{
		number("a_ml", "part A, mL", leastML, mostML), number("b_ml", "part B, mL", leastML, mostML),
		number("silicate_ml", "silicate, mL", leastML, mostML),
		text("medium", "medium"), number("strength", "times the recipe", leastShare, mostTimes),
		text("bottle_a", "bottle of part A"), text("bottle_b", "bottle of part B"), text("bottle_silicate", "bottle of silicate"),
		yes("again", "a second dose is meant")}},
	{ingest.Inoculate, "inoculated", []Field{
		number("inoculum_l", "inoculum, L", leastL, mostL),
		text("strain", "strain"), text("donor", "donor"),
		number("taken_out_l", "taken out before, L", 0, mostL),
		number("volume_l", "volume now, L", leastL, mostL),
		text("medium", "medium"), words("role", "kept as", Working, Stock),
		number("generation", "generation", 0, 1e6),
		number("harvest_od", "ready at od", 0.001, mostOD),
		number("harvest_cells_per_ml", "ready at cells/mL", 1, mostCells)}},
	{ingest.Sample, "sample taken", []Field{number("volume_ml", "volume, mL", leastML, mostML)}},
	{ingest.Count, "counted", []Field{
		number("cells_per_ml", "cells/mL", 0, mostCells),
		number("od", "od by hand", 0, mostOD),
		number("counted", "cells counted", 0, 1e6),
		number("squares", "large squares (0.1 uL each)", 0.01, 1000),
		number("dilution", "diluted so many times", 1, 1e6),
		text("method", "method")}},
	{ingest.Look, "looked at", []Field{
		yes("contaminated", "contaminated"),
		text("seen", "seen under the microscope"), text("colour", "colour"), text("smell", "smell"),
		yes("foam", "foam"), yes("clumps", "clumps"),
		yes("clean", "closely, nothing found")}},
	{ingest.Harvest, "harvest", []Field{water, yes("refilled", "refilled with new medium"), text("tank", "to tank")}},
	{ingest.Feed, "fed", []Field{water, text("tank", "tank")}},
	{ingest.TopUp, "topped up", []Field{water, words("water", "with", "seawater", "fresh water", "medium")}},
	{ingest.WipeSensor, "probe wiped", []Field{text("sensor", "probe")}},
	{ingest.FitSensor, "probe fitted", []Field{
		text("sensor", "probe"), number("blank_od", "od in standing medium", -1, 10),
		text("series", "dilution series, share:od, share:od")}},
	{ingest.Move, "moved", []Field{text("place", "to place")}},
	{ingest.Set, "set", []Field{
		number("air_lpm", "air, L/min", 0, 500), number("temp_c", "temperature, degC", -2, 45),
		number("par_umol", "light, umol m-2 s-1", 0, 3000), number("light_hours", "lamp, h a day", 0, 24)}},
	{ingest.Remark, "remark", nil},
	{ingest.End, "ended", []Field{words("reason", "because", Harvested, Crashed, Contaminated, Discarded)}},
	{ingest.Correct, "corrected", []Field{must(text("entry", "entry"))}},
	{ingest.Withdraw, "withdrawn", []Field{must(text("entry", "entry")), text("reason", "because")}},
}
