package httppush

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"drumturn/coordinator/meter"
)

// answer is a status and a sentence for whoever sets up the meter.
type answer struct {
	status int
	text   string
	// cause is what to show beside the meter; nil for the text.
	cause error
}

// taken is the answer to readings that are in the inbox.
var taken = answer{status: http.StatusNoContent}

func refuse(status int, format string, args ...any) answer {
	return answer{status: status, text: fmt.Sprintf(format, args...)}
}

// serve answers one request.
func (p *Push) serve(w http.ResponseWriter, r *http.Request) {
	a := p.answer(w, r)
	head := w.Header()
	head.Set("Cache-Control", "no-store")
	switch a.status {
	case http.StatusNoContent:
		w.WriteHeader(a.status)
		return
	case http.StatusUnauthorized:
		head.Set("WWW-Authenticate", `Bearer realm="meters"`)
	case http.StatusMethodNotAllowed:
		head.Set("Allow", http.MethodPost)
	case http.StatusServiceUnavailable:
		head.Set("Retry-After", "5")
	}
	head.Set("Content-Type", "text/plain; charset=utf-8")
	head.Set("X-Content-Type-Options", "nosniff")
	w.WriteHeader(a.status)
	_, _ = io.WriteString(w, a.text+"\n")
}

func (p *Push) answer(w http.ResponseWriter, r *http.Request) answer {
	if r.Method != http.MethodPost {
		return refuse(http.StatusMethodNotAllowed, "Send readings with POST.")
	}
	src := p.whose(r)
	if src == nil {
		return refuse(http.StatusUnauthorized, `No meter has this token. Send the header "Authorization: Bearer TOKEN" with the token of the building file.`)
	}
	if name := p.named(r); name != "" && name != src.name {
		return refuse(http.StatusNotFound, "There is nothing here for this meter. Post to %s or %s%s.", p.opts.Path, p.opts.Path, src.name)
	}
	s, done := p.enter()
	if s == nil {
		return refuse(http.StatusServiceUnavailable, "The program is starting or ending. Send the reading again in a moment.")
	}
	defer done()
	samples, a := p.read(w, r, src)
	if a != taken {
		if a.cause == nil {
			a.cause = meter.Because(meter.BadRequest, errors.New(a.text))
		}
		s.sink.Fail(src.name, a.cause)
		return a
	}
	return p.deliver(r.Context(), s, src, samples)
}

// whose finds the meter whose token a request carries.
func (p *Push) whose(r *http.Request) *source {
	scheme, token, ok := strings.Cut(r.Header.Get("Authorization"), " ")
	if !ok || !strings.EqualFold(scheme, "Bearer") {
		return nil
	}
	return p.byToken[sha256.Sum256([]byte(strings.TrimSpace(token)))]
}

// named is the meter's name in the path; empty when there is none.
func (p *Push) named(r *http.Request) string {
	rest, ok := strings.CutPrefix(r.URL.Path, p.opts.Path)
	if !ok && r.URL.Path+"/" == p.opts.Path {
		return ""
	}
	return strings.Trim(rest, "/")
}

// read reads the readings of a body; all of them, or none.
func (p *Push) read(w http.ResponseWriter, r *http.Request, src *source) ([]meter.Sample, answer) {
	if coding := r.Header.Get("Content-Encoding"); coding != "" && coding != "identity" {
		return nil, refuse(http.StatusUnsupportedMediaType, "The body is compressed (%s). Send it as it is.", coding)
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, p.opts.MaxBody))
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return nil, refuse(http.StatusRequestEntityTooLarge, "The body is larger than %d bytes. Send fewer readings at once.", p.opts.MaxBody)
	case err != nil:
		return nil, refuse(http.StatusRequestTimeout, "The body did not arrive whole. Send it again.")
	}
	samples, err := src.decoder.DecodeEach(src.name, body)
	if err == nil {
		err = inOrder(src.name, samples)
	}
	if err != nil {
		return nil, answer{http.StatusBadRequest, sentence(err), err}
	}
	return samples, taken
}

// inOrder checks what makes several readings of use: each with its time, oldest first.
func inOrder(name string, samples []meter.Sample) error {
	if len(samples) == 0 {
		return meter.Refuse(name, meter.Empty, "the list has no reading in it")
	}
	for i := range samples {
		switch {
		case len(samples) == 1:
		case samples[i].Stamp.IsZero():
			return meter.Refuse(name, meter.Empty, "reading %d of %d has no time: several at once need one each", i+1, len(samples))
		case i > 0 && samples[i].Stamp.Before(samples[i-1].Stamp):
			return meter.Refuse(name, meter.Malformed, "reading %d of %d is older than the one before it: send the oldest first", i+1, len(samples))
		}
	}
	return nil
}

// deliver hands the readings over in their order. One that is refused does not
// keep back those after it; a full inbox does.
func (p *Push) deliver(ctx context.Context, s *session, src *source, samples []meter.Sample) answer {
	ctx, cancel := context.WithTimeout(ctx, p.opts.AcceptWithin)
	defer cancel()
	stop := context.AfterFunc(s.ctx, cancel)
	defer stop()
	var first error
	refused := 0
	for i := range samples {
		err := s.sink.Deliver(ctx, src.name, samples[i])
		var refusal *meter.Refusal
		switch {
		case err == nil:
		case errors.As(err, &refusal):
			if refused++; first == nil {
				first = err
			}
		default:
			return refuse(http.StatusServiceUnavailable, "The room cannot take the reading now (%d of %d were taken). Send it again in a moment.", i-refused, len(samples))
		}
	}
	switch {
	case refused == 0:
		return taken
	case len(samples) == 1:
		return refuse(http.StatusBadRequest, "%s", sentence(first))
	}
	return refuse(http.StatusBadRequest, "%d of %d readings were refused, the others taken. The first refusal: %s", refused, len(samples), sentence(first))
}

// sentence is the text of a refusal, without the meter's name, which the meter knows.
func sentence(err error) string {
	var refusal *meter.Refusal
	if errors.As(err, &refusal) {
		return refusal.Text
	}
	return err.Error()
}
