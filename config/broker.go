package config

import "net"

// Broker is the MQTT broker within this program.
type Broker struct {
	// Needed: a meter publishes to it.
	Needed bool
	// Listen is host:port.
	Listen string
	// TLS has the modes TLSOff and TLSFiles.
	TLS TLS
}

// broker decodes [mqtt]. The meters have been read.
func (b *builder) broker(s *section) {
	v := &b.file.Broker
	*v = Broker{Listen: ":1883", TLS: TLS{Mode: TLSOff}}
	for _, m := range b.meters {
		v.Needed = v.Needed || m.meter.Driver == "mqtt"
	}
	if !s.word("tls", (*plainWord)(&v.TLS.Mode), TLSOff, TLSFiles) && s.has("tls") {
		v.TLS.Mode = tlsUnknown
	}
	if v.TLS.Mode != TLSOff {
		v.Listen = ":8883"
	}
	s.address("listen", &v.Listen)
	s.certificate(&v.TLS)
	if s.node != nil {
		b.brokerAdvice(s)
	}
	s.close()
}

func (b *builder) brokerAdvice(s *section) {
	v := &b.file.Broker
	_, mine, _ := net.SplitHostPort(v.Listen)
	_, pages, _ := net.SplitHostPort(b.file.Server.Listen)
	switch {
	case mine == pages && mine != "0":
		s.wrong("listen", "the broker and the pages cannot share port "+mine, `use another port here; ":1883" is usual`)
	case !v.Needed && !b.lost:
		s.in.tell(s.node, Warning, `no meter has driver = "mqtt", so the broker is not started`, "remove this section, or add such a meter")
	}
}
