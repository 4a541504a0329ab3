package ingest

import (
	"fmt"
	"os"
	"strings"
)

// ReadPassword reads a password_file, which holds nothing else.
func ReadPassword(path string) (string, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read password_file: %w", err)
	}
	word := strings.TrimSpace(string(text))
	if word == "" || len(word) > 1024 || strings.ContainsRune(word, '\n') {
		return "", fmt.Errorf("read password_file: %s does not hold one line with a password", path)
	}
	return word, nil
}
