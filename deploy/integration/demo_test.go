//go:build integration

package integration

import (
	"fmt"
	"regexp"
	"syscall"
	"testing"
	"time"
)

// The demo shows both conditions within a minute, in the metrics and in words,
// and ends by itself.
func TestDemoShowsBothConditions(t *testing.T) {
	page, broker := freePort(t), freePort(t)
	demo := launch(t, weepd, "demo", "--for", "50s",
		"--listen", fmt.Sprintf("127.0.0.1:%d", page), "--mqtt", fmt.Sprintf("127.0.0.1:%d", broker))
	short := regexp.MustCompile(`weepd_alarm_active\{condition="(?:dry|burning)",gland="([^"]+)",priority="high"\} 1\n`)
	much := regexp.MustCompile(`weepd_alarm_active\{condition="(?:leaking|gushing)",gland="([^"]+)",priority="(?:high|medium)"\} 1\n`)
	shown := false
	for !demo.ended() && !shown {
		_, body := get(t, fmt.Sprintf("http://127.0.0.1:%d/metrics", page))
		a, b := short.FindStringSubmatch(body), much.FindStringSubmatch(body)
		shown = a != nil && b != nil && a[1] != b[1]
		time.Sleep(200 * time.Millisecond)
	}
	if !shown {
		t.Error("the metrics never showed both conditions at once on two glands")
	}
	if err := demo.wait(t, 2*time.Minute); err != nil {
		t.Errorf("the demo ended with %v", err)
	}
	for _, want := range []string{
		fmt.Sprintf(`http://127\.0\.0\.1:%d/`, page), fmt.Sprintf(`127\.0\.0\.1:%d`, broker),
		`(dry|burning) +active`, `(leaking|gushing) +active`,
	} {
		if !regexp.MustCompile(want).MatchString(demo.output()) {
			t.Errorf("the demo did not print %s", want)
		}
	}
}

func TestDemoTakesFreePortsWhenTheDefaultsAreTaken(t *testing.T) {
	first := launch(t, weepd, "demo")
	first.saysEventually(t, "/metrics")
	second := launch(t, weepd, "demo", "--for", "1s")
	if err := second.wait(t, patience); err != nil {
		t.Errorf("the second demo ended with %v", err)
	}
	second.saysEventually(t, "is taken")
	third := launch(t, weepd, "demo", "--for", "1s", "--listen", "127.0.0.1:9733")
	if err := third.wait(t, patience); err == nil {
		t.Error("a port that was asked for and is taken must be an error")
	}
	third.saysEventually(t, "address already in use")
	first.signal(t, syscall.SIGINT)
	if err := first.wait(t, patience); err != nil {
		t.Errorf("the first demo ended with %v", err)
	}
}
