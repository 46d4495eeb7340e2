package mqtt

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"drumturn/coordinator/meter"
)

// inbox is a Sink that remembers. Deliveries are also sent to took, when it is
// set; answer, when set, decides what Deliver returns.
type inbox struct {
	took   chan delivery
	answer func(ctx context.Context, d delivery) error

	mu       sync.Mutex
	all      []delivery
	failures []string
}

type delivery struct {
	meter string
	meter.Sample
}

func (b *inbox) Deliver(ctx context.Context, name string, s meter.Sample) error {
	d := delivery{name, s}
	if b.answer != nil {
		if err := b.answer(ctx, d); err != nil {
			return err
		}
	}
	b.mu.Lock()
	b.all = append(b.all, d)
	b.mu.Unlock()
	if b.took != nil {
		b.took <- d
	}
	return nil
}

func (b *inbox) Fail(name string, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.failures = append(b.failures, name+": "+err.Error()+" ["+meter.ReasonOf(err).Word()+"]")
}

func (b *inbox) deliveries() []delivery {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]delivery(nil), b.all...)
}

func (b *inbox) failed(part string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Contains(strings.Join(b.failures, "\n"), part)
}

// next waits for the next delivery.
func (b *inbox) next(t *testing.T) delivery {
	t.Helper()
	select {
	case d := <-b.took:
		return d
	case <-time.After(20 * time.Second):
		t.Fatal("no reading came")
		return delivery{}
	}
}

// lockedBuffer is a log that goroutines share.
type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *lockedBuffer) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(b)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

func (l *lockedBuffer) logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(l, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

// pipes is a net.Listener whose connections are net.Pipe: nothing is buffered,
// and testing/synctest sees when both ends wait.
type pipes struct {
	conns  chan net.Conn
	errs   chan error
	closed chan struct{}
	once   sync.Once
}

func newPipes() *pipes {
	return &pipes{conns: make(chan net.Conn), errs: make(chan error), closed: make(chan struct{})}
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case err := <-p.errs:
		return nil, err
	case <-p.closed:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error   { p.once.Do(func() { close(p.closed) }); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{} }

func (p *pipes) dial() *device {
	ours, theirs := net.Pipe()
	p.conns <- theirs
	return &device{Conn: ours, version: 5}
}

const password = "long enough"

// twoMeters are washer-1 and washer-2 with bare numbers.
func twoMeters() []BrokerMeter {
	return []BrokerMeter{
		{Name: "washer-1", Topic: "room/washer-1", Password: password},
		{Name: "washer-2", Topic: "room/washer-2", Password: password + " 2"},
	}
}

// runDriver runs a driver; stop ends it and fails the test on an error.
func runDriver(t *testing.T, d meter.Driver, sink meter.Sink) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx, sink) }()
	var once sync.Once
	return func() {
		once.Do(func() {
			cancel()
			if err := <-done; err != nil {
				t.Errorf("Run: %v", err)
			}
		})
	}
}

func newBroker(t testing.TB, opts BrokerOptions) *Broker {
	t.Helper()
	if opts.Address == "" && opts.TLSAddress == "" {
		opts.Address = "127.0.0.1:0"
	}
	if opts.Meters == nil {
		opts.Meters = twoMeters()
	}
	b, err := NewBroker(opts)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// onTCP runs a broker on a socket of 127.0.0.1.
func onTCP(t *testing.T, opts BrokerOptions, sink meter.Sink) *Broker {
	t.Helper()
	b := newBroker(t, opts)
	if err := b.Listen(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(runDriver(t, b, sink))
	return b
}

// onPipes runs a broker on pipes.
func onPipes(t *testing.T, opts BrokerOptions, sink meter.Sink) (p *pipes, stop func()) {
	t.Helper()
	b := newBroker(t, opts)
	p = newPipes()
	b.plain.socket = p
	return p, runDriver(t, b, sink)
}

// device is the meter's end of a connection, speaking MQTT byte by byte as the
// OASIS standards (3.1.1 of 2014, 5.0 of 2019) lay the packets out.
type device struct {
	net.Conn
	version byte // 4 is MQTT 3.1.1
}

func dialTCP(t *testing.T, b *Broker, version byte) *device {
	t.Helper()
	c, err := net.Dial("tcp", b.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	return &device{Conn: c, version: version}
}

func text(s string) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(len(s))), s...)
}

