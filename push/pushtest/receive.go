package pushtest

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// header is that of the aes128gcm content coding, RFC 8188 section 2.1.
type header struct {
	salt       []byte // 16 octets
	recordSize int    // octets of a whole record, with delimiter, padding and tag
	keyID      []byte
	records    []byte // what follows the header
}

func parseHeader(body []byte) (header, error) {
	if len(body) < 21 {
		return header{}, errors.New("shorter than a header (RFC 8188 section 2.1)")
	}
	idLength := int(body[20])
	if len(body) < 21+idLength {
		return header{}, errors.New("ends within the key id (RFC 8188 section 2.1)")
	}
	h := header{
		salt:       body[:16],
		recordSize: int(binary.BigEndian.Uint32(body[16:20])),
		keyID:      body[21 : 21+idLength],
		records:    body[21+idLength:],
	}
	if h.recordSize < 18 {
		return header{}, errors.New("record size under 18 (RFC 8188 section 2.1)")
	}
	return h, nil
}

// secrets are derived from the input keying material, RFC 8188 sections 2.2 and 2.3.
type secrets struct{ prk, cek, nonce []byte }

func derive(ikm, salt []byte) (secrets, error) {
	var s secrets
	var errs [3]error
	s.prk, errs[0] = hkdf.Extract(sha256.New, ikm, salt)
	s.cek, errs[1] = hkdf.Expand(sha256.New, s.prk, "Content-Encoding: aes128gcm\x00", 16)
	s.nonce, errs[2] = hkdf.Expand(sha256.New, s.prk, "Content-Encoding: nonce\x00", 12)
	return s, errors.Join(errs[:]...)
}

// openRecords decrypts all records, RFC 8188 section 2, and counts them.
func openRecords(h header, s secrets) (plain []byte, count int, err error) {
	block, err := aes.NewCipher(s.cek)
	if err != nil {
		return nil, 0, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, 0, err
	}
	for rest := h.records; len(rest) > 0; count++ {
		record := rest[:min(h.recordSize, len(rest))]
		rest = rest[len(record):]
		padded, err := gcm.Open(nil, recordNonce(s.nonce, count), record, nil)
		if err != nil {
			return nil, count, fmt.Errorf("record %d: %w", count, err)
		}
		data, err := unpad(padded, len(rest) == 0)
		if err != nil {
			return nil, count, fmt.Errorf("record %d: %w", count, err)
		}
		plain = append(plain, data...)
	}
	if count == 0 {
		return nil, 0, errors.New("no record at all")
	}
	return plain, count, nil
}

// recordNonce is the nonce exclusive-or the record's number as 96 bits, section 2.3.
func recordNonce(nonce []byte, number int) []byte {
	out := append([]byte(nil), nonce...)
	low := binary.BigEndian.Uint64(out[4:])
	binary.BigEndian.PutUint64(out[4:], low^uint64(number))
	return out
}

// unpad takes off zeros and the delimiter: 2 for the last record, 1 before it (section 2).
func unpad(padded []byte, last bool) ([]byte, error) {
	i := len(padded) - 1
	for i >= 0 && padded[i] == 0 {
		i--
	}
	want := byte(1)
	if last {
		want = 2
	}
	if i < 0 || padded[i] != want {
		return nil, fmt.Errorf("delimiter is not %d", want)
	}
	return padded[:i], nil
}

// combine derives the input keying material of a push message, RFC 8291
// sections 3.3 and 3.4, and gives the intermediate values too.
func combine(ecdhSecret, auth, receiverPublic, senderPublic []byte) (prkKey, keyInfo, ikm []byte, err error) {
	prkKey, err = hkdf.Extract(sha256.New, ecdhSecret, auth)
	if err != nil {
		return nil, nil, nil, err
	}
	keyInfo = append([]byte("WebPush: info\x00"), receiverPublic...)
	keyInfo = append(keyInfo, senderPublic...)
	ikm, err = hkdf.Expand(sha256.New, prkKey, string(keyInfo), 32)
	return prkKey, keyInfo, ikm, err
}

// Open decrypts the body of a push message as a browser does (RFC 8291): the
// key id is the sender's public key, and there is exactly one record (section 4).
func Open(body []byte, private *ecdh.PrivateKey, auth []byte) ([]byte, error) {
	h, err := parseHeader(body)
	if err != nil {
		return nil, err
	}
	sender, err := ecdh.P256().NewPublicKey(h.keyID)
	if err != nil {
		return nil, fmt.Errorf("the key id is no public key (RFC 8291 section 4): %w", err)
	}
	if len(h.records) > h.recordSize {
		return nil, errors.New("more than one record (RFC 8291 section 4)")
	}
	shared, err := private.ECDH(sender)
	if err != nil {
		return nil, err
	}
	_, _, ikm, err := combine(shared, auth, private.PublicKey().Bytes(), h.keyID)
	if err != nil {
		return nil, err
	}
	s, err := derive(ikm, h.salt)
	if err != nil {
		return nil, err
	}
	plain, _, err := openRecords(h, s)
	return plain, err
}
