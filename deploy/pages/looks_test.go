//go:build integration

package pages

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// shots is where the pictures go; git ignores it.
const shots = "../../shots"

// screens are a control room's and a phone's, with what is asked of both.
var screens = []struct {
	name       string
	wide, high int64
	phone      bool
}{{"desktop", 1920, 1080, false}, {"phone", 390, 844, true}}

// What axe-core checks: WCAG 2.0 to 2.2, levels A and AA, and good practice.
const axeRun = `axe.run(document, {
  runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
}).then(r => JSON.stringify(r.violations.map(v => ({id: v.id, impact: v.impact, help: v.help, nodes: v.nodes.map(n => n.target.join(' ') + ': ' + n.failureSummary).slice(0, 4)}))))`

type violation struct {
	ID, Impact, Help string
	Nodes            []string
}

// Each view on both screens, light and dark, with alarms in all states: axe-core
// finds nothing, nothing is wider than the screen, and there is a picture to
// look at.
func TestViewsAreAccessibleAndPictured(t *testing.T) {
	t.Parallel()
	base, _ := demo(t)
	axe := readFile(t, "node_modules/axe-core/axe.min.js")
	if err := os.MkdirAll(shots, 0o755); err != nil {
		t.Fatal(err)
	}
	p := open(t, browser(t), base)
	p.login("demo", "quarry-demo")
	p.until("three alarms", `document.querySelectorAll('#alarms > li').length === 3`)
	p.do(chromedp.Click("#a-p1-de-dry-acknowledge"))
	p.until("one is acknowledged", `document.getElementById('a-p1-de-dry-b').innerText.includes('in hand')`)
	p.until("trends are there", `document.querySelector('#g-p2-de .line').getAttribute('d')`)
	for _, view := range []struct{ name, path string }{
		{"overview", "/"}, {"alarms", "/alarms"}, {"gland", "/gland/p1-de"}, {"hours", "/gland/p2-nde?span=24h"},
	} {
		for _, screen := range screens {
			for _, scheme := range []string{"light", "dark"} {
				name := fmt.Sprintf("%s-%s-%s", view.name, screen.name, scheme)
				t.Run(name, func(t *testing.T) {
					q := &tab{t: t, ctx: p.ctx, base: p.base}
					q.emulate(screen.wide, screen.high, screen.phone, scheme)
					q.visit(view.path)
					q.live()
					q.picture(filepath.Join(shots, name+".png"))
					q.fits(screen.wide)
					q.axe(axe)
				})
			}
		}
	}
	p.canFail(axe)
	p.clean()
}

// From a small phone to a wall: nothing has to be scrolled sideways, and no row
// is cut off.
func TestNothingIsCutOffAtAnyWidth(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(12), 3)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.login(person, secret)
	p.until("three alarms", `document.querySelectorAll('#alarms > li').length === 3`)
	for _, path := range []string{"/", "/alarms", "/gland/g000"} {
		p.visit(path)
		p.live()
		for _, wide := range []int64{320, 390, 640, 768, 1024, 1072, 1280, 1366, 1536, 1680, 1920, 2560} {
			p.do(chromedp.EmulateViewport(wide, 900))
			p.fits(wide)
			if cut := eval[int](p, `[...document.querySelectorAll('.row, .card, .body, .forms, header, .loud, .tiles, figure')].filter(e => e.scrollWidth > e.clientWidth + 1).length`); cut > 0 {
				t.Errorf("%s: %d elements are cut off on a screen of %d", path, cut, wide)
			}
		}
	}
}

func (p *tab) emulate(wide, high int64, phone bool, scheme string) {
	p.t.Helper()
	options := []chromedp.EmulateViewportOption{}
	if phone {
		options = append(options, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	p.do(chromedp.EmulateViewport(wide, high, options...))
	p.call(func() error {
		_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
		}})
		return err
	})
}

func (p *tab) picture(path string) {
	p.t.Helper()
	png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(path, png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// fits: nothing has to be scrolled sideways (WCAG 2.2, 1.4.10).
func (p *tab) fits(wide int64) {
	p.t.Helper()
	if got := eval[float64](p, "document.documentElement.scrollWidth"); got > float64(wide) {
		widest := eval[string](p, `[...document.querySelectorAll('main *')].sort((a, b) => b.getBoundingClientRect().right - a.getBoundingClientRect().right)[0].outerHTML.slice(0, 300)`)
		p.t.Errorf("the page is %g wide on a screen of %d: %s", got, wide, widest)
	}
}

func (p *tab) axe(source string) {
	p.t.Helper()
	p.do(script(source + "; undefined"))
	var found []violation
	if err := json.Unmarshal([]byte(eval[string](p, axeRun)), &found); err != nil {
		p.t.Fatal(err)
	}
	for _, v := range found {
		for _, n := range v.Nodes {
			p.t.Errorf("%s (%s): %s: %s", v.ID, v.Impact, v.Help, n)
		}
	}
}

// canFail: axe finds what is wrong where something is.
func (p *tab) canFail(axe string) {
	p.t.Helper()
	p.do(script(axe + `; document.body.insertAdjacentHTML('beforeend', '<button></button>')`))
	var found []violation
	if err := json.Unmarshal([]byte(eval[string](p, axeRun)), &found); err != nil {
		p.t.Fatal(err)
	}
	if !slices.ContainsFunc(found, func(v violation) bool { return v.ID == "button-name" }) {
		p.t.Errorf("a button without a name is not found: %v", found)
	}
}
