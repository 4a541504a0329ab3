package station

import (
	"padlark/cmd/padlark/config"
	"padlark/decode"
)

// following is a decoder of a journal, which takes over the configurations that the
// session has come to.
type following struct {
	*decode.Decoder
	cfg   *config.Config // the newest so far
	parse func(name string, data []byte) (*config.Config, error)
}

// newFollowing makes one that begins with the configuration of the journal's start.
func newFollowing(cfg *config.Config, parse func(name string, data []byte) (*config.Config, error)) (*following, error) {
	d, err := cfg.NewDecoder()
	return &following{d, cfg, parse}, err
}

// Reconfigure goes on with another configuration, whose text is in the journal.
func (f *following) Reconfigure(text string) (err error) {
	if f.cfg, err = f.parse("configuration in the journal", []byte(text)); err != nil {
		return err
	}
	return f.Decoder.Reconfigure(f.cfg.Decoder())
}
