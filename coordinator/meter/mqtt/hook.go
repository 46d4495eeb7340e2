package mqtt

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync/atomic"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"drumturn/coordinator/meter"
)

// hook is the broker's only hook: the library lets a client in as soon as any
// one hook says so, hence there must not be a second.
type hook struct {
	mochi.HookBase
	ctx      context.Context // of Run
	sink     meter.Sink
	server   *mochi.Server
	accounts map[string]*account
	within   time.Duration
	log      *slog.Logger
	guesses  guesses
	signIns  atomic.Uint64
}

// ID names the hook.
func (h *hook) ID() string { return "meters" }

// Provides lists what the hook answers.
func (h *hook) Provides(b byte) bool {
	switch b {
	case mochi.OnConnect, mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnPublish:
		return true
	}
	return false
}

// maxKeepalive is the longest keep-alive, s, whose one and a half times the
// library can hold: with more its deadline would lie in the past.
const maxKeepalive = 43690

// OnConnect takes away the client's will, since nobody could receive it, and its
// wish for a session that outlives the connection: there is nothing to keep, and
// a device that picks a new id each time would fill the memory with sessions.
func (h *hook) OnConnect(cl *mochi.Client, _ packets.Packet) error {
	cl.Properties.Will = mochi.Will{}
	cl.Properties.Clean = true // what MQTT 3.1.1 calls it; for 5 the limits say so
	cl.State.Keepalive = min(cl.State.Keepalive, maxKeepalive)
	return nil
}

// OnConnectAuthenticate lets in who knows a meter's user and password.
func (h *hook) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	c, ok := cl.Net.Conn.(*conn)
	if !ok {
		return false
	}
	user, from := string(pk.Connect.Username), host(c.RemoteAddr())
	if !h.guesses.allowed(from, user, time.Now()) {
		return false
	}
	a := signIn(h.accounts, user, pk.Connect.Password)
	if a == nil {
		h.refused(user, from)
		return false
	}
	c.account, c.client, c.clientID = a, cl, cl.ID
	// Within the library each connection has an id of its own, so that none can
	// reach the session of another, be it of the same device.
	cl.ID = fmt.Sprintf("%s/%d", user, h.signIns.Add(1))
	a.opened(c)
	h.log.Debug("meter signed in", "user", user, "remote", from)
	return true
}

// refused notes a failed sign-in beside the meters that it was meant for.
func (h *hook) refused(user, from string) {
	first := h.guesses.failed(from, user, time.Now())
	if first {
		h.log.Warn("mqtt broker refused a sign-in", "user", user, "remote", from)
	}
	if a := h.accounts[user]; a != nil {
		for _, m := range a.meters() {
			h.sink.Fail(m, meter.Because(meter.WrongPassword, fmt.Errorf("%s tried to sign in as user %q with a wrong password; check the password in the meter", from, user)))
		}
	}
}

// OnACLCheck lets nobody subscribe. Whether a topic may be published to is
// answered by OnPublish: refused here, the library would cut the connection of
// every 3.1.1 device that also publishes what does not matter.
func (h *hook) OnACLCheck(_ *mochi.Client, _ string, write bool) bool { return write }

// OnPublish runs before the message is acknowledged, and returns once the
// reading is in its room's inbox. No message is ever kept or passed on.
func (h *hook) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	c, ok := cl.Net.Conn.(*conn)
	if !ok || c.account == nil {
		return pk, packets.ErrRejectPacket
	}
	return pk, h.answer(cl, pk, h.deliver(c.account, pk))
}

// deliver hands a message to all meters that its topic feeds.
func (h *hook) deliver(a *account, pk packets.Packet) error {
	sources := a.topics[pk.TopicName]
	if sources == nil {
		return h.elsewhere(a, pk.TopicName)
	}
	a.heard.Store(true)
	ctx, cancel := context.WithTimeout(h.ctx, h.within)
	defer cancel()
	var worst error // one that may be mended by sending again counts more than a refusal
	for _, src := range sources {
		if err := src.deliver(ctx, h.sink, pk.Payload); err != nil && (worst == nil || isRefusal(worst)) {
			worst = err
		}
	}
	return worst
}

// deliver decodes a message and hands it over.
func (s *source) deliver(ctx context.Context, sink meter.Sink, payload []byte) error {
	sample, err := s.decoder.Decode(s.meter, payload)
	if err != nil {
		sink.Fail(s.meter, err)
		return err
	}
	return sink.Deliver(ctx, s.meter, sample)
}

// errElsewhere says that a topic is not the device's own.
var errElsewhere = errors.New("a meter may publish to its own topic only")

// elsewhere refuses a topic that is not the account's own. As long as nothing
// came to the right one this is probably a slip in the settings.
func (h *hook) elsewhere(a *account, topic string) error {
	if !a.heard.Load() {
		for own, sources := range a.topics {
			for _, src := range sources {
				h.sink.Fail(src.meter, meter.Because(meter.WrongTopic, fmt.Errorf("it published to %q, but its topic here is %q: make the two the same", topic, own)))
			}
		}
	}
	return errElsewhere
}

// answer turns the outcome into what makes the library send the right
// acknowledgement: CodeSuccessIgnore acknowledges and does nothing more, a Code
// goes into the acknowledgement of MQTT 5, ErrRejectPacket sends none.
func (h *hook) answer(cl *mochi.Client, pk packets.Packet, err error) error {
	final := err == nil || errors.Is(err, errElsewhere) || isRefusal(err)
	withCode := cl.Properties.ProtocolVersion == 5 && pk.FixedHeader.Qos == 1
	switch {
	case err == nil || pk.FixedHeader.Qos == 0:
		return packets.CodeSuccessIgnore
	case h.ctx.Err() != nil:
		return packets.ErrRejectPacket
	case withCode:
		return code(err)
	case final:
		// MQTT 3.1.1 has no negative acknowledgement, and sending it again is of no use.
		return packets.CodeSuccessIgnore
	default:
		// Without an acknowledgement the device sends the message again, but only
		// after it has connected anew.
		cl.Stop(err)
		return packets.ErrRejectPacket
	}
}

// code is the reason code of MQTT 5 (section 3.4.2.1) for an error.
func code(err error) packets.Code {
	c := packets.ErrQuotaExceeded
	var refusal *meter.Refusal
	switch {
	case errors.Is(err, errElsewhere):
		c = packets.ErrNotAuthorized
	case errors.As(err, &refusal) && (refusal.Reason == meter.Malformed || refusal.Reason == meter.Empty):
		c = packets.ErrPayloadFormatInvalid
	case refusal != nil:
		c = packets.ErrImplementationSpecificError
	}
	c.Reason = brief(err)
	return c
}

// brief is an error in one short line of valid text, as a reason string must be.
func brief(err error) string {
	text := strings.ToValidUTF8(strings.ReplaceAll(err.Error(), "\n", "; "), "?")
	if len(text) > 200 {
		text = strings.ToValidUTF8(text[:200], "") + "..."
	}
	return text
}

func isRefusal(err error) bool {
	var r *meter.Refusal
	return errors.As(err, &r)
}

// dropClient forgets a client whose connection ended in a panic, which the
// library itself no longer does.
func (h *hook) dropClient(cl *mochi.Client) {
	if cl == nil {
		return
	}
	if now, ok := h.server.Clients.Get(cl.ID); ok && now == cl {
		h.server.Clients.Delete(cl.ID)
	}
}

// host is an address without its port.
func host(a net.Addr) string {
	name, _, err := net.SplitHostPort(a.String())
	if err != nil {
		return a.String()
	}
	return name
}
