package decode

import (
	"padlark/decode/beeps"
	"padlark/ingest"
)

// The forms that a frame can have.
const (
	Delimited   = "delimited"   // a line of text with fields between separators
	Binary      = "binary"      // numbers at fixed places
	NMEA        = "nmea"        // a sentence of NMEA 0183
	AX25        = "ax25"        // a frame of AX.25, with another layout inside
	SpacePacket = "spacepacket" // a space packet of CCSDS 133.0-B, with another layout inside
	JSON        = "json"        // an object of JSON, fields by path
	CBOR        = "cbor"        // a map of CBOR (RFC 8949), fields by path
	MessagePack = "messagepack" // a map of MessagePack, fields by path
	APRS        = "aprs"        // a report of APRS 1.0.1
	Kinds       = "kinds"       // one of several layouts, whichever a frame fits
	Beeps       = "beeps"       // the tone of a sounder, which beeps a height out
)

// Layout says how one kind of frame is laid out. It is plain data, written in
// the configuration; Compile checks it.
type Layout struct {
	// Name is what links call the layout by.
	Name string `toml:"name"`
	// Framing is how the bytes of the link are cut into frames: a word such as
	// "line", or a table.
	Framing ingest.Framing `toml:"framing"`
	// Form is delimited, binary, nmea, json, cbor, messagepack, aprs, ax25,
	// spacepacket, beeps, or kinds: one of several layouts, whichever a frame fits.
	Form string `toml:"form"`

	// Checksum is a catalogue name, or a table; see Checksum. Empty means none
	// (nmea: its own).
	Checksum Checksum `toml:"checksum"`

	// Prefix is what a delimited line starts with; it is not part of the first
	// field. Lines that start otherwise are not ours.
	Prefix string `toml:"prefix"`
	// Separator stands between the fields of a delimited line; a comma if not
	// given. "space" is any run of spaces and tabs; "none" is a line whose fields
	// stand at fixed places (At and Size of each, in characters). There is no
	// quoting, but quotes around a column's value or name are taken off.
	Separator string `toml:"separator"`
	// Pairs stands between name and value in lines such as "p=1013.2 t=21.5": a
	// field's column is its name then, and the order does not matter.
	Pairs string `toml:"pairs"`
	// Decimal is "," where numbers have a comma for a point.
	Decimal string `toml:"decimal"`
	// Header is the line that names the columns, as the board writes it. Without
	// it, columns that have names are found once the board has sent that line.
	Header string `toml:"header"`

	// More says that further fields may follow those listed, in text forms.
	More bool `toml:"more"`

	// Endian is "little" (default) or "big", for binary.
	Endian string `toml:"endian"`
	// Length is the length of a binary frame in bytes, the checksum included;
	// 0 means just what the fields and the checksum need.
	Length int `toml:"length"`

	// Address is the whole of what stands between "$" and the first comma of
	// an nmea sentence, as "PLRK"; or Sentence (as "GGA") alone, from any
	// talker, or from the one talker in Talker (as "GP").
	Address  string `toml:"address"`
	Sentence string `toml:"sentence"`
	Talker   string `toml:"talker"`

	// Sources says which callsigns of ax25 (as "N0CALL-11") are ours, and the
	// rocket id of each. Destination, if given, must match too.
	Sources     map[string]uint32 `toml:"sources"`
	Destination string            `toml:"destination"`

	// APID says which application process identifiers of a spacepacket are
	// ours. RocketFrom "apid" makes the identifier the rocket id.
	APID       []int  `toml:"apid"`
	RocketFrom string `toml:"rocket_from"`
	// SecondaryHeader is how many bytes of a spacepacket's data field to pass
	// over before the inner layout.
	SecondaryHeader int `toml:"secondary_header"`

	// Inner names the layout of what the frame carries: an ax25 or spacepacket
	// frame behind its header, a text or document in the field that has Frame.
	Inner string `toml:"inner"`

	// Kinds names the layouts of a board that sends several kinds of frame, told
	// apart by what only, length, prefix, address or apid say. They share the
	// board's boot, sequence and clock. The first that knows a frame decodes it.
	Kinds []string `toml:"kinds"`
	// SeqOf names the one of the kinds whose numbers count the board's frames,
	// where each kind counts its own. Without it all kinds count together.
	SeqOf string `toml:"seq_of"`

	// Series says how several readings stand in one frame; nil if it has one.
	Series *Series `toml:"series"`

	// Rocket is the id of the only rocket that sends this layout. Without it
	// the id comes from the field "rocket", or the link says whose it is.
	Rocket *uint32 `toml:"rocket"`

	// Barometer turns raw counts into pressure_pa and temperature_c.
	Barometer *Barometer `toml:"barometer"`

	Fields []Field `toml:"fields"`

	// Beeps says how a sounder beeps the height, for the form beeps.
	Beeps *beeps.Code `toml:"beeps"`

	// Dump says how a board hands over its own log through a serial port; nil
	// if it does not. It means nothing to decoding.
	Dump *Dump `toml:"dump"`
}

