package config

import (
	"fmt"

	"drumturn/coordinator"
)

// ReadRules reads such a file as ParseRules takes it from the disk.
func ReadRules(path string) ([]byte, error) {
	text, err := osDisk{}.ReadFile(path, maxFile)
	if err != nil {
		return nil, fmt.Errorf("the house rules %s cannot be read: %s; correct the name, or write some with: drumturn rules export --to FILE", path, whyNot(err))
	}
	return text, nil
}

// ParseRules reads a file that holds the section [rules] of a building file and
// nothing else, as coordinator.Rules.TOML writes it: a rule that it does not name
// keeps its default, and homes are called by their names. name is what the file
// is called in messages. An error is an *Error with everything that is wrong.
func ParseRules(name string, text []byte) (coordinator.Rules, error) {
	b := &builder{report: &report{}, file: &File{}}
	root := b.open(source{name, text})
	rules := coordinator.DefaultRules()
	if root.node != nil {
		own := root.table("rules")
		if own.node == nil {
			root.wrong("rules", "the file has no house rules", "begin it with [rules]")
		}
		rules = b.rules(rules, own)
		b.judge(rules, nil, own)
		root.close()
	}
	if b.report.refused() {
		return coordinator.Rules{}, &Error{Problems: b.report.sorted()}
	}
	return rules, nil
}
