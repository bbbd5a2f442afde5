package file

import (
	"path/filepath"
	"regexp"
	"sync"

	"weepd/rules/reading"
)

// node is a sort of file of the kernel's: how its number becomes °C, and which
// files beside it say more.
type node struct {
	sort  string
	match *regexp.Regexp // of the file's name; its groups fill in the names below

	// Value in °C = (number + offset) * scale * unitC, where offset and scale
	// are in the first of these files that is there, else 0 and 1.
	offsets, scales []string
	unitC           float64 // 0: not a temperature

	fault string // a file that says 1 while the sensor is at fault
	w1    bool   // the file holds the scratchpad's two lines
}

// milli: all these give thousandths of a degree Celsius.
const milli = 0.001

// nodes are the sorts of files that are known, the first that fits counts.
//
//   - iio: Documentation/ABI/testing/sysfs-bus-iio, in_tempX_raw: "Units after
//     application of scale and offset are milli degrees Celsius"; offset: "to be
//     added to Y_raw prior to scaling by Y_scale"; a scale may be shared by all
//     channels of a type.
//   - hwmon: Documentation/hwmon/sysfs-interface, temp[1-*]_input: "Unit:
//     millidegree Celsius", temp[1-*]_fault: 1 is a fault.
//   - w1: Documentation/w1/slaves/w1_therm: temperature "in millidegrees
//     Celsius"; w1_slave: the nine bytes twice, crc=XX YES or NO, t=m°C.
//   - thermal: Documentation/driver-api/thermal/sysfs-api, temp: "Unit:
//     millidegree Celsius".
//
// The patterns are compiled when a file is first looked at, once for all: done
// at each reading they were two thirds of what an agent allocated.
var nodes = sync.OnceValue(func() []node {
	re := regexp.MustCompile
	return []node{
		{sort: "iio", match: re(`/(in_temp[0-9]*)(_[a-z0-9_]+?)?_raw$`), unitC: milli,
			offsets: []string{"${1}${2}_offset", "${1}_offset", "in_temp_offset"},
			scales:  []string{"${1}${2}_scale", "${1}_scale", "in_temp_scale", "in_scale"}},
		{sort: "iio", match: re(`/in_temp[a-z0-9_]*_input$`), unitC: milli},
		{sort: "iio", match: re(`/in_[a-z]+[a-z0-9_-]*_(raw|input)$`)},
		{sort: "hwmon", match: re(`/(temp[0-9]+)_input$`), unitC: milli, fault: "${1}_fault"},
		{sort: "hwmon", match: re(`/(in|curr|power|energy|fan|humidity)[0-9]+_input$`)},
		{sort: "w1", match: re(`/[0-9a-f]{2}-[0-9a-f]{12}/temperature$`), unitC: milli},
		{sort: "w1", match: re(`/w1_slave$`), unitC: milli, w1: true},
		{sort: "thermal", match: re(`/thermal_zone[0-9]+/temp$`), unitC: milli},
	}
})

// nodeOf tells what a path is by its name; ok is false if it is nothing known.
func nodeOf(path string) (node, bool) {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	for _, n := range nodes() {
		at := n.match.FindStringSubmatchIndex(path)
		if at == nil {
			continue
		}
		beside := func(names []string) (paths []string) {
			for _, name := range names {
				paths = append(paths, filepath.Join(filepath.Dir(path), string(n.match.ExpandString(nil, name, path, at))))
			}
			return paths
		}
		n.offsets, n.scales = beside(n.offsets), beside(n.scales)
		if n.fault != "" {
			n.fault = beside([]string{n.fault})[0]
		}
		return n, true
	}
	return node{}, false
}

// celsius reports whether a point is in °C.
func celsius(k reading.Kind) bool { return k == reading.Temp || k == reading.Ref }
