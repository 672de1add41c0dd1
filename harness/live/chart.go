package live

import (
	"time"

	"bufferstop/harness/current"

	"periph.io/x/conn/v3/physic"
)

// Columns is how many columns a chart keeps: enough for the widest terminal that somebody reads. Our own choice.
const Columns = 256

// Spans are how long a column of each chart lasts, the finest first: 25 seconds, four minutes and 42 minutes in all. Our own
// choice.
var Spans = [...]time.Duration{100 * time.Millisecond, time.Second, 10 * time.Second}

// A Column is the current over one span of a chart.
type Column struct {
	Count       int64 // of samples; with none the rest is zero
	Least, Most physic.ElectricCurrent
	sum         float64
}

// Mean is the mean of the samples.
func (c Column) Mean() physic.ElectricCurrent {
	if c.Count == 0 {
		return 0
	}
	return physic.ElectricCurrent(c.sum / float64(c.Count))
}

func (c *Column) add(i physic.ElectricCurrent) {
	if c.Count == 0 || i < c.Least {
		c.Least = i
	}
	if c.Count == 0 || i > c.Most {
		c.Most = i
	}
	c.Count++
	c.sum += float64(i)
}

// Sum is all columns as one.
func Sum(columns []Column) (all Column) {
	for _, c := range columns {
		all.merge(c)
	}
	return all
}

func (c *Column) merge(o Column) {
	if o.Count == 0 {
		return
	}
	if c.Count == 0 || o.Least < c.Least {
		c.Least = o.Least
	}
	if c.Count == 0 || o.Most > c.Most {
		c.Most = o.Most
	}
	c.Count += o.Count
	c.sum += o.sum
}

// A chart is a strip of paper that runs with the rig's clock.
type chart struct {
	span    time.Duration
	columns [Columns]Column
	newest  int64 // number of the column under way
}

// at goes on to the column in which t lies.
func (c *chart) at(t time.Duration) {
	n := int64(t / c.span)
	for ; c.newest < n; c.newest++ {
		if n-c.newest > Columns { // all of it has run out
			c.newest = n - Columns
		}
		c.columns[(c.newest+1)%Columns] = Column{}
	}
}

func (c *chart) sample(s current.Sample) {
	c.at(s.Time)
	if n := int64(s.Time / c.span); n >= 0 && n > c.newest-Columns {
		c.columns[n%Columns].add(s.Current)
	}
}

// appendTo appends the columns to dst, oldest first, from the beginning of the rig's clock on at the earliest.
func (c *chart) appendTo(dst []Column) []Column {
	for n := max(c.newest-Columns+1, 0); n <= c.newest; n++ {
		dst = append(dst, c.columns[n%Columns])
	}
	return dst
}
