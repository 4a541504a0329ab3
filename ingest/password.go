package ingest

import (
	"fmt"
	"os"
	"runtime"
	"strings"
)

// CheckSecret refuses a file with a secret that everybody on the computer may read, or
// the group change; key is what names it in the configuration. Whoever mounts
// /run/credentials (systemd) and /run/secrets (containers) keeps others out by the
// folder.
func CheckSecret(key, path string) error {
	st, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("read %s: %w", key, err)
	}
	if strings.HasPrefix(path, "/run/credentials/") || strings.HasPrefix(path, "/run/secrets/") {
		return nil
	}
	if runtime.GOOS != "windows" && st.Mode().Perm()&0o027 != 0 && st.Mode().IsRegular() {
		return fmt.Errorf("read %s: others on this computer may read or change %s: chmod o=,g-w %s", key, path, path)
	}
	return nil
}

// ReadSecret reads a file that holds one line with a secret, and nothing else.
func ReadSecret(key, path string) (string, error) {
	if err := CheckSecret(key, path); err != nil {
		return "", err
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read %s: %w", key, err)
	}
	word := strings.TrimSpace(string(text))
	if word == "" || len(word) > 1024 || strings.ContainsRune(word, '\n') {
		return "", fmt.Errorf("read %s: %s does not hold one line with a password", key, path)
	}
	return word, nil
}

// ReadPassword reads a password_file.
func ReadPassword(path string) (string, error) { return ReadSecret("password_file", path) }
