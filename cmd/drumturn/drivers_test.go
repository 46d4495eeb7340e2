package main

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// metered is a building whose one washer has a meter, set up by some lines.
func metered(kind, lines, more string) string {
	return `
[building]
name = "Metered"
time_zone = "UTC"
[server]
listen = "127.0.0.1:0"
public_url = "http://localhost:1"
data = "data"
` + more + `
[rooms.cellar]
name = "Cellar"
[[rooms.cellar.machines]]
number = 1
kind = "` + kind + `"
meter = "one"
[meters.one]
` + lines
}

// posted sends a reading by HTTP, as a meter does: without any browser's headers.
func (w *wired) posted(path, token, body string) (int, string) {
	w.Helper()
	req, err := http.NewRequestWithContext(w.Context(), http.MethodPost, "http://"+w.app.address()+path, strings.NewReader(body))
	if err != nil {
		w.Fatal(err)
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		w.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		w.Fatal(err)
	}
	return resp.StatusCode, string(text)
}

const postToken = "a-token-of-one-washer"

// posting starts a building whose washer's meter posts, and waits for its driver.
func posting(t *testing.T) *wired {
	t.Helper()
	w := wiring(t, metered("washer", "driver = \"httppush\"\ntoken = \""+postToken+"\"\n", ""), nil).start()
	w.until("the driver takes readings", func() bool {
		status, _ := w.posted("/readings/one", postToken, "0")
		return status == http.StatusNoContent
	})
	return w
}

// TestHTTPReadings: what a meter posts is on the board.
func TestHTTPReadings(t *testing.T) {
	w := posting(t)
	board := w.visitor()
	w.settle()
	board.sees("/r/cellar", "free")
	for minute := range 5 {
		w.clock.Set(evening.Add(time.Duration(minute) * time.Minute))
		if status, text := w.posted("/readings/", postToken, `{"watts": 2100}`); status != http.StatusNoContent {
			t.Fatalf("%d %s", status, text)
		}
	}
	w.heard("1", 2100)
	board.sees("/r/cellar", "running")
	if m := w.settle().Machine("1"); m.Status != coordinator.Running || m.Load == nil || m.Load.StartedAt.IsZero() {
		t.Errorf("the washer is %+v", m)
	}
}

// TestHTTPReadingsRefused: what is no reading of a known meter changes nothing.
func TestHTTPReadingsRefused(t *testing.T) {
	w := posting(t)
	w.clock.Set(evening.Add(time.Minute))
	before := w.settle()
	for _, c := range []struct {
		name, path, token, body string
		status                  int
	}{
		{"no token", "/readings/one", "", "2100", 401},
		{"wrong token", "/readings/one", "a-token-of-one-drier", "2100", 401},
		{"cut token", "/readings/one", postToken[:len(postToken)-1], "2100", 401},
		{"another meter's address", "/readings/two", postToken, "2100", 404},
		{"not a number", "/readings/one", postToken, "hot", 400},
		{"not finite", "/readings/one", postToken, "NaN", 400},
		{"negative", "/readings/one", postToken, "-5000", 400},
		{"nothing", "/readings/one", postToken, "", 400},
		{"null", "/readings/one", postToken, `{"watts": null}`, 400},
		{"too large", "/readings/one", postToken, "[" + strings.Repeat(`{"watts": 2100},`, 5000) + `{"watts": 1}]`, 413},
	} {
		if status, text := w.posted(c.path, c.token, c.body); status != c.status {
			t.Errorf("%s: %d %.200s, want %d", c.name, status, text, c.status)
		} else if strings.Contains(text, postToken) {
			t.Errorf("%s: the answer gives the token away: %s", c.name, text)
		}
	}
	if after := w.settle(); after.Machine("1").Watts != before.Machine("1").Watts || !after.Machine("1").Heard.Equal(before.Machine("1").Heard) {
		t.Errorf("the washer is heard with %+v", after.Machine("1"))
	}
	if strings.Contains(w.log.String(), postToken) {
		t.Error("the log holds the token")
	}
}

