package alarm

// Supply is what is known of one kind of battery, in V for the whole pack.
type Supply struct {
	Name  string
	Cells float64 // in series
	// FullV is a freshly charged pack, LowV the resting voltage below which
	// nobody should fly, CutoffV where discharging must stop.
	FullV, LowV, CutoffV float64
}

// SupplyNamed finds a supply by its name in the configuration; ok is false for
// one that is not known.
func SupplyNamed(name string) (s Supply, ok bool) {
	k := supplyOf(name)
	return Supply{k.name, k.cells, k.full, k.low, k.cutoff}, k.known()
}

// Supplies are the names of the cells that padlark knows.
func Supplies() (names []string) {
	for _, s := range supplies {
		names = append(names, s.name)
	}
	return names
}
