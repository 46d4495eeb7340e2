package hooks

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"
)

// The headers of what is posted.
const (
	// HeaderEvent is the event's id, the same for every try.
	HeaderEvent = "Drumturn-Event"
	// HeaderTime is the instant of the try, Unix seconds.
	HeaderTime = "Drumturn-Time"
	// HeaderSignature is what Sign answers.
	HeaderSignature = "Drumturn-Signature"
)

// Sign is "v1=" and the HMAC-SHA256 (RFC 2104, FIPS 198-1), in hex, of the
// instant in Unix seconds, a full stop, and the body.
func Sign(secret string, at time.Time, body []byte) string {
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write([]byte(strconv.FormatInt(at.Unix(), 10) + "."))
	mac.Write(body)
	return "v1=" + hex.EncodeToString(mac.Sum(nil))
}
