package tune

import "math/rand/v2"

func newNoise(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0x7A11)) }
