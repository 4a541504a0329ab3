package web

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Argon2id as RFC 9106, section 4, recommends second (for machines with little
// memory): three passes over 64 MiB in four lanes, a 128-bit salt, a 256-bit tag.
const (
	argonPasses = 3
	argonKiB    = 64 * 1024
	argonLanes  = 4
	argonSalt   = 16
	argonTag    = 32
)

// minPassphrase is the shortest passphrase accepted, in characters.
const minPassphrase = 8

// HashPassphrase makes the line that goes into the configuration.
func HashPassphrase(passphrase string) (string, error) {
	if n := len([]rune(passphrase)); n < minPassphrase {
		return "", fmt.Errorf("hash passphrase: it has %d characters, use %d or more", n, minPassphrase)
	}
	salt := make([]byte, argonSalt)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("make salt: %w", err)
	}
	h := passHash{argonKiB, argonPasses, argonLanes, salt, make([]byte, argonTag)}
	h.tag = hashTag(h, passphrase)
	return h.String(), nil
}

// passHash is a hash in the form that the reference implementation of Argon2
// prints: $argon2id$v=19$m=KiB,t=passes,p=lanes$salt$tag, base64 without padding.
type passHash struct {
	kib, passes uint32
	lanes       uint8
	salt, tag   []byte
}

func (h passHash) String() string {
	e := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.kib, h.passes, h.lanes,
		e.EncodeToString(h.salt), e.EncodeToString(h.tag))
}

// parsePassHash reads a hash and refuses costs that would stall or starve a
// small computer.
func parsePassHash(s string) (passHash, error) {
	var h passHash
	const mend = "make a new one with: padlark passphrase"
	parts := strings.Split(s, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" {
		return h, fmt.Errorf("read passphrase hash: it must look like $argon2id$v=19$m=65536,t=3,p=4$salt$tag; %s", mend)
	}
	var version int
	if n, err := fmt.Sscanf(parts[2], "v=%d", &version); n != 1 || err != nil || version != argon2.Version {
		return h, fmt.Errorf("read passphrase hash: version %q, want v=%d; %s", parts[2], argon2.Version, mend)
	}
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &h.kib, &h.passes, &h.lanes); n != 3 || err != nil {
		return h, fmt.Errorf("read passphrase hash: costs %q, want m=KiB,t=passes,p=lanes; %s", parts[3], mend)
	}
	if h.kib < 8*1024 || h.kib > 512*1024 || h.passes < 1 || h.passes > 16 || h.lanes < 1 || h.lanes > 16 {
		return h, fmt.Errorf("read passphrase hash: costs %q out of range (m 8192 to 524288, t and p 1 to 16); %s", parts[3], mend)
	}
	var err error
	if h.salt, err = base64.RawStdEncoding.DecodeString(parts[4]); err != nil || len(h.salt) < 8 || len(h.salt) > 64 {
		return h, fmt.Errorf("read passphrase hash: the salt is damaged; %s", mend)
	}
	if h.tag, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil || len(h.tag) < 16 || len(h.tag) > 64 {
		return h, fmt.Errorf("read passphrase hash: the tag is damaged; %s", mend)
	}
	return h, nil
}

// matches says whether a passphrase is the hashed one, in a time that does not
// depend on how much of it is right.
func (h passHash) matches(passphrase string) bool {
	return subtle.ConstantTimeCompare(hashTag(h, passphrase), h.tag) == 1
}

// hashTag computes the tag of a passphrase with the salt and costs of h.
func hashTag(h passHash, passphrase string) []byte {
	return argon2.IDKey([]byte(passphrase), h.salt, h.passes, h.kib, h.lanes, uint32(len(h.tag)))
}
