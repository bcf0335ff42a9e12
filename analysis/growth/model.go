package growth

import "math"

// Parameter is one number of a model.
type Parameter struct {
	Name string // one of the names below
	Unit string // "" for a logarithm or a shape
}

// The parameters of the models. Mu is the parameter of the model: in the
// re-parametrised forms of Zwietering and others it is the steepest slope of
// ln N; in those of Baranyi and Roberts and the logistic it is the rate that
// would rule without a plateau, and the steepest slope seen is less.
var (
	Start   = Parameter{"start", ""}   // ln N before growth
	Plateau = Parameter{"plateau", ""} // ln N at the end of growth
	Mu      = Parameter{"mu", "1/d"}   // specific growth rate
	Lag     = Parameter{"lag", "d"}    // from t = 0
	Shape   = Parameter{"shape", ""}   // Richards's v
)

// Model is a primary growth model: ln N as a function of time in days.
type Model struct {
	Name       string // words for people: "modified Gompertz"
	Source     string
	Parameters []Parameter
	// Potential says that mu is the rate that would rule without a plateau, not
	// the steepest slope seen.
	Potential bool

	// Log writes ln N(t[i]) to y[i] and its derivative by parameter j to
	// jac[i*len(p)+j]. It allocates nothing and returns finite numbers for
	// parameters within Bounds.
	Log func(p, t, y, jac []float64)
}

// Index returns the place of a parameter in the model, -1 where it has none.
func (m *Model) Index(p Parameter) int {
	for i, q := range m.Parameters {
		if q == p {
			return i
		}
	}
	return -1
}

// Models are the models that are tried on a curve, from few parameters to many.
var Models = []*Model{Flat, Exponential, Logistic, Gompertz, ModifiedLogistic, Richards, Baranyi}

// Value returns ln N at one time.
func (m *Model) Value(p []float64, t float64) float64 {
	v, _ := m.At(p, t)
	return v
}

// At returns ln N at one time and its derivatives by the parameters.
func (m *Model) At(p []float64, t float64) (v float64, gradient []float64) {
	gradient = make([]float64, len(p))
	var y [1]float64
	m.Log(p, []float64{t}, y[:], gradient)
	return y[0], gradient
}

// leastRise keeps A = plateau - start off zero, by which the models divide.
const leastRise = 1e-9

func rise(p []float64) float64 { return math.Max(p[1]-p[0], leastRise) }

// steepest bounds exponents on their way into math.Exp: beyond it a curve has
// long reached its start or its plateau.
const steepest = 300

// exp is spelt with branches: math.Min and math.Max cost as much as math.Exp.
func exp(x float64) float64 {
	if x > steepest {
		x = steepest
	} else if x < -steepest {
		x = -steepest
	}
	return math.Exp(x)
}

// zwietering names the parameters of the re-parametrised models, in the order
// in which their code takes them.
var zwietering = []Parameter{Start, Plateau, Mu, Lag}

const zwieteringSource = "Zwietering, Jongenburger, Rombouts and van 't Riet 1990, Appl. Environ. Microbiol. 56(6):1875-1881"
