package store

import (
	"bytes"
	"encoding/binary"
	"errors"

	"drumturn/coordinator"
)

var errCheckpoint = errors.New("a machine's checkpoint does not decode: the file is damaged")

// encodeCheckpoint writes time, version, engine's name and data.
func encodeCheckpoint(c *coordinator.MachineCheckpoint) []byte {
	out := appendTime(make([]byte, 0, timeLen+len(c.Engine)+len(c.Data)+8), c.At)
	out = binary.AppendVarint(out, int64(c.Version))
	out = binary.AppendUvarint(out, uint64(len(c.Engine)))
	out = append(out, c.Engine...)
	return append(out, c.Data...)
}

// decodeCheckpoint copies; it fills all but Machine.
func decodeCheckpoint(b []byte) (c coordinator.MachineCheckpoint, err error) {
	if c.At, err = timeAt(b); err != nil {
		return c, err
	}
	b = b[timeLen:]
	version, n := binary.Varint(b)
	if n <= 0 {
		return c, errCheckpoint
	}
	b = b[n:]
	size, n := binary.Uvarint(b)
	if n <= 0 || size > uint64(len(b)-n) {
		return c, errCheckpoint
	}
	b = b[n:]
	c.Version, c.Engine, c.Data = int(version), string(b[:size]), bytes.Clone(b[size:])
	return c, nil
}
