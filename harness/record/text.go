package record

import (
	"fmt"
	"reflect"
	"strings"
	"unicode/utf8"
)

// MaxText is the greatest length of one text in a record, in bytes. A station that floods its link fills no disk.
const MaxText = 16 << 10

// CleanText makes text from outside fit for a record: bytes that are no UTF-8 become \xNN, and what exceeds MaxText is cut
// off with a note that says how much there was. Control characters stay as they are; JSON carries them, and reports
// escape them.
func CleanText(text string) string {
	if len(text) <= MaxText && utf8.ValidString(text) {
		return text
	}
	note := fmt.Sprintf(" … (cut; %d bytes in all)", len(text))
	room := MaxText - len(note)
	var b strings.Builder
	for rest := text; len(rest) > 0; {
		r, size := utf8.DecodeRuneInString(rest)
		piece := rest[:size]
		if r == utf8.RuneError && size == 1 {
			piece = fmt.Sprintf(`\x%02x`, rest[0])
		}
		if b.Len()+len(piece) > room {
			return b.String() + note
		}
		b.WriteString(piece)
		rest = rest[size:]
	}
	return b.String()
}

// clean passes every text of the record through CleanText.
func (r *Record) clean() { cleanValue(reflect.ValueOf(r).Elem()) }

func cleanValue(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		if v.CanSet() {
			v.SetString(CleanText(v.String()))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			cleanValue(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			cleanValue(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				cleanValue(v.Field(i))
			}
		}
	case reflect.Map:
		cleanMap(v)
	case reflect.Interface:
		if v.IsNil() {
			return
		}
		fresh := reflect.New(v.Elem().Type()).Elem()
		fresh.Set(v.Elem())
		cleanValue(fresh)
		v.Set(fresh)
	}
}

// cleanMap cleans keys and values; neither can be changed in place.
func cleanMap(v reflect.Value) {
	if v.Type().Key().Kind() != reflect.String {
		return
	}
	for iter, keys := 0, v.MapKeys(); iter < len(keys); iter++ {
		key := reflect.New(v.Type().Key()).Elem()
		key.SetString(CleanText(keys[iter].String()))
		value := reflect.New(v.Type().Elem()).Elem()
		value.Set(v.MapIndex(keys[iter]))
		cleanValue(value)
		v.SetMapIndex(keys[iter], reflect.Value{})
		v.SetMapIndex(key, value)
	}
}
