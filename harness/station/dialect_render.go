package station

import (
	"fmt"

	"bufferstop/harness/dcc"
)

func (d *Dialect) cannot(c Command, format string, values ...any) error {
	return &NotSupported{Operation: c.operation, Why: fmt.Sprintf(format, values...)}
}

// nameable sees that what the template leaves out is what the station takes by itself.
func (d *Dialect) nameable(c Command, r *request) error {
	if c.address != nil {
		if *c.address == dcc.Broadcast {
			return d.cannot(c, "the broadcast address is no locomotive")
		}
		// Without a word for it, only the number can say which kind of address is meant.
		_, fixed := r.fixed[kind]
		if long := int(c.address.Number) >= d.firstLong; !fixed && !r.uses(kind) && long != c.address.Long {
			return d.cannot(c, "dialect %q cannot name address %s: numbers from %d on are long there", d.name, c.address, d.firstLong)
		}
	}
	for name, only := range r.fixed {
		if got := c.values[name]; got != only && (name != method || got != "default") {
			return d.cannot(c, "dialect %q has only %s = %s, not %s", d.name, name, only, got)
		}
	}
	if _, fixed := r.fixed[method]; !fixed && !r.uses(method) {
		if m := c.values[method]; m != "" && m != "default" {
			return d.cannot(c, "dialect %q leaves the method of %s to the station", d.name, c.operation)
		}
	}
	return nil
}

// uses reports whether the template says the value, by itself or in a field.
func (r *request) uses(name valueName) bool {
	for _, p := range r.template.parts {
		if p.name == name {
			return true
		}
		if p.field != nil && p.field.uses(name) {
			return true
		}
	}
	return false
}

// place is what stands in a place of the template.
func (d *Dialect) place(c Command, p part) (string, error) {
	if p.field != nil {
		result, err := p.field.compute(c)
		if err != nil {
			return "", d.cannot(c, "dialect %q cannot compute {%s}: %s", d.name, p.name, err)
		}
		return d.number(c, p, result)
	}
	given := c.values[p.name]
	words := d.words[p.name]
	if words == nil {
		return d.number(c, p, given)
	}
	word, ok := words[given]
	if !ok {
		return "", d.cannot(c, "dialect %q has no word for %s %s", d.name, p.name, given)
	}
	return word, nil
}

func (d *Dialect) number(c Command, p part, number string) (string, error) {
	text, err := p.format.write(number)
	if err != nil {
		return "", d.cannot(c, "dialect %q cannot write {%s}: %s", d.name, p.name, err)
	}
	return text, nil
}