// properties is the empty property list of MQTT 5.
func (d *device) properties() []byte {
	if d.version == 5 {
		return []byte{0}
	}
	return nil
}

func packet(first byte, parts ...[]byte) []byte {
	body := bytes.Join(parts, nil)
	return append(binary.AppendUvarint([]byte{first}, uint64(len(body))), body...)
}

// connectPacket signs in; keepalive is in seconds.
func (d *device) connectPacket(id, user, password string, keepalive uint16) []byte {
	flags := byte(0x02) // clean start
	payload := text(id)
	if user != "" {
		flags |= 0xC0
		payload = append(append(payload, text(user)...), text(password)...)
	}
	return packet(0x10, text("MQTT"), []byte{d.version, flags},
		binary.BigEndian.AppendUint16(nil, keepalive), d.properties(), payload)
}

func (d *device) publishPacket(topic, payload string, qos byte, id uint16) []byte {
	head := text(topic)
	if qos > 0 {
		head = binary.BigEndian.AppendUint16(head, id)
	}
	return packet(0x30|qos<<1, head, d.properties(), []byte(payload))
}

// read reads one packet: its first byte and its body.
func (d *device) read() (first byte, body []byte, err error) {
	one := make([]byte, 1)
	if _, err = io.ReadFull(d, one); err != nil {
		return 0, nil, err
	}
	length, err := binary.ReadUvarint(byteReader{d})
	if err != nil {
		return 0, nil, err
	}
	body = make([]byte, length)
	_, err = io.ReadFull(d, body)
	return one[0], body, err
}

type byteReader struct{ io.Reader }

func (r byteReader) ReadByte() (byte, error) {
	var b [1]byte
	_, err := io.ReadFull(r, b[:])
	return b[0], err
}

// say writes a packet and reads the answer.
func (d *device) say(t *testing.T, p []byte) (first byte, body []byte) {
	t.Helper()
	if _, err := d.Write(p); err != nil {
		t.Fatalf("write: %v", err)
	}
	first, body, err := d.read()
	if err != nil {
		t.Fatalf("no answer to % x: %v", p, err)
	}
	return first, body
}

// signIn connects and returns the CONNACK's code.
func (d *device) signIn(t *testing.T, id, user, password string) byte {
	t.Helper()
	first, body := d.say(t, d.connectPacket(id, user, password, 60))
	if first != 0x20 || len(body) < 2 {
		t.Fatalf("no CONNACK but %x % x", first, body)
	}
	return body[1]
}

// publish sends QoS 1 and returns the PUBACK's reason code.
func (d *device) publish(t *testing.T, topic, payload string, id uint16) (reason byte, body []byte) {
	t.Helper()
	first, body := d.say(t, d.publishPacket(topic, payload, 1, id))
	if first != 0x40 || len(body) < 2 || binary.BigEndian.Uint16(body) != id {
		t.Fatalf("no PUBACK %d but %x % x", id, first, body)
	}
	if len(body) == 2 {
		return 0, body
	}
	return body[2], body
}

// gone reports whether the broker closes the connection.
func (d *device) gone() bool {
	for {
		if _, _, err := d.read(); err != nil {
			var timeout net.Error
			return !errors.As(err, &timeout) || !timeout.Timeout()
		}
	}
}

func pahoPublish(topic, payload string) *paho.Publish {
	return &paho.Publish{Topic: topic, QoS: 1, Payload: []byte(payload)}
}