// TestHTTPReadingsAreNoForm: the cookies and headers of browsers do not stand in
// for a token, and a meter needs none of them.
func TestHTTPReadingsAreNoForm(t *testing.T) {
	w := posting(t)
	anna := w.visitor()
	anna.join("1", "anna")
	if status, _ := anna.post("/readings/one", "watts", "2100"); status != http.StatusUnauthorized {
		t.Errorf("a resident's browser: %d", status)
	}
	resp, err := http.Get("http://" + w.app.address() + "/readings/one")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("GET: %s", resp.Status)
	}
}

// TestBrokerTLS: meters reach the broker by TLS, with the file's certificate,
// and by nothing else.
func TestBrokerTLS(t *testing.T) {
	cert, key := pair(t, 5)
	w := wiring(t, metered("washer", "driver = \"mqtt\"\ntopic = \"laundry/one\"\npassword = \"one-secret\"\n",
		"[mqtt]\nlisten = \"127.0.0.1:0\"\ntls = \"files\"\ncert_file = \"cert.pem\"\nkey_file = \"key.pem\"\n"),
		map[string]string{"cert.pem": cert, "key.pem": key}).start()
	address := w.app.brokerAddr().String()
	if n := metSerial(t, address); n != 5 {
		t.Errorf("certificate %d", n)
	}
	conn, err := tls.Dial("tcp", address, &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12})
	if err != nil {
		t.Fatal(err)
	}
	client := paho.NewClient(paho.ClientConfig{Conn: conn})
	if _, err := client.Connect(t.Context(), signingIn("one", "one-secret")); err != nil {
		t.Fatal(err)
	}
	defer client.Disconnect(&paho.Disconnect{})
	if _, err := client.Publish(t.Context(), &paho.Publish{QoS: 1, Topic: "laundry/one", Payload: []byte("2050")}); err != nil {
		t.Fatal(err)
	}
	w.heard("1", 2050)

	plain, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer plain.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	if _, err := paho.NewClient(paho.ClientConfig{Conn: plain}).Connect(ctx, signingIn("one", "one-secret")); err == nil {
		t.Error("a meter may sign in without TLS")
	}
}

// TestBrokerCertificateRenewed: meters meet a renewed certificate without a restart.
func TestBrokerCertificateRenewed(t *testing.T) {
	cert, key := pair(t, 5)
	w := wiring(t, metered("washer", "driver = \"mqtt\"\ntopic = \"laundry/one\"\npassword = \"one-secret\"\n",
		"[mqtt]\nlisten = \"127.0.0.1:0\"\ntls = \"files\"\ncert_file = \"cert.pem\"\nkey_file = \"key.pem\"\n"),
		map[string]string{"cert.pem": cert, "key.pem": key}).start()
	(&shelf{t, w.dir, time.Now()}).put(pair(t, 6))
	if n := metSerial(t, w.app.brokerAddr().String()); n != 6 {
		t.Errorf("after the renewal: certificate %d", n)
	}
}

// signingIn is how a meter says who it is.
func signingIn(user, password string) *paho.Connect {
	return &paho.Connect{
		ClientID: "meter-" + user, KeepAlive: 60, CleanStart: true,
		Username: user, UsernameFlag: true, Password: []byte(password), PasswordFlag: true,
	}
}

