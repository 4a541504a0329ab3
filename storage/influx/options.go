package influx

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/rs/zerolog"
)

// Options say which server gets the copy and how patient to be with it.
type Options struct {
	// URL of the server, such as http://127.0.0.1:8086. Org may be empty for
	// servers that have none.
	URL, Org, Bucket string
	// Token authorises the writing; empty sends none. For InfluxDB 1.8 it is
	// "user:password".
	Token string
	// Station is the tag of that name.
	Station string
	// Dir is the folder for what has to outlive the program: which sessions are
	// complete on the server, and the lines that were set aside.
	Dir string

	// Timeout bounds one request (30 s if zero).
	Timeout time.Duration
	// RetryMin and RetryMax bound the pause after a failure (0.5 s and 30 s).
	RetryMin, RetryMax time.Duration
	// AlarmAfter is how long the server may be away before the alarm is raised
	// (30 s). A refused token or a missing bucket raises it at once.
	AlarmAfter time.Duration
	// CloseTime bounds how long Run goes on after its context has ended, to send
	// what is left (20 s). What is not sent then is sent at the next start.
	CloseTime time.Duration

	// gather is how long samples are gathered for one request (gatherTime).
	gather time.Duration
	// Now is the session's clock, for alarms (time.Now if nil).
	Now func() time.Time
	Log zerolog.Logger
}

func (o *Options) setDefaults() {
	def := func(p *time.Duration, v time.Duration) {
		if *p == 0 {
			*p = v
		}
	}
	def(&o.Timeout, 30*time.Second)
	def(&o.RetryMin, 500*time.Millisecond)
	def(&o.RetryMax, 30*time.Second)
	def(&o.AlarmAfter, 30*time.Second)
	def(&o.CloseTime, 20*time.Second)
	def(&o.gather, gatherTime)
	if o.Now == nil {
		o.Now = time.Now
	}
}

func (o Options) validate() error {
	u, err := url.Parse(o.URL)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https":
		// The address is not repeated: it may hold a password.
		return errors.New("storage.influx.url is not an address like http://127.0.0.1:8086")
	case u.User != nil:
		return errors.New("storage.influx.url holds a user or password; put \"user:password\" into token_file instead")
	case o.Bucket == "":
		return errors.New("storage.influx.bucket is missing")
	case o.Dir == "":
		return errors.New("no folder for the copy's own notes")
	}
	return nil
}

// ReadToken reads the token from a file or an environment variable; an empty
// name means that there is none. Errors name the place and never its content.
func ReadToken(file, env string) (string, error) {
	token := ""
	switch {
	case file != "":
		data, err := os.ReadFile(file)
		if err != nil {
			return "", fmt.Errorf("read storage.influx.token_file: %w", err)
		}
		token = strings.TrimSpace(string(data))
		if token == "" {
			return "", fmt.Errorf("read storage.influx.token_file: %s is empty", file)
		}
	case env != "":
		token = strings.TrimSpace(os.Getenv(env))
		if token == "" {
			return "", fmt.Errorf("read storage.influx.token_env: the environment has no %s", env)
		}
	}
	for _, c := range token {
		if c <= ' ' || c > '~' {
			return "", errors.New("read the token of storage.influx: it holds a blank or a character that no token has; it must be the only thing in its place")
		}
	}
	return token, nil
}
