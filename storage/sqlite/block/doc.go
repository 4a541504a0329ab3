// Package block is the form in which the archive keeps frames and samples: many
// rows at once, column by column. It knows nothing of SQLite and does no I/O:
//
//	Frames or Samples (columns in memory) -> Codec.Encode… -> bytes -> Codec.Decode… or Open
//
// It imports decode for the names of channels; rows are numbers, bytes and names
// here.
//
// # Form
//
//	kind     u8    'F' frames, 'S' samples
//	version  u8    1
//	rows     uvarint
//	columns  uvarint
//	for each column, the directory:
//	  id     u8    one of the ids below; 255 = a channel with a name of its own,
//	               then uvarint length and the name's bytes
//	  packed u8    1 = compressed with Zstandard (RFC 8878)
//	  raw    uvarint  bytes before compression, only if packed
//	  stored uvarint  bytes as they stand here
//	the columns' bytes, one after another
//	crc      u32   little-endian, CRC-32C over all that precedes it
//
// uvarint is base 128, the lowest seven bits first, as in encoding/binary.
//
// A column of whole numbers (see ints.go) and one of channel values (floats.go)
// begin with a byte that tells their form. Since the directory stands in front,
// one channel is read without unpacking the others.
//
// Every value comes back bit for bit: NaN, infinities and -0 as well. A block
// whose sum does not fit is refused as a whole (ErrDamaged). The sum finds
// damage, not malice, so the lengths are checked besides: no block makes the
// decoder take more memory than rows and MaxBytes allow.
package block
