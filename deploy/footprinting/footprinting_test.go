package main

import (
	"io"
	"math"
	"net"
	"testing"
)

func TestMissedNamesWhatIsOver(t *testing.T) {
	good := result{RSSRatio8: 1.5, RSSRatio32: 1, CPURatio8: 3, CPURatio32: 1, RSSGrowth: 1.2, CPUGrowth: 1, KBGlandDay8: 60, KBGlandDay32: 1}
	if got := good.missed(); got != "" {
		t.Errorf("at the targets: missed %s", got)
	}
	bad := good
	bad.RSSRatio32, bad.CPUGrowth, bad.KBGlandDay8 = 1.51, math.NaN(), 61
	if got := bad.missed(); got != "rss_ratio_32, cpu_growth, kb_gland_day_8" {
		t.Errorf("missed %q", got)
	}
}

func TestGrowthComparesCostsPerGland(t *testing.T) {
	if got := growth(20, 29, 1019); math.Abs(got-1) > 1e-9 { // 1 a gland
		t.Errorf("linear: %g, want 1", got)
	}
	if got := growth(20, 29, 2018); math.Abs(got-2) > 1e-9 {
		t.Errorf("twice as dear: %g, want 2", got)
	}
}

func TestMeterCountsBothWays(t *testing.T) {
	echo, err := net.Listen("tcp", "127.0.0.1:0") //nolint:noctx // of the test
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = echo.Close() }()
	go func() {
		if c, err := echo.Accept(); err == nil {
			_, _ = io.Copy(c, c)
		}
	}()
	m, err := newMeter(echo.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer m.close()
	c, err := net.Dial("tcp", m.listener.Addr().String()) //nolint:noctx // of the test
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()
	if _, err := io.WriteString(c, "seven b"); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadFull(c, make([]byte, 7)); err != nil {
		t.Fatal(err)
	}
	if got := m.count(); got != 14 {
		t.Errorf("%d bytes, want 7 each way", got)
	}
}