// The field names that are not channels.
const (
	FieldRocket = "rocket" // the rocket's id
	FieldBoot   = "boot"   // how often the board has started
	FieldSeq    = "seq"    // the frame number
	FieldClock  = "clock"  // device time since boot
)

// Field is one field of a layout. Its value is computed in this order: raw
// value, missing marker, poly or scale and offset, unit to SI, range.
type Field struct {
	// Name is rocket, boot, seq, clock, or that of a channel; the end of a
	// channel's name says its unit (see design: pressure_pa, cell_v).
	Name string `toml:"name"`
	// Unit is what the frame has the value in; empty means the channel's own.
	Unit string `toml:"unit"`

	// Column says which column of a delimited line the field is: a number from 1
	// on, a name in the header, or a name of pairs; several names in a list mean
	// the first that is there. Columns that no field names are left alone. Of an
	// aprs report it is latitude, longitude (deg), altitude (m), course (deg),
	// speed (m/s), time (s of the day), comment, or of telemetry sequence, a1 to
	// a5, b1 to b8, or the name that the station gives the value itself.
	Column any `toml:"column"`
	// Path says where the value is in a json, cbor or messagepack message, as a
	// JSON Pointer (RFC 6901) such as "/sensor/0/p"; several in a list mean the
	// first that is there.
	Path any `toml:"path"`
	// Frame says that the field holds a whole frame of the layout's inner: "hex",
	// "base64", or "text" or "bytes" where it stands as it is.
	Frame string `toml:"frame"`

	// Type is, for binary: u8 u16 u24 u32 u64, i8 i16 i24 i32 i64, f32, f64,
	// skip, or a time code: cuc4.2 (bytes of seconds, and of their fraction) or
	// cds, cds-us, cds24 and the like. For text it is empty, or "hex" for digits
	// in base 16.
	Type string `toml:"type"`
	// Size is how many bytes a skip passes over, 1 if not given; how many
	// characters a field of a line with fixed places has.
	Size int `toml:"size"`
	// At is the offset of a binary field from the start of the frame, or of a
	// field with a fixed place from the start of the line. Without it the field
	// follows the one before.
	At *int `toml:"at"`
	// Overlay makes the field read the same bytes as the one before it.
	Overlay bool `toml:"overlay"`
	// Endian overrides the layout's.
	Endian string `toml:"endian"`
	// Bit and Bits take Bits bits from bit Bit of the integer, bit 0 the
	// lowest. A signed type makes the piece signed.
	Bit  int `toml:"bit"`
	Bits int `toml:"bits"`

	// Scale and Offset calibrate the raw value: raw*scale + offset. Poly does
	// it by a polynomial instead, the constant first.
	Scale  float64   `toml:"scale"`
	Offset float64   `toml:"offset"`
	Poly   []float64 `toml:"poly"`

	// Missing is a raw value, or a list of them, that means "not measured":
	// numbers, or words in text forms. In text an empty field and "nan" always
	// mean that.
	Missing any `toml:"missing"`
	// Words are words that stand for numbers in text forms, as {A = 1, V = 0}.
	Words map[string]float64 `toml:"words"`
	// Only is a raw value, or a list of them: a frame with any other is not ours.
	Only any `toml:"only"`
	// Min and Max bound the value in the channel's own unit, that of a clock in
	// s. A value outside makes the frame corrupt, unless the frame has a checksum:
	// then only the value is missing. Outside = "reject" or "missing" overrides
	// that.
	Min     *float64 `toml:"min"`
	Max     *float64 `toml:"max"`
	Outside string   `toml:"outside"`

	// Series says that the field is there once for each of the frame's readings: a
	// list in a document. Delta says that those behind the first are differences to
	// the reading before, of that type (i8, i16 …; any word in a document).
	Series bool   `toml:"series"`
	Delta  string `toml:"delta"`

	// Ignore reads the field and makes no channel of it. In text forms its
	// content does not matter then, unless something else refers to it.
	Ignore bool `toml:"ignore"`

	// WrapAt is the raw value at which seq, clock or boot starts again at 0.
	// Binary integers have one by their width.
	WrapAt float64 `toml:"wrap_at"`

	// Flags makes channels of single bits: name = bit, bit 0 the lowest. A
	// field with flags is no channel itself.
	Flags map[string]int `toml:"flags"`

	// SignOf says that this text field holds N, S, E or W for the named
	// channel: S and W make it negative.
	SignOf string `toml:"sign_of"`

	// Decimals is how many decimals an encoder writes in text forms.
	Decimals int `toml:"decimals"`
}

