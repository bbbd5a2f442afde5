package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules/reading"
)

// counting is the dialogue with a person who counts along.
type counting struct {
	out    *printer
	lines  <-chan string // what the person enters; closed at the end
	screen bool
	watch  interface{ Rows() []agent.PointRow }
	clock  interface{ Steady() time.Duration }
	point  reading.Point

	compared bool // at least once
	agreed   bool // the last time
}

func newCounting(ctx context.Context, s streams, watch *agent.Points, clock *agent.Clock, point reading.Point) *counting {
	_, screen := screenOf(s.out)
	return &counting{out: &printer{w: s.out}, lines: linesOf(ctx, s.in), screen: screen, watch: watch, clock: clock, point: point}
}

// linesOf reads lines until the end. A read of a terminal cannot be ended from
// outside: its goroutine ends with the next line after ctx, or the program.
func linesOf(ctx context.Context, r io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		for scanner := bufio.NewScanner(r); scanner.Scan(); {
			select {
			case lines <- strings.TrimSpace(scanner.Text()):
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

var errEnded = errors.New("ended")

// run counts as often as the person wants.
func (c *counting) run(ctx context.Context) error {
	c.out.printf("Counting along at %s.\n\n%s\n\n", c.point.Gland, countCaution)
	var err error
	for err == nil && c.out.err == nil {
		err = c.round(ctx)
	}
	switch {
	case c.out.err != nil:
		return c.out.err
	case !errors.Is(err, errEnded):
		return err
	case ctx.Err() == nil && !c.compared:
		return errors.New("nothing was compared: the input ended before a count was entered")
	case c.compared && !c.agreed:
		return fmt.Errorf("the drip sensor of %s disagrees with the last count", c.point.Gland)
	}
	return nil
}

// round is one count; errEnded says that the person has enough.
func (c *counting) round(ctx context.Context) error {
	c.out.printf("Enter starts the count, q ends: ")
	line, ok := c.line(ctx, nil)
	if !ok || strings.EqualFold(line, "q") {
		c.out.printf("\n")
		return errEnded
	}
	from := c.row()
	if !from.Seen || !from.Reading.Quality.OK() {
		c.out.printf("The sensor cannot be read yet: %s. %s\n", quality(from), from.Cause)
		return nil
	}
	began := c.clock.Steady()
	c.out.printf("Counting. Enter ends the count.\n")
	line, ok = c.line(ctx, func() { c.progress(from, began) })
	span, to := c.clock.Steady()-began, c.row()
	if !ok || strings.EqualFold(line, "q") {
		c.out.printf("\n")
		return errEnded
	}
	c.out.printf("\nEnded after %s. ", spanText(span))
	hand, ok := c.number(ctx, line)
	if !ok {
		return errEnded
	}
	if to.Bad > from.Bad {
		c.out.printf("Not compared: the sensor was not to be believed meanwhile (%s). Look at `weepd points`, then count again.\n", quality(to))
		return nil
	}
	verdict := agreement{hand: hand, sensor: to.Drops - from.Drops, span: span}
	c.compared, c.agreed = true, verdict.holds()
	c.out.printf("%s\n", verdict)
	return nil
}

func (c *counting) row() agent.PointRow { return c.watch.Rows()[0] }

// progress shows how far the count is: in place on a terminal.
func (c *counting) progress(from agent.PointRow, began time.Duration) {
	now := c.row()
	span := c.clock.Steady() - began
	n := now.Drops - from.Drops
	text := fmt.Sprintf("%d drops in %s, %s", n, spanText(span), dpmText(n, span))
	if now.Bad > from.Bad {
		text += ", not to be believed: " + quality(now)
	}
	if c.screen {
		c.out.printf("\r%s%s", text, clearLine)
		return
	}
	c.out.printf("%s\n", text)
}

// line waits for a line and calls meanwhile now and then; ok is false at the
// end of the input or of ctx.
func (c *counting) line(ctx context.Context, meanwhile func()) (line string, ok bool) {
	every := printEvery
	if c.screen {
		every = redrawEvery
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return "", false
		case line, ok = <-c.lines:
			return line, ok
		case <-tick.C:
			if meanwhile != nil {
				meanwhile()
			}
		}
	}
}

// mostDrops is more than anybody counts.
const mostDrops = 100_000

// number gives what was counted: in the line that ended the count, or in the
// next that is a number.
func (c *counting) number(ctx context.Context, line string) (uint64, bool) {
	for ok := true; ok; line, ok = c.line(ctx, nil) {
		n, err := strconv.ParseUint(line, 10, 64)
		if err == nil && n <= mostDrops {
			return n, true
		}
		if line != "" {
			c.out.printf("%q is no whole number up to %d. ", line, mostDrops)
		}
		c.out.printf("How many drops did you count? ")
	}
	c.out.printf("\n")
	return 0, false
}
