// Package manual makes what belongs to a command line beside its program: manual
// pages and completions for shells. All of it comes from the description of the
// commands that the command line itself is read with, so none of it can be out of
// date. It imports nothing of ours.
package manual

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// Page is one manual page: its file's name, such as padlark-run.1, and its text
// in the man macros of roff (groff_man(7)).
type Page struct{ Name, Text string }

// Pages makes a page for the program and one for each command. version and day
// stand in the margins.
func Pages(app *kong.Application, version string, day time.Time) []Page {
	var pages []Page
	visit(app.Node, func(path []string, n *kong.Node) {
		var b strings.Builder
		name := strings.Join(path, "-")
		fmt.Fprintf(&b, ".TH %s 1 %s \"padlark %s\" \"User commands\"\n", strings.ToUpper(name), day.Format(time.DateOnly), roff(version))
		fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n", roff(name), roff(strings.TrimSuffix(firstLower(n.Help), ".")))
		fmt.Fprintf(&b, ".SH SYNOPSIS\n.B %s\n", roff(strings.Join(path, " ")))
		for _, a := range n.Positional {
			fmt.Fprintf(&b, ".I %s\n", roff(a.Summary()))
		}
		switch {
		case len(n.Children) > 0:
			fmt.Fprint(&b, ".I command\n")
		case len(ownFlags(n)) > 0:
			fmt.Fprint(&b, ".RI [ options ]\n")
		}
		describe(&b, n)
		options(&b, n)
		subcommands(&b, path, n)
		if len(path) == 1 {
			fmt.Fprint(&b, ".SH EXIT STATUS\n0 is done; 1 is work that failed or a verdict that is bad; 2 is wrong use.\n")
		} else {
			fmt.Fprintf(&b, ".SH SEE ALSO\n.BR %s (1)\n", roff(strings.Join(path[:len(path)-1], "-")))
		}
		pages = append(pages, Page{name + ".1", b.String()})
	})
	return pages
}

// visit calls fn for the program and all commands that are shown.
func visit(root *kong.Node, fn func(path []string, n *kong.Node)) {
	var walk func(path []string, n *kong.Node)
	walk = func(path []string, n *kong.Node) {
		fn(path, n)
		for _, c := range n.Children {
			if !c.Hidden {
				walk(append(path[:len(path):len(path)], c.Name), c)
			}
		}
	}
	walk([]string{root.Name}, root)
}

// ownFlags are a command's options, without help, which all have.
func ownFlags(n *kong.Node) []*kong.Flag {
	var flags []*kong.Flag
	for _, f := range n.Flags {
		if !f.Hidden && f.Name != "help" {
			flags = append(flags, f)
		}
	}
	return flags
}

// describe writes what the command does, and its example apart.
func describe(w io.Writer, n *kong.Node) {
	fmt.Fprintf(w, ".SH DESCRIPTION\n%s\n", roff(n.Help))
	example := ""
	for par := range strings.SplitSeq(strings.TrimSpace(n.Detail), "\n\n") {
		if e, ok := strings.CutPrefix(par, "Example: "); ok {
			example = e
			continue
		}
		if par = strings.Join(strings.Fields(par), " "); par != "" {
			fmt.Fprintf(w, ".PP\n%s\n", roff(par))
		}
	}
	if example != "" {
		fmt.Fprintf(w, ".SH EXAMPLE\n.nf\n%s\n.fi\n", roff(example))
	}
}

func options(w io.Writer, n *kong.Node) {
	if len(n.Positional) > 0 {
		fmt.Fprint(w, ".SH ARGUMENTS\n")
		for _, a := range n.Positional {
			fmt.Fprintf(w, ".TP\n.I %s\n%s\n", roff(a.Summary()), roff(a.Help))
		}
	}
	flags := ownFlags(n)
	if len(flags) == 0 {
		return
	}
	fmt.Fprint(w, ".SH OPTIONS\n")
	for _, f := range flags {
		fmt.Fprint(w, ".TP\n")
		if f.Short != 0 {
			fmt.Fprintf(w, ".BR \\-%c , \" %s\"\n", f.Short, roff("--"+f.Name+valueOf(f, "=")))
		} else {
			fmt.Fprintf(w, ".B %s\n", roff("--"+f.Name+valueOf(f, "=")))
		}
		fmt.Fprintf(w, "%s\n", roff(f.Help))
	}
}

// valueOf is the name of what an option wants, behind sep; nothing for a switch.
func valueOf(f *kong.Flag, sep string) string {
	if f.IsBool() {
		return ""
	}
	return sep + f.FormatPlaceHolder()
}

func subcommands(w io.Writer, path []string, n *kong.Node) {
	if len(n.Children) == 0 {
		return
	}
	fmt.Fprint(w, ".SH COMMANDS\n")
	for _, c := range n.Children {
		if !c.Hidden {
			fmt.Fprintf(w, ".TP\n.BR %s (1)\n%s\n", roff(strings.Join(path, "-")+"-"+c.Name), roff(c.Help))
		}
	}
}

// roff writes text so that nothing in it is an order to the formatter.
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\(rs`, "-", `\-`, "'", `\(aq`, "…", "...").Replace(s)
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}

func firstLower(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToLower(s[:1]) + s[1:]
}
