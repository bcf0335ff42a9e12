package simulate

import "math"

// Constants of the culture. Nitrogen: f/2 holds 12.36 mg N/L (Guillard &
// Ryther 1962, 8.82e-4 mol/L nitrate); the quota runs from 6 to 10 % of dry
// weight when replete to 2 to 4 % when starved (from memory). Carbon: seawater
// holds about 2 mmol/L, half of it taken here as usable (from memory); air at
// 420 ppm and 20 degC carries 0.01746 mmol per litre.
const (
	f2Nitrogen    = 12.36     // mg N/L
	quotaLow      = 0.03      // g N per g dry weight: no growth
	quotaHigh     = 0.08      // g N per g dry weight: no uptake
	uptakeMax     = 0.12      // g N per g dry weight and day (choice)
	uptakeHalf    = 0.05      // mg N/L (choice)
	seaCarbon     = 2.0       // mmol/L in equilibrium with air
	fixedCarbon   = 1.0       // mmol/L that cells cannot use
	carbonHalf    = 0.1       // mmol/L of usable carbon (choice)
	airCarbon     = 0.01746   // mmol CO2 per litre of air
	captured      = 0.5       // share of it that dissolves when the water is short of it (choice)
	carbonPerG    = 500. / 12 // mmol per g dry weight at 50 % carbon
	minutesPerDay = 1440
)

// More constants of the culture, all choices.
const (
	deadDecay    = 1.2     // 1/d at which dead cells fall apart
	deadOD       = 0.8     // od of a dead cell beside that of a living one
	germOD       = 1.3     // od of bacteria beside that of cells, by weight
	germsStart   = 0.0007  // g/L of bacteria when they show first
	germsMost    = 0.06    // g/L at which they stop
	germsCost    = 0.6     // share of the growth of the cells they then take
	grazingStart = 0.03    // 1/d of cells eaten at the onset
	grazingMost  = 12.     // 1/d
	grazersFade  = 0.5     // 1/d at which unfed grazers die
	grazersHalf  = 0.02    // g/L of cells at which grazers grow half as fast
	lysisRise    = 2. / 24 // d in which lysis gathers its pace
	lysisDebris  = 0.25    // share of the od that burst cells leave
	lysisRest    = 0.08    // share of the cells that no lysis takes
	heatLoss     = 2.      // 1/d above TMax
	bleachFrom   = 1.2     // light beside IOpt at which cells that are not settled in take harm
	bleachLoss   = 1.5     // 1/d for each IOpt above that
)

// culture is what grows in one vessel; everything by litre.
type culture struct {
	x        float64 // living cells, g dry weight
	dead     float64 // dead cells that are still seen, g
	germs    float64 // bacteria, g
	quota    float64 // g N per g
	nitrogen float64 // dissolved, mg N
	carbon   float64 // dissolved inorganic, mmol
	ready    float64 // state of adjustment, 0 none; see adjust
	grazing  float64 // 1/d of cells eaten
	lysis    float64 // 1/d of cells that burst
	floor    float64 // g of cells that lysis leaves
	suspends float64 // share of the cells that is in suspension, 0 to 1
}

// traits are what one lot has of its own.
type traits struct {
	*Strain
	pace  float64 // beside the strain's growth rate
	spend float64 // beside the usual respiration
	lagH0 float64 // growth rate times lag, see adjust
}

// around is what surrounds a culture for one step.
type around struct {
	par, temp, air float64 // at the wall umol m-2 s-1; degC; L/min
	stir           float64 // air beside what is set, 0 to about 1
	volume, path   float64 // L, m
}

// harm is what faults do to a culture for one step.
type harm struct {
	pace    float64 // factor on growth, 1 without harm
	grazers float64 // growth rate of grazers, 1/d
	lysis   float64 // loss to lysis that is being reached, 1/d
	germs   float64 // growth rate of bacteria, 1/d
}

// inoculated returns a culture of x g/L in fresh medium. Its lag follows
// Baranyi & Roberts 1994, Int. J. Food Microbiol. 23:277-294: growth is slowed
// by q/(1+q), dq/dt = mu q, q(0) = 1/(exp(h0) - 1), h0 = mu lag.
func inoculated(x, h0 float64) culture {
	return culture{x: x, quota: 0.06, nitrogen: f2Nitrogen, carbon: seaCarbon, ready: 1 / math.Expm1(math.Max(h0, 1e-3)), suspends: 1}
}

// od returns the od in the probe's path, without blank or noise.
func (c *culture) od(s *Strain) float64 {
	return s.ODPerG * (c.suspends*(c.x+deadOD*c.dead) + germOD*c.germs)
}

