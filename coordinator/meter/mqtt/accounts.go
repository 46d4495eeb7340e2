package mqtt

import (
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
)

// maxPerAccount is how many connections one account may have open: the newest
// are kept, as a device that lost its network leaves dead ones behind.
const maxPerAccount = 4

// account is one set of credentials and the topics that are its own.
type account struct {
	user     string
	password [sha256.Size]byte
	topics   map[string][]source
	// heard is set once a message came to one of its own topics.
	heard atomic.Bool

	mu    sync.Mutex
	conns []*conn // oldest first
}

// newAccounts groups meters by user, and reports everything that is wrong.
func newAccounts(list []BrokerMeter) (accounts map[string]*account, meters []string, err error) {
	accounts = map[string]*account{}
	owner := map[string]string{} // topic -> user
	var all names
	var wrong []error
	for _, m := range list {
		if m.User == "" {
			m.User = m.Name
		}
		src, err := newSource(m.Name, m.Topic, m.Format)
		if err == nil {
			err = errors.Join(all.add(m.Name), own(owner, m), join(accounts, m, src))
		}
		wrong = append(wrong, err)
	}
	if len(list) == 0 {
		wrong = append(wrong, errors.New("it has no meters"))
	}
	return accounts, all.list, errors.Join(wrong...)
}

// own notes whose a topic is: of one user only.
func own(owner map[string]string, m BrokerMeter) error {
	if other, taken := owner[m.Topic]; taken && other != m.User {
		return fmt.Errorf("meter %q: topic %q is that of user %q already: each device has its own", m.Name, m.Topic, other)
	}
	owner[m.Topic] = m.User
	return nil
}

// join puts a meter into its user's account.
func join(accounts map[string]*account, m BrokerMeter, src source) error {
	if len(m.Password) < MinPassword {
		return fmt.Errorf("meter %q: its password must have at least %d characters", m.Name, MinPassword)
	}
	hash := sha256.Sum256([]byte(m.Password))
	a := accounts[m.User]
	if a == nil {
		a = &account{user: m.User, password: hash, topics: map[string][]source{}}
		accounts[m.User] = a
	}
	if a.password != hash {
		return fmt.Errorf("meter %q: user %q has another password at another meter: one user, one password", m.Name, m.User)
	}
	a.topics[m.Topic] = append(a.topics[m.Topic], src)
	return nil
}

// nobody is compared with when a user is not known, so that the answer takes
// as long as for one who is.
var nobody account

// signIn finds the account of a user whose password is right.
func signIn(accounts map[string]*account, user string, password []byte) *account {
	a, known := accounts[user]
	if !known {
		a = &nobody
	}
	hash := sha256.Sum256(password)
	if subtle.ConstantTimeCompare(hash[:], a.password[:]) != 1 || !known {
		return nil
	}
	return a
}

// meters lists the meters of the account.
func (a *account) meters() []string {
	var out []string
	for _, sources := range a.topics {
		for _, s := range sources {
			out = append(out, s.meter)
		}
	}
	return out
}

// opened notes a connection. It closes the one that the same client has open
// already (MQTT 5, section 3.1.4), and the oldest when there are too many.
func (a *account) opened(c *conn) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, other := range a.conns {
		if other.clientID == c.clientID {
			_ = other.Close()
		}
	}
	a.conns = append(a.conns, c)
	if len(a.conns) > maxPerAccount {
		_ = a.conns[0].Close()
		a.conns = a.conns[1:]
	}
}

// closed forgets a connection.
func (a *account) closed(c *conn) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for i, other := range a.conns {
		if other == c {
			a.conns = append(a.conns[:i:i], a.conns[i+1:]...)
			return
		}
	}
}
