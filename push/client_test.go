package push

import (
	"context"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"testing"
)

// The blocks are those of the IANA special-purpose address registries (RFC 6890
// and its updates), tried at their edges.
func TestIsPublic(t *testing.T) {
	for address, public := range map[string]bool{
		"5.6.7.8": true, "93.0.0.1": true, "100.63.255.255": true, "100.128.0.1": true, "172.32.0.1": true, "192.169.0.1": true,
		"2a00::1": true, "2600::1": true, "::ffff:5.6.7.8": true, "64:ff9b::506:708": true,
		"0.0.0.0": false, "0.1.2.3": false, "10.0.0.1": false, "100.64.0.1": false, "100.127.255.255": false, "127.0.0.1": false,
		"127.255.255.254": false, "169.254.169.254": false, "172.16.0.1": false, "172.31.255.255": false, "192.0.0.8": false,
		"192.0.2.1": false, "192.88.99.1": false, "192.168.1.1": false, "198.18.0.1": false, "198.51.100.1": false,
		"203.0.113.1": false, "224.0.0.1": false, "239.255.255.255": false, "240.0.0.1": false, "255.255.255.255": false,
		"::": false, "::1": false, "::ffff:127.0.0.1": false, "::ffff:10.0.0.1": false, "::7f00:1": false,
		"64:ff9b::7f00:1": false, "64:ff9b::a9fe:a9fe": false, "64:ff9b:1::1": false, "100::1": false, "2001::1": false,
		"2001:db8::1": false, "2002:7f00:1::1": false, "3fff::1": false, "fc00::1": false, "fd12:3456::1": false,
		"fe80::1": false, "fe80::1%eth0": false, "fec0::1": false, "ff02::1": false, "2a00::1%eth0": false, "4000::1": false,
	} {
		if got := IsPublic(netip.MustParseAddr(address)); got != public {
			t.Errorf("%s: public %v, want %v", address, got, public)
		}
	}
	if IsPublic(netip.Addr{}) {
		t.Error("no address is public")
	}
}

func TestClientRefusesPrivateAddresses(t *testing.T) {
	hits := 0
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { hits++ }))
	defer server.Close()
	_, port, err := net.SplitHostPort(server.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	client := NewClient(ClientOptions{})
	for _, host := range []string{"127.0.0.1", "localhost", "[::ffff:127.0.0.1]", "[::1]", "0.0.0.0"} {
		resp, err := client.Get("http://" + host + ":" + port)
		if err == nil {
			resp.Body.Close()
		}
		if !errors.Is(err, ErrAddress) {
			t.Errorf("%s: %v", host, err)
		}
	}
	if hits != 0 {
		t.Errorf("%d requests got through", hits)
	}
	resp, err := NewClient(ClientOptions{AllowPrivate: true}).Get(server.URL)
	if err != nil || hits != 1 {
		t.Fatalf("with the option: %v", err)
	}
	resp.Body.Close()
}

func TestPublicOnlyReadsTheAddress(t *testing.T) {
	for _, c := range []struct {
		network, address string
		ok               bool
	}{
		{"tcp4", "5.6.7.8:443", true}, {"tcp6", "[2600::1]:443", true},
		{"tcp4", "10.1.1.1:443", false}, {"unix", "/run/x.sock", false}, {"udp4", "5.6.7.8:443", false}, {"tcp4", "name:443", false},
	} {
		if err := only(IsPublic)(context.Background(), c.network, c.address, nil); (err == nil) != c.ok {
			t.Errorf("%s %s: %v", c.network, c.address, err)
		}
	}
}

func TestClientIgnoresProxiesAndHasATimeout(t *testing.T) {
	client := NewClient(ClientOptions{})
	if client.Timeout != sendTimeout || client.Transport.(*http.Transport).Proxy != nil {
		t.Error("no time-out, or a proxy")
	}
	if err := client.CheckRedirect(nil, nil); err != http.ErrUseLastResponse {
		t.Errorf("redirects: %v", err)
	}
}
