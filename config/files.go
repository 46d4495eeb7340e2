package config

import (
	"fmt"
	"path/filepath"
	"strings"
)

// resolve makes a path of the file absolute: it starts from the file's folder.
func (in *input) resolve(path string) string {
	if filepath.IsAbs(path) {
		return filepath.Clean(path)
	}
	return filepath.Join(in.dir, path)
}

// path reads the name of a file or folder.
func (s *section) path(key string, into *string) bool {
	var v string
	if !s.text(key, &v) {
		return false
	}
	if strings.TrimSpace(v) == "" {
		s.wrong(key, "the name is empty", `write the name of a file or folder, such as "data"`)
		return false
	}
	*into = s.in.resolve(v)
	return true
}

// content reads the file that key names, and its path.
func (s *section) content(key string, limit int64, into *string) []byte {
	var path string
	if !s.path(key, &path) {
		return nil
	}
	data, err := s.in.disk.ReadFile(path, limit)
	switch {
	case err != nil:
		s.wrong(key, fmt.Sprintf("the file %s cannot be read: %s", path, whyNot(err)), "create it, or correct the name; names start from the folder of this file")
		return nil
	case len(data) == 0:
		s.wrong(key, fmt.Sprintf("the file %s is empty", path), "put into it what it is for, or correct the name")
		return nil
	}
	*into = path
	return data
}

// maxSecret is the longest secret, in bytes.
const maxSecret = 1024

// secret reads a secret from key, or from the file that key_file names. least is
// how many characters it must have.
func (s *section) secret(key string, least int, required bool) (secret Secret) {
	file := key + "_file"
	s.take(key)
	s.take(file)
	var value, from string
	switch {
	case s.has(key) && s.has(file):
		s.wrong(file, "the secret is given twice: here, and by "+key, "keep one of the two; the file is safer")
		return secret
	case s.has(file):
		from, value = file, s.secretFile(file)
	case s.has(key):
		from = key
		if !s.text(key, &value) {
			return secret
		}
		if value == "" {
			s.wrong(key, "it is empty", "write the secret, or name a file that holds it by "+file)
		}
	case required && s.node != nil:
		s.missing(key, fmt.Sprintf(`add %s = "…", or %s = "name of a file that holds it"`, key, file))
	}
	if value == "" {
		return secret
	}
	if n := len([]rune(value)); n < least || len(value) > maxSecret {
		s.wrong(from, fmt.Sprintf("with %d characters it is too short to be secret, or too long", n), fmt.Sprintf("use %d to %d characters that nobody can guess", least, maxSecret))
		return secret
	}
	return NewSecret(value)
}

// secretFile reads a file with one line; what is wrong with it is reported.
func (s *section) secretFile(key string) string {
	var path string
	data := s.content(key, 4*maxSecret, &path)
	if data == nil {
		return ""
	}
	value := strings.TrimRight(string(data), "\r\n")
	switch {
	case value == "":
		s.wrong(key, fmt.Sprintf("the file %s holds no secret, only an empty line", path), "write the secret into its first line")
	case strings.ContainsAny(value, "\r\n\x00"):
		s.wrong(key, fmt.Sprintf("the file %s has more than one line", path), "leave only the line with the secret in it")
	default:
		return value
	}
	return ""
}
