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
// A varint is a uvarint of the number zigzag-coded: 0, -1, 1, -2, … are 0, 1, 2, 3, …
//
// Columns of whole numbers, those in brackets may refer to (one of form 4):
//
//	frames:  0 number on the link, 1 heard (ns since the epoch), 2 passed (1), 3 place
//	         in the journal (0), 4 correction of heard, 5 bytes on the wire (8), 6 baud,
//	         8 length of the frame
//	samples: 0 number of the frame, 10 boot, 11 seq (0), 12 clock (us), 13 measured
//	         (ns since the epoch), 1 heard (13), 2 passed (1)
//	form u8, then varints: 0 the one number of all rows; 1 the first and the step;
//	         2 the first and differences; 3 the first and differences of differences;
//	         4 each less the row's number in the other column
//
// Columns of values: 7 signal strength (dBm); from 32 on the channels in the order of
// ids in view.go; 255 any other channel:
//
//	gaps  u8   1 = some rows have none: a bitmap follows, bit i%8 of byte i/8 set where
//	           row i has one; only those follow
//	form  u8   0 doubles, all lowest bytes first, then all second, …; 1 one double for
//	           all; 2 u8 k, then a column of whole numbers, each over 10^k; 3 the same,
//	           each times 10^-k; 4 as 0 in single precision
//
// Column 9, the frames' bytes: form u8: 0 one frame after another; 1 all first bytes,
// each less that of the frame before, then all second, …
//
// read.py is this in Python, to the end. Since the directory stands in front, one
// channel is read without unpacking the others.
//
// Every value comes back bit for bit: NaN, infinities and -0 as well. A block
// whose sum does not fit is refused as a whole (ErrDamaged). The sum finds
// damage, not malice, so the lengths are checked besides: no block makes the
// decoder take more memory than rows and MaxBytes allow.
package block
