package gpio

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"strconv"
	"strings"
	"syscall"
)

// place is where a line was found.
type place struct {
	path   string // of its chip
	chip   string
	offset int
	line   lineInfo
}

func (p place) String() string { return fmt.Sprintf("%s:%d", p.chip, p.offset) }

// errNoLine says that the kernel offers no such line.
var errNoLine = errors.New("no such line")

// find looks for the line that Config.Pin names on all chips.
func find(h host, pin string) (place, error) {
	s := search{pin: pin}
	for _, path := range h.paths() {
		if err := s.chip(h, path); err != nil {
			s.refused = errors.Join(s.refused, err)
		}
	}
	for _, found := range [][]place{s.exact, s.alike} {
		switch len(found) {
		case 0:
			continue
		case 1:
			return found[0], nil
		}
		return place{}, fmt.Errorf("gpio %s: %d lines have this name; give one of %s instead", pin, len(found), joined(found))
	}
	return place{}, s.nothing()
}

type search struct {
	pin     string
	exact   []place
	alike   []place // but for capitals
	there   []string
	refused error
}

func (s *search) chip(h host, path string) (err error) {
	c, err := h.open(path)
	if err != nil {
		return accessHint(path, err)
	}
	defer func() { err = errors.Join(err, c.close()) }()
	info, err := c.info()
	if err != nil {
		return err
	}
	var names []string
	for offset := range info.lines {
		l, err := c.line(offset)
		if err != nil {
			return err
		}
		s.compare(place{path, info.name, offset, l}, info.label)
		if l.name != "" {
			names = append(names, l.name)
		}
	}
	s.there = append(s.there, describe(info, names))
	return nil
}

func (s *search) compare(p place, label string) {
	number := strconv.Itoa(p.offset)
	for _, name := range []string{p.line.name, p.chip + ":" + number, label + ":" + number, p.path + ":" + number} {
		switch {
		case name == "":
		case name == s.pin:
			s.exact = append(s.exact, p)
			return
		case strings.EqualFold(name, s.pin):
			s.alike = append(s.alike, p)
			return
		}
	}
}

const mostNames = 40

// describe says which lines a chip has.
func describe(info chipInfo, names []string) string {
	all := fmt.Sprintf("%s:0 to :%d", info.name, info.lines-1)
	if info.label != "" && info.label != info.name {
		all += " (" + info.label + ")"
	}
	if len(names) == 0 {
		return all
	}
	more := ""
	if len(names) > mostNames {
		names, more = names[:mostNames], " ..."
	}
	return all + " with names " + strings.Join(names, " ") + more
}

// nothing says why nothing was found.
func (s *search) nothing() error {
	switch {
	case s.refused != nil:
		return fmt.Errorf("gpio %s: %w", s.pin, s.refused)
	case len(s.there) == 0:
		return fmt.Errorf("gpio %s: %w: there is no /dev/gpiochip*; load the driver of the GPIO chip, or map the device into the container", s.pin, errNoLine)
	}
	return fmt.Errorf("gpio %s: %w; there are: %s", s.pin, errNoLine, strings.Join(s.there, "; "))
}

func joined(places []place) string {
	var names []string
	for _, p := range places {
		names = append(names, p.String())
	}
	return strings.Join(names, ", ")
}

// accessHint says what opens a device that refuses.
func accessHint(path string, err error) error {
	if !errors.Is(err, fs.ErrPermission) {
		return err
	}
	group := "root"
	if info, failed := os.Stat(path); failed == nil {
		if sys, ok := info.Sys().(*syscall.Stat_t); ok && sys.Gid != 0 {
			group = strconv.FormatUint(uint64(sys.Gid), 10)
			if g, failed := user.LookupGroupId(group); failed == nil {
				group = g.Name
			}
		}
	}
	if group == "root" {
		return fmt.Errorf("%w; it belongs to root alone: give /dev/gpiochip* a group by a udev rule and add the agent's user to it", err)
	}
	return fmt.Errorf("%w; add the agent's user to the group %s (SupplementaryGroups=%s in its unit)", err, group, group)
}

// obtain finds the line and asks for it.
func obtain(h host, u use) (_ line, err error) {
	p, err := find(h, u.cfg.Pin)
	if err != nil {
		return nil, err
	}
	c, err := h.open(p.path)
	if err != nil {
		return nil, fmt.Errorf("gpio %s: %w", u.cfg.Pin, accessHint(p.path, err))
	}
	defer func() { err = errors.Join(err, c.close()) }()
	l, err := c.request(p.offset, u)
	switch {
	case err == nil:
		return l, nil
	case errors.Is(err, syscall.EBUSY):
		holder, _ := c.line(p.offset) // without an answer it has no name
		return nil, busy(u.cfg.Pin, p, holder)
	}
	return nil, fmt.Errorf("gpio %s: ask for %s as an input with edges: %w; check that the line can give interrupts", u.cfg.Pin, p, err)
}

// busy says who holds the line.
func busy(pin string, p place, holder lineInfo) error {
	by := "something that gives no name"
	if holder.by != "" {
		by = strconv.Quote(holder.by)
	}
	return fmt.Errorf("gpio %s: %s is in use by %s: %w; end that program or driver, or take another line", pin, p, by, syscall.EBUSY)
}
