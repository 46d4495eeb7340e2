package config_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"drumturn/config"
)

const mailHead = "[building]\nname = \"Plover Yard\"\ntime_zone = \"Europe/Berlin\"\n[server]\npublic_url = \"https://laundry.weiher.org\"\ntls = \"off\"\ntrusted_proxies = [\"127.0.0.1\"]\n[mail]\n"

// parseMail reads a file with that section of mail, which begins in line 9.
func parseMail(section string) (*config.File, error) {
	o := options()
	o.Languages = []string{"en", "de"}
	o.Environment = func(name string) (string, bool) {
		value, there := map[string]string{"MAIL_PASSWORD": "from outside", "NOTHING": ""}[name]
		return value, there
	}
	return config.Parse("building.toml", []byte(mailHead+section+"\n[rooms.cellar]\nmachines = [{ number = 1, kind = \"washer\" }]\n"), o)
}

func TestMail(t *testing.T) {
	const from = "from = \"laundry@weiher.org\"\n"
	for _, c := range []struct {
		name, section, password string
		want                    config.Mail
	}{
		{"least", "server = \"smtp.weiher.org\"\n" + from, "", config.Mail{Host: "smtp.weiher.org", Port: 587, Security: "starttls"}},
		{"TLS", "server = \"smtp.weiher.org\"\nsecurity = \"tls\"\n" + from, "", config.Mail{Host: "smtp.weiher.org", Port: 465, Security: "tls"}},
		{"a port", "server = \"smtp.weiher.org:2525\"\n" + from, "", config.Mail{Host: "smtp.weiher.org", Port: 2525, Security: "starttls"}},
		{"on this computer", "server = \"localhost\"\nsecurity = \"plain\"\n" + from, "", config.Mail{Host: "localhost", Port: 25, Security: "plain"}},
		{"by number", "server = \"[::1]:25\"\nsecurity = \"plain\"\n" + from, "", config.Mail{Host: "::1", Port: 25, Security: "plain"}},
		{"password", "server = \"smtp.weiher.org\"\nuser = \"u\"\npassword = \"p\"\n" + from, "p", config.Mail{Host: "smtp.weiher.org", Port: 587, Security: "starttls", User: "u"}},
		{"in a file", "server = \"smtp.weiher.org\"\nuser = \"u\"\npassword_file = \"secret\"\n" + from, "0123456789abcdef", config.Mail{Host: "smtp.weiher.org", Port: 587, Security: "starttls", User: "u"}},
		{"in the environment", "server = \"smtp.weiher.org\"\nuser = \"u\"\npassword_env = \"MAIL_PASSWORD\"\n" + from, "from outside", config.Mail{Host: "smtp.weiher.org", Port: 587, Security: "starttls", User: "u"}},
		{"managers", "server = \"smtp.weiher.org\"\nmanagers = [\"a@weiher.org\", \"b@weiher.org\"]\nlanguage = \"de\"\n" + from, "", config.Mail{
			Host: "smtp.weiher.org", Port: 587, Security: "starttls", Managers: []string{"a@weiher.org", "b@weiher.org"}, Language: "de"}},
	} {
		f, err := parseMail(c.section)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		got := f.Mail
		if got.Password.Reveal() != c.password {
			t.Errorf("%s: the password is %q", c.name, got.Password.Reveal())
		}
		if shown := fmt.Sprintf("%v %+v", got, f.Mail); c.password != "" && strings.Contains(shown, c.password+" ") {
			t.Errorf("%s shows the password: %s", c.name, shown)
		}
		got.Password, c.want.From = config.Secret{}, "laundry@weiher.org"
		same(t, c.name, got, c.want)
	}
	f, err := config.Parse("b.toml", []byte(strings.ReplaceAll(mailHead, "[mail]\n", "")+"[rooms.cellar]\nmachines = [{ number = 1, kind = \"washer\" }]\n"), options())
	if err != nil || f.Mail.Host != "" {
		t.Errorf("without the section: %+v, %v", f, err)
	}
}

// TestMailMistakes: each is said with its line, its key, what is wrong, and what would be right.
func TestMailMistakes(t *testing.T) {
	const good = "server = \"smtp.weiher.org\"\nfrom = \"laundry@weiher.org\"\n"
	for _, c := range []struct{ name, section, key, wrong string }{
		{"nothing", "", "mail.from", "missing"},
		{"no sender", "server = \"smtp.weiher.org\"", "mail.from", "missing"},
		{"no server", "from = \"laundry@weiher.org\"", "mail.server", "missing"},
		{"a web address", "server = \"https://smtp.weiher.org\"\nfrom = \"laundry@weiher.org\"", "mail.server", "is no"},
		{"a port that is none", "server = \"smtp.weiher.org:0\"\nfrom = \"laundry@weiher.org\"", "mail.server", "no port"},
		{"in the open", good + "security = \"plain\"", "mail.security", "in the open"},
		{"another security", good + "security = \"ssl\"", "mail.security", "not known"},
		{"a sender with a name", "server = \"smtp.weiher.org\"\nfrom = \"Laundry <laundry@weiher.org>\"", "mail.from", "no bare e-mail address"},
		{"a sender with letters of its own", "server = \"smtp.weiher.org\"\nfrom = \"wäsche@weiher.org\"", "mail.from", "no bare e-mail address"},
		{"no password", good + "user = \"u\"", "mail.user", "no password"},
		{"no user", good + "password = \"p\"", "mail.user", "nobody that it is for"},
		{"two passwords", good + "user = \"u\"\npassword = \"p\"\npassword_env = \"MAIL_PASSWORD\"", "mail.password_env", "given twice"},
		{"a variable that is not set", good + "user = \"u\"\npassword_env = \"GONE\"", "mail.password_env", "has no variable"},
		{"a variable that is empty", good + "user = \"u\"\npassword_env = \"NOTHING\"", "mail.password_env", "has no variable"},
		{"a file that is not there", good + "user = \"u\"\npassword_file = \"gone\"", "mail.password_file", "does not exist"},
		{"a manager's name", good + "managers = [\"the caretaker\"]", "mail.managers", "no bare e-mail address"},
		{"a forged manager", good + "managers = [\"a@weiher.org>,<b@weiher.org\"]", "mail.managers", "no bare e-mail address"},
		{"a language", good + "language = \"xx\"", "mail.language", "no letters in"},
		{"a misspelt setting", good + "sever = \"x\"", "mail.sever", "no such setting"},
	} {
		_, err := parseMail(c.section)
		var all *config.Error
		if !errors.As(err, &all) {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		p := all.Problems[0]
		for _, other := range all.Problems {
			if other.Severity == config.Mistake {
				p = other
				break
			}
		}
		if p.Key != c.key || !strings.Contains(p.Wrong, c.wrong) || p.Right == "" || p.Line < 8 {
			t.Errorf("%s: %+v", c.name, p)
		}
	}
}

// TestMailExamples: names for examples are taken, with a warning.
func TestMailExamples(t *testing.T) {
	f, err := parseMail("server = \"smtp.example.org\"\nfrom = \"laundry@example.org\"")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, p := range f.Warnings {
		if strings.HasPrefix(p.Key, "mail.") && strings.Contains(p.Wrong, "invented") {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%v", f.Warnings)
	}
}
