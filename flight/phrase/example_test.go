package phrase_test

import (
	"fmt"

	"padlark/flight/phrase"
)

// One phrase, written for three readers.
func ExampleReader_Write() {
	sd := 0.12
	p := phrase.Of("hard-landing", phrase.PlusMinus("sink", 9.144, &sd, "m/s"))
	fmt.Println(phrase.Reader{}.Write(p, ""))
	fmt.Println(phrase.Reader{Feet: true}.Write(p, ""))
	fmt.Println(phrase.Reader{Language: phrase.German}.Write(p, ""))
	// Output:
	// it sank at 9.1 ± 0.1 m/s, which is a hard landing
	// it sank at 30.0 ± 0.4 ft/s, which is a hard landing
	// sie sank mit 9,1 ± 0,1 m/s, das ist eine harte Landung
}
