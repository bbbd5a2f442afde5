package mqtt

import (
	"time"

	"weepd/agent/mqtt/sparkplug"
)

// tags are the metrics of a node or a device as they were last sent, in the
// order of the birth.
type tags struct {
	list   []*tag
	byName map[string]*tag
}

type tag struct {
	name     string
	alias    uint64 // 0: none
	datatype sparkplug.Datatype
	value    any // nil: not known
}

// aliases gives each metric of a node and its devices a number of its own
// (tck-id-payloads-alias-uniqueness).
type aliases struct{ last uint64 }

func newTags() *tags { return &tags{byName: make(map[string]*tag)} }

// add makes a metric; a nil numbers gives it no alias.
func (t *tags) add(numbers *aliases, name string, d sparkplug.Datatype, value any) {
	one := &tag{name: name, datatype: d, value: value}
	if numbers != nil {
		numbers.last++
		one.alias = numbers.last
	}
	t.list = append(t.list, one)
	t.byName[name] = one
}

func (t *tags) alias(name string) uint64 { return t.byName[name].alias }

// birth gives all metrics with name, alias, datatype and value.
func (t *tags) birth(at time.Time) []sparkplug.Metric {
	list := make([]sparkplug.Metric, 0, len(t.list))
	for _, one := range t.list {
		list = append(list, sparkplug.Metric{Name: one.name, Alias: one.alias, Time: at, Datatype: one.datatype, Value: one.value})
	}
	return list
}

// set gives one metric with a new value, by its alias alone
// (tck-id-payloads-alias-data-cmd-requirement).
func (t *tags) set(name string, value any, at time.Time) sparkplug.Metric {
	one := t.byName[name]
	one.value = value
	return sparkplug.Metric{Alias: one.alias, Time: at, Value: value}
}

// changed sets several and gives those that changed.
func (t *tags) changed(values []named, at time.Time) (list []sparkplug.Metric) {
	for _, v := range values {
		if t.byName[v.name].value != v.value {
			list = append(list, t.set(v.name, v.value, at))
		}
	}
	return list
}

type named struct {
	name  string
	value any
}
