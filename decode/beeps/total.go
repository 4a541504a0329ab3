package beeps

import "math"

// How likely a number is, over all ways in which its beeps may lie (the forward
// algorithm of a semi-Markov model, common practice, no source). It is summed in
// factors beside the course of a good path, as exponents would leave what a float64
// holds, and logarithms take ten times as long.

// follow sets the course by a path of the graph, in rows.
func (s *spans) follow(g []node, path []visit) {
	s.course = make([]float64, s.steps+1)
	gathered, t := 0.0, 0
	for _, v := range path {
		k, to := g[v.node].kind, min(v.to/s.by, s.steps)
		length, more := to-t, 0.0
		switch i := length - s.least[k]; {
		case k == pause:
			more = -openCost
		case i >= 0 && i < len(s.log[k]):
			more = s.log[k][i]
		default:
			more = -openCost
		}
		if k.on() {
			more += s.tone(t, to)
		}
		for i := 1; i <= length; i++ {
			s.course[t+i] = gathered + more*float64(i)/float64(length)
		}
		if length > 0 {
			gathered, t = gathered+more, to
		}
	}
	for ; t <= s.steps; t++ {
		s.course[t] = gathered
	}
}

// factors fills in what each length of a kind is worth from each step on.
func (s *spans) factors(k kind) []float64 {
	if s.factor[k] != nil {
		return s.factor[k]
	}
	logs := s.log[k]
	n := len(logs)
	out := make([]float64, (s.steps+1)*n)
	if k.on() {
		s.listen(k)
	}
	for t := range s.steps + 1 {
		if k.on() {
			logs = s.on[k][t*n : (t+1)*n]
		}
		room := max(0, min(n, s.steps-t-s.least[k]+1))
		for i, x := range logs[:room] {
			if x -= s.course[t+s.least[k]+i] - s.course[t]; x > -beam {
				out[t*n+i] = math.Exp(x)
			}
		}
	}
	s.factor[k] = out
	return out
}

// total is the logarithm of all that speaks for a number, which is said again and
// again in these stretches, over silence throughout.
func (w *search) total(stretches []kind, s *spans, partial bool) float64 {
	n, cells := len(stretches), s.steps+1
	w.best = zeros(w.best, (n+1)*cells) // [stretch][step]: ends there; the last is the pause
	row := func(j int) []float64 { return w.best[j*cells : (j+1)*cells] }
	begun := math.Exp(-openCost)
	pauses := row(n)
	pauses[0] = 1
	if partial {
		for j, k := range stretches {
			for d := 1; d <= min(s.steps, s.longest(k)); d++ {
				row(j)[d] += begun * math.Exp(s.sound(k, 0, d)-s.course[d])
			}
		}
	}
	last := s.course[s.steps]
	end, top := math.Exp(-last), 0.0
	for t := range cells {
		fall := 1.0
		if t > 0 {
			fall = math.Exp(s.course[t-1] - s.course[t])
			pauses[t] += fall * pauses[t-1] // a pause that has its least length may go on
		}
		top *= fall
		toEnd := 0.0
		for j := range n + 1 {
			v := w.best[j*cells+t]
			top = max(top, v)
			if v <= top*leastFactor {
				continue
			}
			if j == n-1 { // the number ends: silence, or a pause
				if toEnd == 0 {
					toEnd = math.Exp(s.course[t] - last)
				}
				end += v * toEnd
				if at := t + s.mean[pause]; at < cells {
					pauses[at] += v * begun * math.Exp(s.course[t]-s.course[at])
				}
				continue
			}
			next := (j + 1) % (n + 1)
			k := stretches[next]
			factors := s.factors(k)
			lengths := len(s.log[k])
			room := min(lengths, s.steps-t-s.least[k]+1)
			if room > 0 {
				from, into := factors[t*lengths:t*lengths+room], w.best[next*cells+t+s.least[k]:]
				into = into[:len(from)]
				for i, f := range from {
					into[i] += v * f
				}
			}
			if left := s.steps - t; left < s.longest(k) { // it may be under way when the strip ends
				end += v * begun * math.Exp(s.sound(k, t, s.steps)+s.course[t]-last)
			}
		}
	}
	if math.IsInf(end, 1) || math.IsNaN(end) { // the course is nowhere near this number
		score, _ := w.run(chain(stretches), s, partial)
		return score
	}
	return max(0, math.Log(end)+last)
}

// leastFactor is what is still followed, as a part of the best: e^-beam.
var leastFactor = math.Exp(-beam)

// zeros is a slice of zeros, in the place of another.
func zeros(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	v = v[:n]
	clear(v)
	return v
}
