package decode

// Rejected is the record that a frame gave no sample: which frame, and why.
// (Session, Link, N) is its natural key; it names the frame.
type Rejected struct {
	Session string `json:"session"`
	Link    string `json:"link"`
	N       uint64 `json:"n"`
	Reject  Reject `json:"reject"`
}
