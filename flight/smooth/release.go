package smooth

import "math"

// belief is what the readings let one believe of a release that nobody told: when
// it was, after the apogee, and how well that is known.
type belief struct {
	ok      bool
	lag, sd float64 // s after the apogee
	chances []chance
	fills   filling // the likeliest way
	// By how much the explanations differ on the apogee: standard deviations.
	topS, topM float64
}

// later is the probability that the release was later than so long after the
// apogee.
func (b *belief) later(lag float64) float64 {
	p := 0.0
	for _, c := range b.chances {
		p += c.p * 0.5 * math.Erfc((lag-c.lag)/(c.sd*math.Sqrt2))
	}
	return p
}

// chance is one explanation of the readings and its probability.
type chance struct {
	lag, sd float64 // s after the apogee
	p       float64
	fills   filling
	at      float64 // s
	ta, ha  float64 // the apogee
}

// What is believed of a release before any reading of it is looked at: most boards
// command it within a second of the apogee, none of these moments likelier than
// another, and the cloth is out some tenths later; some release much later or before
// it (common practice, no source).
const (
	usualPart                           = 0.9
	usualFrom, evenFrom, evenTo, rarely = -0.15, 0.1, 1.0, 1.4 // s
	oddLag, oddScale                    = 0.4, 2.0             // s, of a Laplace density
	// A release that is inferred is that of the cloth which begins to fill: the time
	// since the command, of a servo or a line that stretches, nothing shows. What is
	// left open of the beginning itself, s:
	outSD = 0.04
)

// What is not looked at again is so much less likely, as logarithms: after the first
// look, and after the second.
const hopeless, negligible = 25.0, 9.0

// scanPart is the width of a cell, as a standard deviation, over the distance of its
// neighbours: together they lie even.
const scanPart = 0.6

// releaseDensity is that belief, 1/s.
func releaseDensity(lag float64) float64 {
	usual := max(0, min(1, (lag-usualFrom)/(evenFrom-usualFrom), (rarely-lag)/(rarely-evenTo)))
	return usualPart*usual/((rarely+evenTo-evenFrom-usualFrom)/2) +
		(1-usualPart)*math.Exp(-math.Abs(lag-oddLag)/oddScale)/(2*oddScale)
}

// fillingPart is how common each way of filling is taken to be: with the air that it
// meets is the rule (Knacke, NWC TP 6575, from memory).
var fillingPart = [fillings]float64{withAir: 0.8, withTime: 0.1, evenlyTime: 0.1}

// cell is a part of the releases that are possible: about a moment.
type cell struct {
	opening
	weight float64 // logarithm of how likely it is beforehand
	fit    *fit
	log    float64 // with the readings
}

// tempered is the logarithm of how likely a cell is where the readings count for less
// than they would if nothing but their noise parted them from a path. What a path does
// not know (a tumble, a vent that lags, a nose that swings by) errs alike in readings
// that follow each other, and the shape that is taken for the nose's pulse alone moves
// the evidence by some units.
func (c *cell) tempered() float64 { return c.weight + (c.log-c.weight)/oversure }

// oversure is by how much the evidence of the readings is too sure of itself (over
// drawn flights: with less, intervals hold the truth too seldom in the rough world;
// with more, too often in the nominal one).
const oversure = 3.0

// widened is the standard deviation in s of the release in a cell, where the fit says sd:
// the readings count for less in that, too.
func (c *cell) widened(sd float64) float64 {
	cell := 1 / sq(c.sd)
	told := 1/sq(sd) - cell // by the readings
	if !(told > 0) {
		return sd
	}
	return 1 / math.Sqrt(told/oversure+cell)
}

// Releases that are looked at, in s after the apogee; later ones at growing
// distances.
const (
	firstLag, fineTo = -1.75, 1.6
	fineStep         = 0.35
	coarser          = 0.28 // of the time since the apogee
)

