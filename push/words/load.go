package words

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	xmessage "golang.org/x/text/message"
)

//go:embed *.toml */*.toml
var files embed.FS

// codes are the languages in the order in which they are offered.
var codes = []string{"en", "de", "fr", "es", "ar"}

// forms are the plural forms by their names in Unicode's CLDR.
var forms = map[string]plural.Form{
	"zero": plural.Zero, "one": plural.One, "two": plural.Two, "few": plural.Few, "many": plural.Many, "other": plural.Other,
}

// template is a message in pieces: text, or the name of a placeholder.
type template []piece

type piece struct{ text, name string }

// all are the languages. A file that does not read is a mistake of ours, found
// by every test.
var all = mustLoad()

func mustLoad() []*Language {
	var out []*Language
	for _, code := range codes {
		l, err := load(code)
		if err != nil {
			panic(fmt.Sprintf("words: %v", err))
		}
		out = append(out, l)
	}
	return out
}

// load reads a language's files: CODE.toml here, and in each folder beside it.
func load(code string) (*Language, error) {
	names, err := fs.Glob(files, "*/"+code+".toml")
	if err != nil {
		return nil, err
	}
	var parts [][]byte
	for _, name := range append([]string{code + ".toml"}, names...) {
		data, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		if err := toml.Unmarshal(data, new(map[string]any)); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		parts = append(parts, data)
	}
	return parse(code, parts...)
}

// parse reads a language's files: tables of messages, and of tables.
func parse(code string, parts ...[]byte) (*Language, error) {
	tag, err := language.Parse(code)
	if err != nil {
		return nil, err
	}
	l := &Language{tag: tag, code: code, messages: map[string]message{}}
	for _, data := range parts {
		var tree map[string]any
		if err := toml.Unmarshal(data, &tree); err != nil {
			return nil, err
		}
		if err := l.take("", tree); err != nil {
			return nil, err
		}
	}
	l.rtl = l.Say("language.dir") == "rtl"
	l.numbers = xmessage.NewPrinter(westernDigits(tag))
	return l, nil
}

// take flattens a table into keys joined by dots.
func (l *Language) take(prefix string, table map[string]any) error {
	if _, counts := table["other"]; counts {
		return l.takeForms(strings.TrimSuffix(prefix, "."), table)
	}
	for _, name := range slices.Sorted(maps.Keys(table)) {
		switch v := table[name].(type) {
		case map[string]any:
			if err := l.take(prefix+name+".", v); err != nil {
				return err
			}
		case string:
			t, err := parseTemplate(v)
			if err != nil {
				return fmt.Errorf("%s%s: %w", prefix, name, err)
			}
			if err := l.add(prefix+name, message{plural.Other: t}); err != nil {
				return err
			}
		default:
			return fmt.Errorf("%s%s is no text", prefix, name)
		}
	}
	return nil
}

// takeForms reads a message that depends on a number.
func (l *Language) takeForms(key string, table map[string]any) error {
	m := message{}
	for name, v := range table {
		form, ok := forms[name]
		text, isText := v.(string)
		if !ok || !isText {
			return fmt.Errorf("%s.%s is no plural form with a text", key, name)
		}
		t, err := parseTemplate(text)
		if err != nil {
			return fmt.Errorf("%s.%s: %w", key, name, err)
		}
		m[form] = t
	}
	return l.add(key, m)
}

// add keeps a message; two files must not say the same thing each in its way.
func (l *Language) add(key string, m message) error {
	if _, twice := l.messages[key]; twice {
		return fmt.Errorf("%s is there twice", key)
	}
	l.messages[key] = m
	return nil
}

// parseTemplate cuts "Kept until {until}." into its pieces.
func parseTemplate(text string) (template, error) {
	var t template
	for rest := text; rest != ""; {
		before, after, found := strings.Cut(rest, "{")
		if strings.Contains(before, "}") {
			return nil, fmt.Errorf("a brace closes nothing in %q", text)
		}
		if before != "" {
			t = append(t, piece{text: before})
		}
		if !found {
			break
		}
		name, tail, closed := strings.Cut(after, "}")
		if !closed || name == "" || strings.ContainsAny(name, "{ ") {
			return nil, fmt.Errorf("a brace holds no name in %q", text)
		}
		t, rest = append(t, piece{name: name}), tail
	}
	return t, nil
}
