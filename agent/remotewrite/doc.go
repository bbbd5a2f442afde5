// Package remotewrite pushes the station's metrics to a receiver of Prometheus
// remote write, version 1 of its message, for stations that cannot be scraped.
//
// Each interval the metrics are gathered and sent at once, so that a backlog
// never holds the newest up. What the receiver did not take waits: in memory
// for some minutes, then in files that are bounded and survive a restart; while
// all goes well nothing is written to the disk. A backlog goes out, oldest
// first, after each fresh message that was taken. Samples that are older than
// the receiver takes are not sent, because one of them makes Prometheus 2.42
// refuse, with status 500, all that is in the message with them. What is refused
// all the same is halved until the culprit is alone, tried a few times, and
// dropped and counted.
package remotewrite

import (
	"log/slog"
	"time"
)

// Config says where to write to and what may wait.
type Config struct {
	URL          string
	Every        time.Duration // between two samples of a series
	MaxAge       time.Duration // older samples are not sent
	MaxBytes     int64         // of the files
	Dir          string        // of the files
	Station      string        // value of the labels instance and station
	Version      string
	Username     string
	PasswordFile string // read at each message, so that it may be changed
	TLS          TLS
	Log          *slog.Logger
}

// TLS has the files of an encrypted connection; empty means not given.
type TLS struct {
	CA, Cert, Key, ServerName string
}