// cells divides the time in which a release may have been.
func (a *analysis) cells(fills filling) []cell {
	earliest := a.r.t[0]
	if !math.IsNaN(a.m.liftoff) {
		earliest = a.m.liftoff + 0.25*(a.m.apogee-a.m.liftoff)
	}
	latest := orElse(a.m.touchdown, a.r.t[len(a.r.t)-1]) - 0.5
	if !math.IsNaN(a.m.release) {
		latest = min(latest, a.m.release+1.5)
	}
	var out []cell
	other := 0.0 // logarithm of how likely it is that the pulse is not of this release
	if at := a.nose + noseOut; !math.IsNaN(at) && at > earliest && at < latest {
		other = math.Log(noseWrong / (noseTo - noseFrom))
		c := cell{opening: opening{at: at, sd: noseOutSD, fills: fills}}
		c.weight = math.Log((1 - noseWrong) * releaseDensity(at-a.m.apogee) * fillingPart[fills])
		out = append(out, c)
	}
	for lag := firstLag; ; {
		step := fineStep
		if lag > fineTo {
			step = coarser * lag
		}
		at := a.m.apogee + lag
		if at > latest && lag > 0 {
			break
		}
		if sd := scanPart * step; at-anchorBefore*sd > earliest {
			c := cell{opening: opening{at: at, sd: sd, fills: fills}}
			c.weight = other + math.Log(releaseDensity(lag)*step*fillingPart[fills])
			out = append(out, c)
		}
		lag += step
	}
	return out
}

// inferRelease finds a release that the board did not tell. It is a change of drag:
// the path is fitted with the moment, both drags and the filling free, for each way
// of filling and from each of the moments at which it may have been; what they make
// of the readings together says when it was. The live tracker sees the release in
// the sink rate, where a parachute that opens near the apogee shows only once the
// rocket has gathered speed.
func (a *analysis) inferRelease(upper float64) {
	upper = max(upper, a.m.apogee-scanS)
	a.findNose()
	rough, n := a.scanAll(upper, nil)
	braked := false
	if top := likeliest(rough); top != nil {
		braked = a.slowed(top, upper)
	}
	if top := likeliest(rough); braked && top.fit.cost() > misfit*float64(len(top.fit.t)) {
		a.noise.swingsFrom(a.m.apogee, top.fit.path.anchor+top.fit.q[pOpen], a.m.touchdown)
		top.fit.refineNoise(a.r, &a.noise)
		rough, n = a.scanAll(upper, top.fit)
	}
	top := likeliest(rough)
	if top == nil || !braked || !a.slows(top.fit) && top.at > a.m.apogee+tumblesS {
		a.m.release = math.NaN()
		return
	}
	a.noise.swingsFrom(a.m.apogee, top.fit.path.anchor+top.fit.q[pOpen], a.m.touchdown)
	top.fit.refineNoise(a.r, &a.noise)
	a.m.release, a.m.releaseSD, a.m.second = top.at, top.sd, top.second
	if a.judgePort(upper, math.Inf(1)); a.portSD > 3*portSD {
		rough, n = a.scanAll(upper, top.fit) // what was unlikely may not be now
		if top = likeliest(rough); top == nil {
			a.m.release, a.m.second = math.NaN(), stage{}
			return
		}
		a.m.release, a.m.releaseSD, a.m.second = top.at, top.sd, top.second
	}
	if a.m.second.ok {
		// The filling of the first, at low speed, shows even less than usual.
		a.believe(a.scan(rough[n:], upper, top.fit))
		return
	}
	var all []cell
	for k := range fillings {
		var kept []cell
		for _, c := range rough[:n] {
			if c.fit == nil || c.log < top.log-hopeless {
				continue
			}
			c.fills, c.fit = k, nil
			c.weight += math.Log(fillingPart[k] / fillingPart[withAir])
			kept = append(kept, c)
		}
		all = append(all, a.scan(kept, upper, top.fit)...)
	}
	a.believe(all)
}

// How long before the apogee the readings begin to count for the release, s; and the
// mean square of the whitened residuals above which the noise is not understood yet.
const scanS, misfit = 3.0, 2.0

// tumblesS is how long after the apogee a rocket may begin to tumble; what seems to
// slow a fall later, but not to a parachute's sink, is its end.
const tumblesS = 1.0

