//go:build integration

package pages

import (
	"net/http"
	"net/url"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

const lostShows = "!document.getElementById('link').hidden && /Link lost/.test(document.getElementById('link').innerText)"

// lostWithin waits for the page to say that the link is lost, by its own clock.
func (p *tab) lostWithin(limit time.Duration, happen func()) {
	p.t.Helper()
	p.do(script(`window.lostAfter = 0; (() => {
	  const begun = performance.now();
	  const timer = setInterval(() => { if (` + lostShows + `) { window.lostAfter = performance.now() - begun; clearInterval(timer); } }, 50);
	})()`))
	happen()
	p.until("the page says that the link is lost", "window.lostAfter > 0")
	after := time.Duration(eval[float64](p, "window.lostAfter") * float64(time.Millisecond))
	p.t.Logf("link lost shows after %s", after.Round(100*time.Millisecond))
	if after > limit {
		p.t.Errorf("link lost shows after %s, want at most %s", after, limit)
	}
}

// An agent that is killed under the page, one that hangs, and one that comes
// back: the page says so within 10 s, and recovers by itself without loading.
func TestAgentRestartsUnderThePage(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(4), 1)
	first := launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.login(person, secret)
	p.visit("/")
	p.live()
	p.do(script("window.same = true"))

	p.lostWithin(10*time.Second, first.kill)
	if !p.holds(`document.title.startsWith('⚠') && document.body.classList.contains('lost') && /\+ \d+ s/.test(document.querySelector('.age').innerText)`) {
		t.Error("title and ages do not show it")
	}
	press := func() { p.do(chromedp.Click("#alarms button.main")) }
	if p.holds("document.querySelector('#alarms button.main')") {
		press()
		p.until("a command says that the agent cannot be reached", "/cannot be reached/.test(document.getElementById('said').innerText)")
	}
	second := launch(t, "run", "--config", configuration)
	p.until("the page recovers by itself", "document.getElementById('link').hidden && window.same")

	p.lostWithin(10*time.Second, func() { second.signal(t, syscall.SIGSTOP) })
	second.signal(t, syscall.SIGCONT)
	p.until("the page recovers by itself", "document.getElementById('link').hidden && window.same && !document.title.startsWith('⚠')")
	p.until("alarms go on", "document.getElementById('a-g000-leaking')")
	p.clean()
}

// Without JavaScript: the page says as of when it is, forms work, and a command
// without log-in is refused and says so.
func TestWithoutJavaScript(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(2), 1)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.call(func() error {
		_, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	})
	text := func() string {
		p.t.Helper()
		text, err := chromedp.Run(p.ctx, chromedp.Text("body"))
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	eventually(t, "the alarm is on the page", func() bool { p.visit("/alarms"); return strings.Contains(text(), "leaking") })
	if got := text(); !strings.Contains(got, "Without JavaScript this page stands still. It shows the station as it was at") || !strings.Contains(got, "as of") {
		t.Errorf("the page does not say that it stands still:\n%s", got)
	}
	p.cancelDialogs()
	p.submit("#a-g000-leaking-acknowledge")
	if got := text(); !strings.Contains(got, "log in") {
		t.Errorf("without log-in: %s", got)
	}
	p = open(t, browser(t), base)
	p.login(person, secret)
	p.call(func() error {
		_, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	})
	p.visit("/alarms")
	p.submit("#a-g000-leaking-acknowledge")
	if got := text(); !strings.Contains(got, "Acknowledged.") || !strings.Contains(got, "in hand: "+person) {
		t.Errorf("after acknowledging: %s", got)
	}
	p.visit("/gland/g001")
	p.do(chromedp.Click(".tiles details summary"), chromedp.SendKeys(".tiles details[open] input[name=flats]", "2"))
	p.submit(".tiles details[open] button")
	if got := text(); !strings.Contains(got, "Recorded.") || !strings.Contains(got, "tightened by 2 flats") {
		t.Errorf("after recording: %s", got)
	}
}

// submit presses a form's button and waits for the page that follows.
func (p *tab) submit(selector string) {
	p.t.Helper()
	if _, err := chromedp.Run(p.ctx, chromedp.WaitEvent(page.LoadEventFired, nil, chromedp.Click(selector))); err != nil {
		p.t.Fatal(err)
	}
}

// A clock that is wrong is said, on whichever side it is.
func TestClockOfTheDeviceIsWrong(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(2), 0)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.visit("/")
	p.live()
	if p.holds("!document.getElementById('clocks').hidden") {
		t.Error("two clocks that agree are said to differ")
	}
	p.call(func() error {
		_, err := chromedp.Call(p.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
			Source: "{ const now = Date.now; Date.now = () => now() + 5 * 60000; }",
		})
		return err
	})
	p.visit("/")
	p.until("the page says that the clocks differ", "/differ by 5 min/.test(document.getElementById('clocks').innerText)")
}

// Hostile texts, in names from the configuration and in what people write, stay
// texts in every view, as loaded and as it comes over the stream.
func TestHostileTextsStayTexts(t *testing.T) {
	t.Parallel()
	evil := []string{
		`<img src=x onerror="alert(1)">`, `"><script>alert(2)</script>`, `</textarea><svg/onload=alert(3)>`, `javascript:alert(4)//{{.}}`,
	}
	configuration, base := station(t, evil, 4)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.login(person, secret)
	p.visit("/alarms")
	p.live()
	p.until("four alarms", "document.querySelectorAll('#alarms > li').length === 4")
	for i, text := range evil {
		command(t, base, url.Values{
			"action": {"acknowledge"}, "gland": {[]string{"g000", "g001", "g002", "g003"}[i]}, "condition": {"leaking"}, "note": {text},
		})
		command(t, base, url.Values{"action": {"record"}, "gland": {"g000"}, "tile": {"repacked"}, "packing": {text}, "note": {text}})
	}
	p.until("the notes are there, as texts", `[...document.querySelectorAll('#alarms q')].length === 4`)
	for _, path := range []string{"/", "/alarms", "/gland/g000", "/gland/g001?span=24h", "/alarms?q=" + url.QueryEscape(evil[1]), "/?q=" + url.QueryEscape(evil[1])} {
		p.visit(path)
		p.live()
		if eval[bool](p, `[...document.querySelectorAll('img, body script, svg[onload], [onerror], [onload]')].length > 0`) {
			t.Errorf("%s: a text has become an element", path)
		}
		for _, text := range evil[:2] {
			if path == "/alarms" && !strings.Contains(p.text("main"), text) {
				t.Errorf("%s does not show %s as it is", path, text)
			}
		}
	}
	p.clean()
}

// command sends what a form of the page sends.
func command(t *testing.T, base string, values url.Values) {
	t.Helper()
	values.Set("id", "test-"+strings.Trim(time.Now().UTC().Format("150405.000000"), "Z"))
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, base+"/act", strings.NewReader(values.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	request.SetBasicAuth(person, secret)
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	request.Header.Set("Accept", "application/json")
	request.Header.Set("Sec-Fetch-Site", "same-origin")
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	_ = response.Body.Close()
	if response.StatusCode != http.StatusOK {
		t.Fatalf("%v: %s", values, response.Status)
	}
}