// TestBrokerRefuses: who does not know the password does not get in, and a meter
// cannot speak for another.
func TestBrokerRefuses(t *testing.T) {
	text := metered("washer", "driver = \"mqtt\"\ntopic = \"laundry/one\"\npassword = \"one-secret\"\n", "[mqtt]\nlisten = \"127.0.0.1:0\"\n") +
		"[[rooms.cellar.machines]]\nnumber = 2\nkind = \"dryer\"\nmeter = \"two\"\n[meters.two]\ndriver = \"mqtt\"\ntopic = \"laundry/two\"\npassword = \"two-secret\"\n"
	w := wiring(t, text, nil).start()
	broker := w.app.brokerAddr().String()
	for _, c := range [][2]string{{"one", "two-secret"}, {"one", ""}, {"three", "one-secret"}, {"", ""}} {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		if _, err := signIn(ctx, broker, c[0], c[1]); err == nil {
			t.Errorf("%q gets in with %q", c[0], c[1])
		}
		cancel()
	}
	client, err := signIn(t.Context(), broker, "one", "one-secret")
	if err != nil {
		t.Fatal(err)
	}
	// The answer of an MQTT 5 broker: 0x87, not authorized (OASIS MQTT 5.0, 3.4.2.1).
	answer, err := client.Publish(t.Context(), &paho.Publish{QoS: 1, Topic: "laundry/two", Payload: []byte("2050")})
	if err == nil && (answer == nil || answer.ReasonCode < 0x80) {
		t.Error("meter one may speak for meter two")
	}
	if m := w.settle().Machine("2"); !m.Heard.IsZero() {
		t.Errorf("meter two was heard: %+v", m)
	}
	if log := w.log.String(); strings.Contains(log, "one-secret") || strings.Contains(log, "two-secret") {
		t.Error("the log holds a password")
	}
}

// TestReplayDriver: a recording begins when the program does, and is on the board.
func TestReplayDriver(t *testing.T) {
	w := wiring(t, metered("washer", "driver = \"replay\"\nfile = \"evening.csv\"\n", ""),
		map[string]string{"evening.csv": "time,watts\n2020-01-01T00:00:00Z,2\n2020-01-01T00:01:00Z,2100\n2020-01-01T00:02:00Z,2150\n"}).start()
	for minute, watts := range []float64{2, 2100, 2150} {
		w.clock.Set(evening.Add(time.Duration(minute) * time.Minute))
		w.until(fmt.Sprintf("reading %d", minute), func() bool {
			m, _ := health(w).Meter("one")
			return m.Taken == uint64(minute+1) && m.Last.Watts == watts
		})
	}
	w.clock.Set(evening.Add(3 * time.Minute))
	w.heard("1", 2150)
	if heard := w.settle().Machine("1").Heard; !heard.Equal(evening.Add(2 * time.Minute)) {
		t.Errorf("the last reading is of %s", heard)
	}
}

// health is how the meters do.
func health(w *wired) *meter.Health {
	h := w.app.meters.Health()
	return &h
}

// TestSimDriver: a simulated machine is heard, and its model fits the machine.
func TestSimDriver(t *testing.T) {
	w := wiring(t, metered("dryer", "driver = \"sim\"\n", ""), nil).start()
	at := evening
	w.until("a reading", func() bool {
		at = at.Add(10 * time.Second)
		w.clock.Set(at)
		return !w.settle().Machine("1").Heard.IsZero()
	})
	if status := w.settle().Machine("1").Status; status == coordinator.Unknown {
		t.Errorf("it is %s", status)
	}
}

func TestSimOptions(t *testing.T) {
	a := &app{setup: setup{file: &config.File{Rooms: []coordinator.Plan{{Machines: []coordinator.Machine{
		{Machine: queue.Machine{Kind: queue.Dryer}, Meter: "d"}, {Machine: queue.Machine{Kind: queue.Washer}, Meter: "w"}, {Machine: queue.Machine{Kind: queue.WasherDryer}, Meter: "b"},
	}}}}}}
	for name, kind := range map[string]queue.Kind{"d": queue.Dryer, "w": queue.Washer, "b": queue.WasherDryer, "of nothing": queue.Washer} {
		o := a.simOptions(name, &config.SimMeter{Seed: 4, RunsPerDay: 2.5})
		m, err := sim.ModelNamed(o.Machine)
		if err != nil || m.Kind != kind || o.Seed != 4 || o.RunsPerDay != 2.5 || !slices.Contains(sim.Meters(), o.Meter) {
			t.Errorf("%s: %+v is a %v, %v", name, o, m.Kind, err)
		}
	}
	said := a.simOptions("d", &config.SimMeter{Machine: "washer", Meter: sim.Meters()[len(sim.Meters())-1]})
	if said.Machine != "washer" || said.Meter != sim.Meters()[len(sim.Meters())-1] {
		t.Errorf("what the file says is not taken: %+v", said)
	}
}

