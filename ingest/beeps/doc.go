// Package beeps hears a board's sounder: from sound it makes strips, one for each
// steady tone, that say hundred times a second how far the tone stood out of the
// noise. It imports nothing of ours and decides nothing: what the beeps mean is
// for decode/beeps.
//
//	PCM, WAV -> Samples -> fewer samples -> spectrum rows -> tones found -> Strip
//
// Three words. A row is the power at each frequency, 100 times a second. A tone is
// a frequency that stands out of its neighbours over some seconds. A strip is one
// tone's course, by amplitude and phase, with the noise around it: 18 kB for a minute,
// which is what a link's frame holds and what can be read again later, in another code.
package beeps
