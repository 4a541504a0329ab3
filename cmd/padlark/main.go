package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"
)

func main() {
	ctx, cancel := context.WithCancel(context.Background())
	stop := onSignal(cancel)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// onSignal ends the context at Ctrl-C and at SIGTERM. A second signal ends the process as the system does. SIGHUP,
// which a remote shell sends when it is cut off, ends nothing; a station takes it as hangups says.
func onSignal(cancel context.CancelFunc) (stop func()) {
	signal.Ignore(syscall.SIGHUP)
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		select {
		case <-signals:
			signal.Stop(signals)
			cancel()
		case <-quit:
		}
	}()
	return func() {
		signal.Stop(signals)
		close(quit)
		<-done
		cancel()
	}
}

// hangups are the SIGHUPs until stop, which leaves them ignored again.
func hangups() (c <-chan os.Signal, stop func()) {
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, syscall.SIGHUP)
	return signals, func() {
		signal.Stop(signals)
		signal.Ignore(syscall.SIGHUP)
	}
}

// Exit statuses: the work is done, the work failed or its verdict is bad, the
// command line or the configuration is wrong.
const (
	exitOK    = 0
	exitBad   = 1
	exitUsage = 2
)

// cmdIO is where a command reads and writes. Results go to Out and nothing
// else does; progress and errors go to Err.
type cmdIO struct {
	In  io.Reader
	Out io.Writer
	Err io.Writer
}

// usageError marks an error as wrong use: exit status 2.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }
func (usageError) WrongUse()       {}

// usagef makes a usageError.
func usagef(format string, args ...any) error {
	return usageError{fmt.Errorf(format, args...)}
}

// errBadVerdict is returned by a command that has already printed everything
// there is to say and whose verdict is bad: exit status 1, nothing more on Err.
var errBadVerdict = errors.New("the verdict is bad")

// command is what every subcommand's struct does when it is chosen.
type command interface {
	Run(ctx context.Context, io *cmdIO) error
}

// helpAsked unwinds kong after it has printed a help text: kong leaves through
// its Exit hook, and a test must be able to come back from there.
type helpAsked int

// run is the whole program; nothing else exits the process.
func run(ctx context.Context, args []string, in io.Reader, out, errw io.Writer) int {
	sel, code, err := parse(args, out, errw)
	if err != nil {
		fmt.Fprintf(errw, "padlark: %v\n", err)
		fmt.Fprintln(errw, "padlark --help lists the commands, padlark COMMAND --help shows an example.")
		return exitUsage
	}
	if sel == nil {
		return code
	}
	out, errw = newPlainText(out), newPlainText(errw)
	err = sel.Run(ctx, &cmdIO{In: in, Out: out, Err: errw})
	// Of the packages that do the work too: what asking otherwise mends.
	var usage interface{ WrongUse() }
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, errBadVerdict):
		return exitBad
	case errors.As(err, &usage):
		fmt.Fprintf(errw, "padlark: %v\n", err)
		return exitUsage
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		fmt.Fprintf(errw, "padlark: %s\n", strings.ReplaceAll(err.Error(), context.Canceled.Error(), "stopped, as asked"))
		return exitBad
	default:
		fmt.Fprintf(errw, "padlark: %v\n", err)
		return exitBad
	}
}

// parse reads the command line and returns the chosen command, or nil and an
// exit status when a help text was all that was asked for.
func parse(args []string, out, errw io.Writer) (sel command, code int, err error) {
	defer func() {
		if r := recover(); r != nil {
			asked, ok := r.(helpAsked)
			if !ok {
				panic(r)
			}
			sel, code, err = nil, int(asked), nil
		}
	}()
	k, err := commandLine(out, errw)
	if err != nil {
		return nil, exitUsage, err
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	kctx, err := k.Parse(args)
	if err != nil {
		return nil, exitUsage, err
	}
	sel, ok := kctx.Selected().Target.Addr().Interface().(command)
	if !ok {
		return nil, exitUsage, fmt.Errorf("command %s has nothing to run", kctx.Command())
	}
	return sel, exitOK, nil
}

// commandLine is the description of all commands.
func commandLine(out, errw io.Writer) (*kong.Kong, error) {
	k, err := kong.New(&commands{},
		kong.Name("padlark"),
		kong.Description("An offline ground station for water rockets and other small hobby rockets: "+
			"hears every rocket at once, says what each is doing, warns in time, keeps every frame."),
		kong.Writers(out, errw),
		kong.Exit(func(code int) { panic(helpAsked(code)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 80}),
	)
	if err != nil {
		return nil, fmt.Errorf("build the command line: %w", err)
	}
	return k, nil
}
