package main

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"os"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/go-analyze/charts"
	"github.com/goccy/go-yaml/parser"
	lru "github.com/hashicorp/golang-lru/v2"
	"github.com/klauspost/compress/zstd"
	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/simonvetter/modbus"
	"golang.org/x/crypto/bcrypt"
	"golang.org/x/term"
	"golang.org/x/time/rate"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/host/v3"
)

// linked is what is linked but idle at a quiet station; without these calls the
// linker would leave the libraries out.
func linked() map[string]func() error {
	return map[string]func() error{
		"yaml": func() error {
			_, err := parser.ParseBytes([]byte("station: quarry\n"), 0)
			return err
		},
		"page":    usePage,
		"systemd": func() error { _, err := daemon.SdNotify(false, daemon.SdNotifyReady); return err },
		"chart":   useChart,
		"zstd":    useZstd,
		"modbus":  useModbus,
		"periph":  usePeriph,
		"broker":  useBroker,
		"password": func() error {
			hash, err := bcrypt.GenerateFromPassword([]byte("password"), bcrypt.MinCost)
			if err == nil {
				_, err = fmt.Println(len(hash), rate.NewLimiter(1, 1).Allow())
			}
			return err
		},
		"numbers": useNumbers,
		"terminal": func() error {
			cache, err := lru.New[int, bool](1)
			if err == nil {
				cache.Add(0, term.IsTerminal(int(os.Stdin.Fd())))
			}
			return err
		},
	}
}

func useLinked(what string) error {
	use, found := linked()[what]
	if !found {
		return fmt.Errorf("no library %q", what)
	}
	return use()
}

func usePage() error {
	page, err := template.New("page").Parse("{{.}}\n")
	if err != nil {
		return err
	}
	return page.Execute(os.Stdout, "page")
}

func useChart() error {
	painter, err := charts.LineRender([][]float64{{1, 2}}, charts.SVGOutputOptionFunc())
	if err != nil {
		return err
	}
	picture, err := painter.Bytes()
	if err == nil {
		_, err = os.Stdout.Write(picture)
	}
	return err
}

func useZstd() error {
	r, err := zstd.NewReader(bytes.NewReader(nil))
	if err != nil {
		return err
	}
	defer r.Close()
	_, err = io.Copy(io.Discard, r)
	return err
}

func useModbus() error {
	client, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "rtu:///dev/null"})
	if err != nil {
		return err
	}
	_, err = client.ReadRegister(0, modbus.HOLDING_REGISTER)
	return err
}

func useNumbers() error {
	var x mat.VecDense
	err := x.SolveVec(mat.NewDense(1, 1, []float64{2}), mat.NewVecDense(1, []float64{1}))
	if err == nil {
		_, err = fmt.Println(x.AtVec(0), mathext.GammaIncReg(1, 1), distuv.Gamma{Alpha: 1, Beta: 1}.Quantile(.5))
	}
	return err
}

func usePeriph() error {
	if _, err := host.Init(); err != nil {
		return err
	}
	bus, err := i2creg.Open("")
	if err != nil {
		return err
	}
	port, err := spireg.Open("")
	if err != nil {
		return err
	}
	_, err = fmt.Println(bus, port)
	return err
}

func useBroker() error {
	server := broker.New(nil)
	if err := server.AddHook(new(broker.HookBase), nil); err != nil {
		return err
	}
	if err := server.AddListener(listeners.NewTCP(listeners.Config{ID: "one", Address: "127.0.0.1:0"})); err != nil {
		return err
	}
	return server.Close()
}