// scanAll looks at all moments of a release of one stage, and after the first n cells
// at those of a descent of two, if the sink changes so.
func (a *analysis) scanAll(upper float64, from *fit) (cells []cell, n int) {
	cells = a.scan(a.cells(withAir), upper, from)
	n = len(cells)
	if s := a.r.findStage(a.m.apogee+2, orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])-0.3); s.ok {
		cells = append(cells, a.scan(a.stagesOf(s), upper, from)...)
	}
	return cells, n
}

// slowed says whether the readings ask for something that slows the fall at all: a
// path without explains them worse by more than a further four parameters do by
// chance.
func (a *analysis) slowed(c *cell, upper float64) bool {
	was := a.m.release
	a.m.release = math.NaN()
	pr := a.problem(upper, math.Inf(1), opening{at: math.NaN()})
	a.m.release = was
	f, err := pr.solve()
	return err != nil || c.fit.cost() < f.cost()-noCanopyCost
}

// noCanopyCost is the squares of the residuals that a parachute must save.
const noCanopyCost = 15

// scan fits each cell.
func (a *analysis) scan(cells []cell, upper float64, from *fit) []cell {
	for i := range cells {
		c := &cells[i]
		c.log = math.Inf(-1)
		pr := a.problem(upper, math.Inf(1), c.opening)
		if from != nil && from.path.stages == pr.path.stages {
			pr.begin, pr.warm = pr.carryOver(from), 2
			pr.begin[pOpen] = pr.prior[pOpen].mean
			pr.begin[pFill] = pr.prior[pFill].mean
		}
		f, err := pr.solve()
		if err != nil {
			continue
		}
		if ta, _ := f.path.apex(&f.q); !(math.Abs(ta-a.m.apogee) < mostMovedS) {
			continue // the path of something else
		}
		c.fit, c.log = &f, c.weight+f.evidence(&pr)
	}
	return cells
}

func likeliest(cells []cell) *cell {
	var best *cell
	for i := range cells {
		if c := &cells[i]; c.fit != nil && !math.IsNaN(c.log) && (best == nil || c.log > best.log) {
			best = c
		}
	}
	return best
}

// believe weighs the cells against each other.
func (a *analysis) believe(cells []cell) {
	var best *cell
	for i := range cells {
		if c := &cells[i]; c.fit != nil && !math.IsNaN(c.log) && (best == nil || c.tempered() > best.tempered()) {
			best = c
		}
	}
	if best == nil {
		a.m.release, a.m.second = math.NaN(), stage{}
		return
	}
	b := &a.belief
	total := 0.0
	open := math.Hypot(outSD, badVentLagS*a.badVent())
	for i := range cells {
		c := &cells[i]
		if c.fit == nil || !(c.tempered() > best.tempered()-negligible) {
			continue
		}
		f := c.fit
		ta, ha := f.path.apex(&f.q)
		at := f.path.anchor + f.q[pOpen]
		sd := c.widened(f.sd(func(q *params) float64 { t, _ := f.path.apex(q); return f.path.anchor + q[pOpen] - t }))
		p := math.Exp(c.tempered() - best.tempered())
		b.chances = append(b.chances, chance{lag: at - ta, sd: math.Hypot(sd, open), p: p, fills: c.fills, at: at, ta: ta, ha: ha})
		total += p
	}
	var byFilling [fillings]float64
	var at, ta, ha float64
	for i := range b.chances {
		c := &b.chances[i]
		c.p /= total
		b.lag += c.p * c.lag
		at += c.p * c.at
		ta += c.p * c.ta
		ha += c.p * c.ha
		byFilling[c.fills] += c.p
	}
	var lagV, atV, taV, haV float64
	for _, c := range b.chances {
		lagV += c.p * (sq(c.lag-b.lag) + sq(c.sd))
		atV += c.p * (sq(c.at-at) + sq(c.sd))
		taV += c.p * sq(c.ta-ta)
		haV += c.p * sq(c.ha-ha)
	}
	b.ok, b.sd, b.topS, b.topM = true, math.Sqrt(lagV), math.Sqrt(taV), math.Sqrt(haV)
	for k := range fillings {
		if byFilling[k] > byFilling[b.fills] {
			b.fills = k
		}
	}
	a.fills = b.fills
	a.m.release, a.m.releaseSD = at, max(math.Sqrt(atV), 0.02)
}
