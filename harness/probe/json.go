package probe

import (
	"bytes"
	"encoding/json"
	"errors"
)

// strictJSON reads one value with no key that is unknown and nothing behind it.
func strictJSON(p []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(p))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if d.More() {
		return errors.New("more than one value")
	}
	return nil
}
