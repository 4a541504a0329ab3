package deploy

import (
	"testing"

	natsserver "github.com/nats-io/nats-server/v2/server"
)

// TestBusToken: the bus reads its token as if it stood in its configuration
// without quotes. One that begins with a letter is text whatever follows, which
// is why setup makes no others; of the rest some are refused.
func TestBusToken(t *testing.T) {
	for token, good := range map[string]bool{
		"pM5cCsgDRQ-Dth_BMyrL0b5qvUA0Movk": true, "p5357123456789012345678901234567": true, "p-_cCsgDRQ-Dth_BMyrL0b5qvUA0Movk": true,
		"-cCsgDRQ-Dth_BMyrL0b5qvUA0Movkgx": false, "53571234567890123456789012345678": false, "2026-10-05Dth_BMyrL0b5qvUA0Movkgx": false,
	} {
		t.Setenv("NATS_TOKEN", token)
		o, err := natsserver.ProcessConfigFile("nats.conf")
		if read := err == nil && o.Authorization == token; read != good {
			t.Errorf("token %s is read: %v, %v", token, read, err)
		}
	}
}
