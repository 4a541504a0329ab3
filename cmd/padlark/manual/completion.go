package manual

import (
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// shells are those for which there is a completion.
func shells() []string { return []string{"bash", "zsh", "fish"} }

// Completion makes the script that completes commands and options in a shell.
// The error names the shells there are.
func Completion(app *kong.Application, shell string) (string, error) {
	switch shell {
	case "bash":
		return bash(app), nil
	case "zsh":
		return zsh(app), nil
	case "fish":
		return fish(app), nil
	}
	return "", fmt.Errorf("there is no completion for %q: take one of %s", shell, strings.Join(shells(), ", "))
}

// words are what can follow a command: its commands, or its options.
func words(n *kong.Node) (commands, flags []string) {
	for _, c := range n.Children {
		if !c.Hidden {
			commands = append(commands, c.Name)
		}
	}
	for _, f := range ownFlags(n) {
		flags = append(flags, "--"+f.Name)
	}
	return commands, append(flags, "--help")
}

func bash(app *kong.Application) string {
	var b strings.Builder
	name := app.Name
	fmt.Fprintf(&b, "# Completion of %[1]s for bash.\n_%[1]s() {\n  local w words cmd=\n", name)
	// Only words that are commands count: an option's value is none.
	fmt.Fprint(&b, "  COMPREPLY=()\n  for w in \"${COMP_WORDS[@]:1:COMP_CWORD-1}\"; do\n    case \"$cmd $w\" in\n")
	var known []string
	visit(app.Node, func(path []string, n *kong.Node) {
		if len(path) > 1 {
			known = append(known, fmt.Sprintf("%q", " "+strings.Join(path[1:], " ")))
		}
	})
	fmt.Fprintf(&b, "    %s) cmd=\"$cmd $w\" ;;\n    esac\n  done\n  case $cmd in\n", strings.Join(known, "|"))
	visit(app.Node, func(path []string, n *kong.Node) {
		commands, flags := words(n)
		key := ""
		if len(path) > 1 {
			key = " " + strings.Join(path[1:], " ")
		}
		fmt.Fprintf(&b, "  %q) words=%q ;;\n", key, strings.Join(slices.Concat(commands, flags), " "))
	})
	fmt.Fprintf(&b, "  esac\n  if [[ ${COMP_WORDS[COMP_CWORD]} == -* || $cmd == \"\" || $words != -* ]]; then\n    COMPREPLY=($(compgen -W \"$words\" -- \"${COMP_WORDS[COMP_CWORD]}\"))\n  fi\n}\ncomplete -o default -F _%[1]s %[1]s\n", name)
	return b.String()
}

func zsh(app *kong.Application) string {
	var b strings.Builder
	fmt.Fprintf(&b, "#compdef %s\n# Completion of %[1]s for zsh.\n", app.Name)
	visit(app.Node, func(path []string, n *kong.Node) {
		fmt.Fprintf(&b, "_%s() {\n", strings.Join(path, "_"))
		if len(n.Children) == 0 {
			fmt.Fprint(&b, "  _arguments -s \\\n")
			for _, f := range ownFlags(n) {
				arg := "--" + f.Name
				if !f.IsBool() {
					arg += "="
				}
				fmt.Fprintf(&b, "    %s \\\n", quoted(arg+"["+strings.NewReplacer("[", "(", "]", ")", ":", `\:`).Replace(f.Help)+"]"+valueOf(f, ":")+map[bool]string{true: "", false: ":_files"}[f.IsBool()]))
			}
			fmt.Fprint(&b, "    '*:file:_files'\n}\n")
			return
		}
		fmt.Fprint(&b, "  local state\n  local -a commands\n  _arguments -C '1: :->command' '*:: :->rest'\n  case $state in\n  command)\n    commands=(\n")
		for _, c := range n.Children {
			if !c.Hidden {
				fmt.Fprintf(&b, "      %s\n", quoted(c.Name+":"+c.Help))
			}
		}
		fmt.Fprintf(&b, "    )\n    _describe command commands ;;\n  rest) (( $+functions[_%[1]s_$words[1]] )) && _%[1]s_$words[1] ;;\n  esac\n}\n", strings.Join(path, "_"))
	})
	fmt.Fprintf(&b, "_%s \"$@\"\n", app.Name)
	return b.String()
}

func fish(app *kong.Application) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Completion of %s for fish.\n", app.Name)
	visit(app.Node, func(path []string, n *kong.Node) {
		when := "__fish_use_subcommand"
		if len(path) > 1 {
			var seen []string
			for _, p := range path[1:] {
				seen = append(seen, "__fish_seen_subcommand_from "+p)
			}
			when = strings.Join(seen, "; and ")
		}
		for _, c := range n.Children {
			if c.Hidden {
				continue
			}
			not := ""
			if len(path) > 1 {
				commands, _ := words(n)
				not = "; and not __fish_seen_subcommand_from " + strings.Join(commands, " ")
			}
			fmt.Fprintf(&b, "complete -c %s -f -n %s -a %s -d %s\n", app.Name, quoted(when+not), c.Name, quoted(c.Help))
		}
		for _, f := range ownFlags(n) {
			wants := ""
			if !f.IsBool() {
				wants = " -r"
			}
			if f.Short != 0 {
				wants += fmt.Sprintf(" -s %c", f.Short)
			}
			fmt.Fprintf(&b, "complete -c %s -n %s -l %s%s -d %s\n", app.Name, quoted(when), f.Name, wants, quoted(f.Help))
		}
	})
	return b.String()
}

// quoted is a word of a shell in single quotes.
func quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }
