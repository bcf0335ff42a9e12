package main

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"strconv"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/growth"
)

var fitHeader = []string{
	"curve_id", "model", "chosen", "course", "status", "why", "points", "left_out", "first_day", "aicc",
	"start_ln", "start_ln_se", "plateau_ln", "plateau_ln_se", "steepest_per_day", "steepest_per_day_se",
	"potential_per_day", "potential_per_day_se", "lag_days", "lag_days_se", "shape", "shape_se",
	"mu_per_day_low", "mu_per_day_high", "lag_days_low", "lag_days_high", "plateau_ln_low", "plateau_ln_high",
}

// fitCSV writes one row a curve and model. Cells of what is not fitNumber are empty.
func fitCSV(out io.Writer, curves []fittedCurve) error {
	w := csv.NewWriter(out)
	if err := w.Write(fitHeader); err != nil {
		return err
	}
	for _, c := range curves {
		for i := range c.Fits {
			if err := w.Write(c.row(i)); err != nil {
				return err
			}
		}
	}
	w.Flush()
	return w.Error()
}

func (c *fittedCurve) row(i int) []string {
	f := &c.Fits[i]
	chosen, status, why := "", f.Status, f.Why
	if i == c.Chosen {
		chosen, status, why = "yes", c.Status, c.Why
	}
	row := []string{c.ID, f.Model.Name, chosen, string(c.Course), status.String(), why, strconv.Itoa(len(c.Values) - f.Left), strconv.Itoa(f.Left)}
	row = append(row, cellOf(f.Origin), cellOf(f.AICc))
	row = append(row, pairOf(f, growth.Start)...)
	row = append(row, pairOf(f, growth.Plateau)...)
	row = append(row, cells(f.Steepest())...)
	if f.Model.Potential {
		row = append(row, pairOf(f, growth.Mu)...)
	} else {
		row = append(row, "", "")
	}
	row = append(row, pairOf(f, growth.Lag)...)
	row = append(row, pairOf(f, growth.Shape)...)
	if i != c.Chosen || !c.Mu.Known() {
		return append(row, "", "", "", "", "", "")
	}
	for _, q := range []growth.Parameter{growth.Mu, growth.Lag, growth.Plateau} {
		v := f.Interval(q)
		row = append(row, cells(v.Low, v.High)...)
	}
	return row
}

func pairOf(f *growth.Fitted, q growth.Parameter) []string {
	i := f.Model.Index(q)
	if i < 0 {
		return []string{"", ""}
	}
	return cells(f.P[i], f.SE[i])
}

func cells(v ...float64) []string {
	var out []string
	for _, x := range v {
		out = append(out, cellOf(x))
	}
	return out
}

// cellOf writes a number to nine digits, nothing where it is not known or
// without an end.
func cellOf(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 9, 64)
}

// fitNumber is a number, null where it is not known or without an end.
type fitNumber float64

// MarshalJSON implements json.Marshaler.
func (v fitNumber) MarshalJSON() ([]byte, error) {
	if f := float64(v); !math.IsNaN(f) && !math.IsInf(f, 0) {
		return json.Marshal(f)
	}
	return []byte("null"), nil
}

type intervalJSON struct {
	Low    fitNumber `json:"low"`
	Likely fitNumber `json:"likely"`
	High   fitNumber `json:"high"`
}

type curveJSON struct {
	ID      string       `json:"curve_id"`
	Course  string       `json:"course"`
	Status  string       `json:"status"`
	Why     string       `json:"why,omitempty"`
	Points  int          `json:"points"`
	Left    int          `json:"left_out"`
	First   fitNumber    `json:"first_day"`
	Chosen  string       `json:"chosen,omitempty"`
	Alike   []string     `json:"alike,omitempty"` // models that the data do not tell from the chosen one
	Mu      intervalJSON `json:"mu_per_day"`      // of the chosen model: see its rate
	Lag     intervalJSON `json:"lag_until_day"`   // a time of the file
	Plateau intervalJSON `json:"plateau"`
	Fits    []fitJSONOut `json:"fits"`
}

type fitJSONOut struct {
	Model       string          `json:"model"`
	Source      string          `json:"source"`
	Rate        string          `json:"rate,omitempty"` // what mu is: potential or steepest
	Status      string          `json:"status"`
	Why         string          `json:"why,omitempty"`
	AICc        fitNumber       `json:"aicc"`
	ResidualSD  fitNumber       `json:"residual_sd"`
	Parameters  []parameterJSON `json:"parameters"`
	Steepest    fitNumber       `json:"steepest_per_day"`
	SteepestSE  fitNumber       `json:"steepest_per_day_se"`
	Evaluations int             `json:"evaluations"`
}

type parameterJSON struct {
	Name  string    `json:"name"`
	Unit  string    `json:"unit"`
	Value fitNumber `json:"value"`
	SE    fitNumber `json:"se"`
}

// fitJSON writes an array of curves.
func fitJSON(out io.Writer, curves []fittedCurve) error {
	all := make([]curveJSON, 0, len(curves))
	for i := range curves {
		all = append(all, curves[i].json())
	}
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return e.Encode(all)
}

func (c *fittedCurve) json() curveJSON {
	j := curveJSON{ID: c.ID, Course: string(c.Course), Status: c.Status.String(), Why: c.Why,
		Mu: intervalOut(c.Mu), Lag: intervalOut(c.Lag), Plateau: intervalOut(c.Plateau)}
	for i := range c.Fits {
		f := &c.Fits[i]
		o := fitJSONOut{Model: f.Model.Name, Source: f.Model.Source, Status: f.Status.String(), Why: f.Why, AICc: fitNumber(f.AICc),
			ResidualSD: fitNumber(f.SD), Evaluations: f.Evaluations}
		for k, q := range f.Model.Parameters {
			o.Parameters = append(o.Parameters, parameterJSON{jsonName(q), jsonUnit(q), fitNumber(f.P[k]), fitNumber(f.SE[k])})
		}
		if f.Model.Index(growth.Mu) >= 0 {
			slope, se := f.Steepest()
			o.Steepest, o.SteepestSE = fitNumber(slope), fitNumber(se)
			o.Rate = map[bool]string{true: "potential", false: "steepest"}[f.Model.Potential]
		} else {
			o.Steepest, o.SteepestSE = fitNumber(math.NaN()), fitNumber(math.NaN())
		}
		j.Fits = append(j.Fits, o)
		j.Points, j.Left, j.First = len(c.Values)-f.Left, f.Left, fitNumber(f.Origin)
	}
	if c.Chosen >= 0 {
		j.Chosen = c.Fits[c.Chosen].Model.Name
	}
	for _, i := range c.Alike {
		j.Alike = append(j.Alike, c.Fits[i].Model.Name)
	}
	return j
}

func jsonName(q growth.Parameter) string {
	if q == growth.Start || q == growth.Plateau {
		return q.Name + "_ln"
	}
	return q.Name
}

func jsonUnit(q growth.Parameter) string {
	switch q {
	case growth.Start, growth.Plateau:
		return "ln of the value"
	case growth.Shape:
		return "1"
	}
	return q.Unit
}

func intervalOut(i analysis.Interval) intervalJSON {
	return intervalJSON{fitNumber(i.Low), fitNumber(i.Likely), fitNumber(i.High)}
}
