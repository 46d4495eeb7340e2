package meter

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
)

// Pointer is a JSON Pointer (RFC 6901): where in a JSON document a value is.
// The zero Pointer is the whole document.
type Pointer struct {
	tokens []string
	text   string
}

// ParsePointer reads the string form of RFC 6901 section 3: empty, or tokens
// that each begin with a slash, with ~0 for ~ and ~1 for a slash within one.
func ParsePointer(s string) (Pointer, error) {
	if s == "" {
		return Pointer{}, nil
	}
	if s[0] != '/' {
		return Pointer{}, fmt.Errorf("%q is no JSON Pointer: it must begin with a slash, such as %q", s, "/"+s)
	}
	tokens := strings.Split(s[1:], "/")
	for i, raw := range tokens {
		token, err := unescapeToken(raw)
		if err != nil {
			return Pointer{}, fmt.Errorf("%q is no JSON Pointer: %w", s, err)
		}
		tokens[i] = token
	}
	return Pointer{tokens: tokens, text: s}, nil
}

// unescapeToken turns ~1 into a slash and then ~0 into ~, in that order (RFC 6901 section 4).
func unescapeToken(raw string) (string, error) {
	for i := 0; i < len(raw); i++ {
		if raw[i] != '~' {
			continue
		}
		if i+1 == len(raw) || (raw[i+1] != '0' && raw[i+1] != '1') {
			return "", fmt.Errorf("a ~ must be written ~0")
		}
	}
	return strings.ReplaceAll(strings.ReplaceAll(raw, "~1", "/"), "~0", "~"), nil
}

// String is the pointer as it was written.
func (p Pointer) String() string { return p.text }

// In finds the value in a document decoded into the types of encoding/json; ok
// is false when there is none.
func (p Pointer) In(doc any) (v any, ok bool) {
	v = doc
	for _, token := range p.tokens {
		switch node := v.(type) {
		case map[string]any:
			v, ok = node[token]
		case []any:
			v, ok = element(node, token)
		default:
			return nil, false
		}
		if !ok {
			return nil, false
		}
	}
	return v, true
}

// element is the element of an array that a token names. Leading zeros and the
// element after the last ("-") name none (RFC 6901 section 4).
func element(array []any, token string) (any, bool) {
	if len(token) > 1 && token[0] == '0' {
		return nil, false
	}
	i, err := strconv.ParseUint(token, 10, 31)
	if err != nil || i >= uint64(len(array)) {
		return nil, false
	}
	return array[i], true
}

// pointersToNumbers lists where the numbers of a document are, at most limit,
// as a hint for whoever writes a meter's settings.
func pointersToNumbers(doc any, at string, limit int) []string {
	var found []string
	add := func(key string, child any) {
		if len(found) < limit {
			found = append(found, pointersToNumbers(child, at+"/"+key, limit-len(found))...)
		}
	}
	switch node := doc.(type) {
	case map[string]any:
		for _, key := range sortedKeys(node) {
			add(strings.ReplaceAll(strings.ReplaceAll(key, "~", "~0"), "/", "~1"), node[key])
		}
	case []any:
		for i, child := range node {
			add(strconv.Itoa(i), child)
		}
	case json.Number:
		found = append(found, at)
	}
	return found
}
