package push

import (
	"context"
	"encoding/binary"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"sync/atomic"
	"testing"
)

// names is a name server on this machine that gives every name the address it
// is set to. Messages are those of RFC 1035 section 4.1.
type names struct {
	at   net.PacketConn
	now  atomic.Pointer[netip.Addr]
	asks atomic.Int32
}

func newNames(t *testing.T) *names {
	t.Helper()
	at, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	n := &names{at: at}
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 512)
		for {
			size, from, err := at.ReadFrom(buf)
			if err != nil {
				return
			}
			_, _ = at.WriteTo(n.answer(buf[:size]), from)
		}
	}()
	t.Cleanup(func() { _ = at.Close(); <-done })
	return n
}

// answer copies the header and the question and adds an A record, unless
// another type is asked for.
func (n *names) answer(ask []byte) []byte {
	n.asks.Add(1)
	end := 12
	for ask[end] != 0 {
		end += int(ask[end]) + 1
	}
	kind := binary.BigEndian.Uint16(ask[end+1:])
	out := append([]byte(nil), ask[:end+5]...)
	binary.BigEndian.PutUint16(out[2:], 0x8180) // an answer, recursion as asked for
	for i := 6; i < 12; i++ {
		out[i] = 0
	}
	if kind != 1 {
		return out
	}
	out[7] = 1
	out = append(out, 0xc0, 12, 0, 1, 0, 1, 0, 0, 0, 0, 0, 4) // the name asked for, A, IN, TTL 0, four octets
	return append(out, n.now.Load().AsSlice()...)
}

func (n *names) resolver() *net.Resolver {
	return &net.Resolver{PreferGo: true, Dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "udp4", n.at.LocalAddr().String())
	}}
}

// TestANameThatChangesItsAddress: a name that was fine when its subscription was
// taken, and for the first message, leads to a private address later. It is the
// address that is checked, at each connection.
func TestANameThatChangesItsAddress(t *testing.T) {
	outside := netip.MustParseAddr("127.0.0.2") // stands for the open internet here
	hits := 0
	listener, err := net.Listen("tcp4", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	server := &httptest.Server{Listener: listener, Config: &http.Server{Handler: http.HandlerFunc(func(http.ResponseWriter, *http.Request) { hits++ })}}
	server.Start()
	defer server.Close()
	_, port, err := net.SplitHostPort(listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	ns := newNames(t)
	client := newClient(ClientOptions{Resolver: ns.resolver()}, func(a netip.Addr) bool { return a == outside })
	get := func(address string) error {
		at := netip.MustParseAddr(address)
		ns.now.Store(&at)
		client.CloseIdleConnections()
		resp, err := client.Get("http://push.weiher.org:" + port)
		if err == nil {
			resp.Body.Close()
		}
		return err
	}
	if err := get("127.0.0.2"); err != nil || hits != 1 {
		t.Fatalf("the address that is allowed: %v, %d requests", err, hits)
	}
	for _, address := range []string{"127.0.0.1", "10.0.0.1", "169.254.169.254", "192.168.1.1"} {
		if err := get(address); !errors.Is(err, ErrAddress) {
			t.Errorf("%s: %v", address, err)
		}
	}
	if hits != 1 || ns.asks.Load() < 5 {
		t.Errorf("%d requests got through, %d names were asked for", hits, ns.asks.Load())
	}
}
