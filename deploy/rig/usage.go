package rig

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// CPU gives the time that a process has spent on processors, by the kernel's
// nanosecond account of each of its threads (proc(5), schedstat).
func CPU(pid int) (time.Duration, error) {
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	if err != nil || len(threads) == 0 {
		return 0, fmt.Errorf("process %d is gone, or the kernel keeps no schedstat", pid)
	}
	sum := time.Duration(0)
	for _, path := range threads {
		text, err := os.ReadFile(path)
		if err != nil {
			continue // a thread that has ended; Go's hardly ever do
		}
		on, _, _ := strings.Cut(string(text), " ")
		ns, err := strconv.ParseInt(on, 10, 64)
		if err != nil {
			return 0, fmt.Errorf("%s: %w", path, err)
		}
		sum += time.Duration(ns)
	}
	return sum, nil
}

// RSS gives a process's resident memory in bytes (proc(5), status).
func RSS(pid int) (int64, error) { return statusKB(pid, "VmRSS:") }

func statusKB(pid int, key string) (int64, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(string(text)) {
		if value, found := strings.CutPrefix(line, key); found {
			kb, err := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(value), " kB"), 10, 64)
			return kb * 1024, err
		}
	}
	return 0, fmt.Errorf("process %d has no %s", pid, key)
}