// TestFormat: without words about JSON, the driver's own format holds.
func TestFormat(t *testing.T) {
	if got := format(config.Payload{WhFactor: 1}); got.Watts != "" || got.WhFactor != 0 {
		t.Errorf("plain is %+v", got)
	}
	got := format(config.Payload{Watts: "/p", Wh: "/e", Time: "/t", WhFactor: 1000})
	if got.Watts != "/p" || got.Wh != "/e" || got.Time != "/t" || got.WhFactor != 1000 {
		t.Errorf("JSON is %+v", got)
	}
}

// TestSilentAfter: each meter may be silent for as long as its machine's settings say.
func TestSilentAfter(t *testing.T) {
	text := strings.Replace(metered("washer", "driver = \"sim\"\n", ""), "meter = \"one\"", "meter = \"one\"\nsilent_after = \"7m\"", 1)
	w := wiring(t, text, nil).open()
	after := w.app.silentAfter()
	if after("one") != 7*time.Minute || after("none") != 0 {
		t.Errorf("one: %s, none: %s", after("one"), after("none"))
	}
}

// TestSilentMeterIsUnknown: a meter that falls silent makes its machine unknown,
// never free, and the manager is told.
func TestSilentMeterIsUnknown(t *testing.T) {
	w := posting(t)
	if got := w.settle().Machine("1").Status; got != coordinator.Free {
		t.Fatalf("at first it is %s", got)
	}
	w.clock.Set(evening.Add(12 * time.Hour))
	if got := w.settle().Machine("1").Status; got != coordinator.Unknown {
		t.Errorf("after 12 hours of silence it is %s", got)
	}
	w.visitor().sees("/r/cellar", "unknown")
}

// TestWireMetersMistakes: two drivers of one name, a meter without a driver, and
// a port in use are found at the start.
func TestWireMetersMistakes(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	broker := metered("washer", "driver = \"mqtt\"\ntopic = \"laundry/one\"\npassword = \"one-secret\"\n", "[mqtt]\nlisten = \""+taken.Addr().String()+"\"\n")
	if _, err := newApp(t.Context(), wiring(t, broker, nil).setup()); err == nil || !strings.Contains(err.Error(), "the MQTT broker") {
		t.Errorf("a port in use: %v", err)
	}
	s := wiring(t, handBuilding, nil).setup()
	s.file.Meters = []config.Meter{{Name: "odd", Driver: "odd"}}
	if _, err := newApp(t.Context(), s); err == nil || !strings.Contains(err.Error(), "odd: no driver") {
		t.Errorf("a meter of no driver: %v", err)
	}
	cert, key := pair(t, 1)
	_, other := pair(t, 2)
	w := wiring(t, metered("washer", "driver = \"mqtt\"\ntopic = \"laundry/one\"\npassword = \"one-secret\"\n",
		"[mqtt]\nlisten = \"127.0.0.1:0\"\ntls = \"files\"\ncert_file = \"cert.pem\"\nkey_file = \"key.pem\"\n"),
		map[string]string{"cert.pem": cert, "key.pem": key})
	s = w.setup()
	w.write("key.pem", other)
	if _, err := newApp(t.Context(), s); err == nil || !strings.Contains(err.Error(), "mqtt.key_file") {
		t.Errorf("a foreign key: %v", err)
	}
}
