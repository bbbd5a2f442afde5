package modbus

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"strings"
	"syscall"
	"time"

	wire "github.com/simonvetter/modbus"

	"weepd/rules/reading"
	"weepd/sensors"
)

// exceptions of V1.1b3, section 7: what the unit answers instead of data. It is
// there, and the connection is good.
func exceptions() []exception {
	return []exception{
		{wire.ErrIllegalFunction, reading.Fault, "exception 1, illegal function: the device has no such table"},
		{wire.ErrIllegalDataAddress, reading.Fault, "exception 2, illegal data address: the device has no such register; does its manual count from 1?"},
		{wire.ErrIllegalDataValue, reading.Fault, "exception 3, illegal data value"},
		{wire.ErrServerDeviceFailure, reading.Fault, "exception 4, device failure"},
		{wire.ErrAcknowledge, reading.NoAnswer, "exception 5, acknowledge: the device needs longer"},
		{wire.ErrServerDeviceBusy, reading.NoAnswer, "exception 6, device busy"},
		{wire.ErrMemoryParityError, reading.Fault, "exception 8, memory parity error"},
		{wire.ErrGWPathUnavailable, reading.NoAnswer, "exception 10: the gateway has no path to this unit"},
		{wire.ErrGWTargetFailedToRespond, reading.NoAnswer, "exception 11: the unit does not answer its gateway"},
	}
}

type exception struct {
	err     error
	quality reading.Quality
	cause   string
}

// isException tells the answers of a unit from failures of the way to it.
func isException(err error) bool {
	for _, e := range exceptions() {
		if errors.Is(err, e.err) {
			return true
		}
	}
	return strings.HasPrefix(err.Error(), unknownException)
}

// unknownException begins the library's error for codes that it does not know.
const unknownException = "unknown exception code"

// findingOf tells failures apart.
func findingOf(err error, timeout time.Duration) sensors.Finding {
	for _, e := range exceptions() {
		if errors.Is(err, e.err) {
			return bad(e.quality, "", e.cause)
		}
	}
	is := func(targets ...error) bool {
		for _, t := range targets {
			if errors.Is(err, t) {
				return true
			}
		}
		return false
	}
	var timedOut net.Error
	switch {
	case strings.HasPrefix(err.Error(), unknownException):
		return bad(reading.Fault, "", err.Error())
	case is(wire.ErrRequestTimedOut):
		return bad(reading.NoAnswer, "", fmt.Sprintf("no answer within %s: unit off, wrong address, speed or parity, or wires swapped", timeout))
	case is(wire.ErrBadCRC, wire.ErrShortFrame, wire.ErrProtocolError, wire.ErrBadUnitId, wire.ErrBadTransactionId, wire.ErrUnknownProtocolId):
		return bad(reading.Garbled, "", "answer not understood ("+err.Error()+"): interference, wrong speed or parity, or two units with one address")
	case is(syscall.ECONNREFUSED):
		return bad(reading.NoAnswer, "", "connection refused: nothing listens at this address and port")
	case is(syscall.EHOSTUNREACH, syscall.ENETUNREACH):
		return bad(reading.NoAnswer, "", "the device's network cannot be reached")
	case is(io.EOF, io.ErrUnexpectedEOF, syscall.ECONNRESET, syscall.EPIPE, net.ErrClosed):
		return bad(reading.NoAnswer, "", "the device closed the connection")
	case is(fs.ErrNotExist):
		return bad(reading.NoAnswer, "", "no such serial device: is the adapter plugged in?")
	case is(fs.ErrPermission):
		return bad(reading.Fault, "", "no right to open the serial device; add the service to its group (dialout)")
	case is(os.ErrDeadlineExceeded), errors.As(err, &timedOut) && timedOut.Timeout():
		return bad(reading.NoAnswer, "", "no connection in time: the device is off or its network is cut")
	default:
		return bad(reading.NoAnswer, "", err.Error())
	}
}
