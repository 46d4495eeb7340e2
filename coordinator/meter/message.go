package meter

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// number reads the number at p; have is false when nothing is there.
func number(p Pointer, doc any, factor float64) (v float64, have bool, err error) {
	node, ok := p.In(doc)
	if !ok {
		return math.NaN(), false, nil
	}
	switch node := node.(type) {
	case json.Number:
		v, err = parseNumber(node.String())
	case string:
		v, err = parseNumber(strings.TrimSpace(node))
	case nil:
		err = fmt.Errorf("it is null: the meter has no value at this moment")
	default:
		err = fmt.Errorf("it is not a number but %s; %s", kindOf(node), whereNumbersAre(doc))
	}
	if err != nil {
		return math.NaN(), false, fmt.Errorf("at %q: %w", p.text, err)
	}
	return v * factor, true, nil
}

// parseNumber takes decimal numbers only: strconv alone would also take "inf",
// "nan", hexadecimal and underscores.
func parseNumber(s string) (float64, error) {
	if s == "" {
		return 0, fmt.Errorf("it is empty; it must be a number such as 123.4")
	}
	for _, c := range []byte(s) {
		if !(c >= '0' && c <= '9') && !strings.ContainsRune("+-.eE", rune(c)) {
			return 0, fmt.Errorf("%s is not a plain number such as 123.4 (no unit, and a point, not a comma)", excerpt([]byte(s)))
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, fmt.Errorf("%s is not a number such as 123.4", excerpt([]byte(s)))
	}
	return v, nil
}

// decodeJSON takes exactly one JSON value, numbers as json.Number. A bare number
// that JSON does not know (".5", "+3") is taken too, as meters send it.
func decodeJSON(payload []byte) (any, error) {
	trimmed := bytes.TrimSpace(payload)
	if len(trimmed) == 0 {
		return nil, fmt.Errorf("it is empty")
	}
	if c := trimmed[0]; c != '{' && c != '[' && c != '"' && c != 'n' {
		if _, err := parseNumber(string(trimmed)); err != nil {
			return nil, err
		}
		return json.Number(trimmed), nil
	}
	dec := json.NewDecoder(bytes.NewReader(trimmed))
	dec.UseNumber()
	var doc any
	if err := dec.Decode(&doc); err != nil {
		return nil, jsonTrouble(err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fmt.Errorf("something follows the JSON value at byte %d", dec.InputOffset())
	}
	return doc, nil
}

// jsonTrouble says where in the message JSON broke.
func jsonTrouble(err error) error {
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return fmt.Errorf("it ends too early: was it cut off?")
	}
	if syntax, ok := err.(*json.SyntaxError); ok {
		return fmt.Errorf("at byte %d: %w", syntax.Offset, err)
	}
	return err
}

func kindOf(v any) string {
	switch v.(type) {
	case nil:
		return "null"
	case bool:
		return "true or false"
	case map[string]any:
		return "an object"
	case []any:
		return "an array"
	case string:
		return "a text"
	default:
		return "a number"
	}
}

// excerpt quotes the beginning of a message for an error.
func excerpt(payload []byte) string {
	const most = 60
	if len(payload) > most {
		return strconv.Quote(string(payload[:most])) + "..."
	}
	return strconv.Quote(string(payload))
}

func sortedKeys(m map[string]any) []string { return slices.Sorted(maps.Keys(m)) }
