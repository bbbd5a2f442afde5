// Package systemd tells the service manager how the agent is (sd_notify(3)):
// ready, reloading, stopping, and alive, which only the loop's own turns say.
// It also writes the log with the journal's priorities (sd-daemon(3)). Without
// systemd all of it does nothing.
package systemd