// Checksum says what protects a frame. In the configuration it may be just
// the name.
type Checksum struct {
	// Kind is a name of ChecksumNames, or SealKind.
	Kind string `toml:"kind"`
	// KeyFile names the file with the key of SealKind, in 32 hex digits; Key is
	// what was read from it. Without a key no frame is taken.
	KeyFile string `toml:"key_file" json:"key_file,omitempty"`
	Key     []byte `toml:"-" json:"-"`
	// Mark is for text forms: the checksum stands in hex digits after Mark
	// ("*" if not given) at the end of the line. It is so by default in text
	// forms and cannot be in binary ones.
	Mark string `toml:"mark"`
	// At is the checksum's offset in bytes, negative from the end; without it
	// it is the end of the frame. For binary, ax25, spacepacket.
	At *int `toml:"at"`
	// From is the first byte covered and To one past the last; To 0 means up
	// to the checksum, a negative To counts from the end.
	From int `toml:"from"`
	To   int `toml:"to"`
	// Endian is the byte order of the checksum, by default the layout's.
	Endian string `toml:"endian"`
}

// UnmarshalText lets a configuration write the name alone.
func (c *Checksum) UnmarshalText(text []byte) error {
	*c = Checksum{Kind: string(text)}
	return nil
}

// Barometer says how raw counts become pressure and temperature.
type Barometer struct {
	// Sensor is bmp085, bmp180, bmp280, bme280, bmp388, bmp390, ms5611, ms5607,
	// dps310, spl06, lps22 or lps25.
	Sensor string `toml:"sensor"`
	// Pressure and Temperature name the fields with the raw counts.
	Pressure    string `toml:"pressure"`
	Temperature string `toml:"temperature"`
	// Oversampling is the bmp085's and bmp180's oss, 0 to 3, with which the
	// board measures, or the dps310's and spl06's rate of the pressure, 1 to 128;
	// OversamplingT is their rate of the temperature.
	Oversampling  int `toml:"oversampling"`
	OversamplingT int `toml:"oversampling_temperature"`
	// Words are the calibration words by their datasheet name (AC1, T1, C1…),
	// of every board that Boards does not list.
	Words map[string]int64 `toml:"words"`
	// PROM is the ms56xx's eight words of memory instead; its CRC is checked.
	PROM []uint16 `toml:"prom"`
	// Boards has the words of single boards, by rocket id.
	Boards []BoardWords `toml:"boards"`
}

// BoardWords are the calibration words of one board.
type BoardWords struct {
	// Rocket is the id of the board, Words and PROM are its own, as above.
	Rocket uint32           `toml:"rocket"`
	Words  map[string]int64 `toml:"words"`
	PROM   []uint16         `toml:"prom"`
}