// step lets dt days pass.
func (c *culture) step(t *traits, a *around, h *harm, dt float64) {
	warm := ctmi(a.temp, t.TMin, t.TOpt, t.TMax)
	light := meanLight(a.par, waterShade+1000*t.Shade*(c.x+0.5*c.dead+c.germs), a.path)
	best := t.pace * warm * lightResponse(light, t.MuMax, t.Alpha, t.IOpt)
	adjusted := c.ready / (1 + c.ready)
	c.ready = math.Min(c.ready*math.Exp(t.pace*warm*t.MuMax*dt), 1e9)
	grows := best * adjusted * c.fed() * c.breathes() * h.pace * (1 - germsCost*c.germs/germsMost)
	spends := t.spend * respiration(a.temp)
	c.feed(grows, spends, dt)
	c.breathe(grows-spends, a, dt)
	loss := c.bleach(t, light, adjusted)
	if a.temp > t.TMax {
		loss += heatLoss
	}
	c.x *= math.Exp((grows - spends - loss) * dt)
	c.suffer(h, dt)
	c.stir(t, a.stir, dt)
}

// fed is the factor of nitrogen on growth, after Droop, 1 when replete.
func (c *culture) fed() float64 {
	return math.Max(0, 1-quotaLow/c.quota) / (1 - quotaLow/quotaHigh)
}

// feed takes up nitrogen. Respiration costs carbon alone.
func (c *culture) feed(grows, spends, dt float64) {
	room := (quotaHigh - c.quota) / (quotaHigh - quotaLow)
	takes := uptakeMax * c.nitrogen / (c.nitrogen + uptakeHalf) * math.Max(0, room)
	takes = math.Min(takes, c.nitrogen/(1000*c.x*dt+1e-12))
	c.nitrogen = math.Max(0, c.nitrogen-1000*takes*c.x*dt)
	c.quota += (takes - (grows-spends)*c.quota) * dt
	c.quota = math.Min(math.Max(c.quota, quotaLow), quotaHigh)
}

// breathes is the factor of carbon on growth.
func (c *culture) breathes() float64 {
	free := math.Max(0, c.carbon-fixedCarbon)
	return free / (free + carbonHalf)
}

// breathe lets the cells take carbon and the air bring it back.
func (c *culture) breathe(net float64, a *around, dt float64) {
	brings := a.air / a.volume * minutesPerDay * airCarbon * captured * (1 - c.carbon/seaCarbon)
	c.carbon += (brings - net*c.x*carbonPerG) * dt
	c.carbon = math.Min(math.Max(c.carbon, fixedCarbon), 2*seaCarbon)
}

// bleach is the loss, 1/d, that strong light costs cells that have not yet
// settled in.
func (c *culture) bleach(t *traits, light, adjusted float64) float64 {
	return bleachLoss * math.Max(0, light/t.IOpt-bleachFrom) * (1 - adjusted)
}

// suffer lets the faults of the culture take their share.
func (c *culture) suffer(h *harm, dt float64) {
	if h.grazers > 0 {
		c.grazing = math.Min(grazingMost, c.grazing*math.Exp((h.grazers*c.x/(c.x+grazersHalf)-grazersFade)*dt))
	} else {
		c.grazing = 0
	}
	c.x *= math.Exp(-c.grazing * dt)
	c.lysis += (h.lysis - c.lysis) * dt / lysisRise
	if bursts := math.Max(0, c.x-c.floor) * -math.Expm1(-c.lysis*dt); bursts > 0 {
		c.x -= bursts
		c.dead += lysisDebris * bursts
	}
	c.dead *= math.Exp(-deadDecay * dt)
	if h.germs > 0 {
		c.germs += h.germs * c.germs * (1 - c.germs/germsMost) * dt
	} else {
		c.germs *= math.Exp(-dt)
	}
}

// Stirring, all choices.
const (
	liftTime    = 8. / minutesPerDay // d in which full air brings cells up again
	stirEnough  = 0.4                // share of the set air that keeps all cells up
	neverSettle = 0.08               // share of the cells that stays up in still water
)

// stir lets cells settle where the air is weak and rise where it is not.
func (c *culture) stir(t *traits, share, dt float64) {
	sinks := math.Max(0, 1-share/stirEnough) / (t.Settle.Hours() / 24)
	c.suspends += (1 - c.suspends) * -math.Expm1(-share/liftTime*dt)
	c.suspends -= (c.suspends - neverSettle) * -math.Expm1(-sinks*dt)
}

// kill turns a share of the living cells into dead ones.
func (c *culture) kill(share float64) {
	c.dead += share * c.x
	c.x *= 1 - share
}

// dilute leaves the share keep of everything and fills up with fresh medium.
func (c *culture) dilute(keep float64) {
	c.x *= keep
	c.dead *= keep
	c.germs *= keep
	c.floor *= keep
	c.nitrogen = c.nitrogen*keep + f2Nitrogen*(1-keep)
	c.carbon = c.carbon*keep + seaCarbon*(1-keep)
}

// concentrate is what evaporation does: the same in less water.
func (c *culture) concentrate(factor float64) {
	c.x *= factor
	c.dead *= factor
	c.germs *= factor
	c.nitrogen *= factor
}
