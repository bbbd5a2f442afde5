// Follows the page over a stream: puts elements, sets texts, orders lists.
// Without it the page is complete, but stands still.
'use strict';
(function () {
  const body = document.body, say = body.dataset;
  const byID = id => document.getElementById(id);
  const LOST = 6000; // ms without a word; the agent speaks every two seconds
  let heard = performance.now(), lost = false, source = null, retry = 0, loud = 0;
  const title = () => document.title.replace(/^\u26a0 /, '');

  // ---- putting and setting
  const maker = document.createElement('template');

  function put(id, html) {
    maker.innerHTML = html;
    const fresh = maker.content.firstElementChild, old = byID(id);
    if (old) old.replaceWith(fresh); else maker.content.appendChild(fresh);
    return old ? null : fresh;
  }

  function places(element) {
    if (!element.places) {
      element.places = [];
      for (const p of element.querySelectorAll('[data-s]')) {
        if (p.closest('[id]') === element) element.places[p.dataset.s] = p;
      }
    }
    return element.places;
  }

  function set(change) {
    const element = byID(change[0]);
    if (!element) return;
    const at = places(element);
    for (let i = 1; i < change.length; i += 2) {
      const place = at[change[i]];
      if (!place) continue;
      if (place.dataset.a) place.setAttribute(place.dataset.a, change[i + 1]);
      else place.textContent = change[i + 1];
    }
  }

  function order(list, ids, fresh) {
    const parent = byID(list);
    if (!parent) return;
    let next = parent.firstElementChild;
    for (const id of ids) {
      const child = fresh.get(id) || byID(id);
      if (!child) continue;
      if (child === next) { next = next.nextElementSibling; continue; }
      parent.insertBefore(child, next);
    }
    while (next) { const gone = next; next = next.nextElementSibling; gone.remove(); }
  }

  function take(u) {
    if (u.asset !== say.asset && !document.querySelector('details[open]')) { location.reload(); return; }
    const active = document.activeElement, focused = active && active.id, card = active && active.closest('.card'), fresh = new Map();
    const list = u.put || [];
    for (let i = 0; i < list.length; i += 2) {
      const made = put(list[i], list[i + 1]);
      if (made) fresh.set(list[i], made);
    }
    for (const change of u.set || []) set(change);
    for (const name in u.list || {}) order(name, u.list[name], fresh);
    if (u.list && u.list.alarms && byID('cleared-today')) fetchSoon();
    if (u.title) { document.title = u.title; byID('icon').href = u.icon; }
    if (document.activeElement === body) { // what had the focus was replaced, or has gone
      const place = focused && byID(focused) || card && byID(card.id) && byID(card.id).querySelector('a, button, summary');
      if (place) place.focus();
    }
    body.classList.toggle('still', !u.alive);
    clocks(u.now);
    alarm(u.loud);
  }

  // ---- the link
  function connect() {
    if (source) source.close();
    source = new EventSource(new URL(say.live, location.origin)); // without a name that the address may hold
    source.onmessage = message => {
      heard = performance.now();
      retry = 0;
      found();
      take(JSON.parse(message.data));
    };
    source.onerror = () => {
      if (source.readyState !== EventSource.CLOSED) return; // it tries again by itself
      retry = Math.min(retry + 1, 10);
      setTimeout(connect, 500 * retry);
    };
  }

  function found() {
    byID('state').hidden = true;
    byID('alive').hidden = false;
    if (!lost) return;
    lost = false;
    byID('link').hidden = true;
    body.classList.remove('lost');
    document.title = title();
    for (const a of document.querySelectorAll('[data-was]')) { a.textContent = a.dataset.was; delete a.dataset.was; }
  }

  function span(seconds) {
    return seconds < 120 ? say.seconds.replace('%s', Math.round(seconds)) : say.minutes.replace('%s', Math.round(seconds / 60));
  }

  function watch() {
    const silent = performance.now() - heard;
    if (silent < LOST) return;
    const text = say.lost.replace('%s', span(silent / 1000)), link = byID('link');
    if (link.textContent !== text) link.textContent = text;
    for (const a of document.querySelectorAll('.age')) {
      if (!a.textContent && !a.dataset.was) continue;
      if (!a.dataset.was) a.dataset.was = a.textContent;
      a.textContent = a.dataset.was + ' + ' + span(silent / 1000);
    }
    if (lost) return;
    lost = true;
    link.hidden = false;
    body.classList.add('lost');
    byID('state').hidden = false;
    byID('alive').hidden = true;
    document.title = '\u26a0 ' + title();
    if (source && source.readyState === EventSource.OPEN) connect(); // it is open but dead
  }

  function clocks(now) {
    const apart = Math.abs(Date.now() - now) / 1000, note = byID('clocks');
    note.hidden = apart < 60;
    if (!note.hidden) note.textContent = say.clock.replace('%s', span(apart));
  }

  // ---- sound, off by default
  const button = byID('sound');
  let player = null, beeper = 0;
  const wanted = () => { try { return localStorage.getItem('weepd-sound') === 'on'; } catch { return false; } };

  function showSound() {
    const on = wanted(), ready = player && player.state === 'running';
    button.setAttribute('aria-pressed', on);
    button.textContent = !on ? button.dataset.off : ready ? button.dataset.on : button.dataset.wait;
  }

  function beep() {
    if (!player || player.state !== 'running') return;
    const tone = player.createOscillator(), gain = player.createGain(), t = player.currentTime;
    tone.type = 'triangle';
    tone.frequency.setValueAtTime(740, t);
    tone.frequency.setValueAtTime(555, t + 0.25);
    gain.gain.setValueAtTime(0.25, t);
    gain.gain.linearRampToValueAtTime(0, t + 0.5);
    tone.connect(gain).connect(player.destination);
    tone.start(t);
    tone.stop(t + 0.5);
  }

  function alarm(count) {
    const more = count > loud;
    loud = count;
    if (!wanted() || !loud) { clearInterval(beeper); beeper = 0; return; }
    if (more) beep();
    if (!beeper) beeper = setInterval(beep, 4000);
  }

  function listen() {
    if (!wanted()) return;
    if (!player) player = new AudioContext();
    player.resume().then(() => { showSound(); alarm(loud); });
  }

  button.hidden = false;
  button.addEventListener('click', event => {
    event.stopPropagation();
    const waiting = wanted() && !(player && player.state === 'running');
    if (!waiting) { try { localStorage.setItem('weepd-sound', wanted() ? 'off' : 'on'); } catch { /* private window */ } }
    listen();
    if (!wanted()) alarm(loud);
    showSound();
  });
  document.addEventListener('click', listen);

  // ---- forms
  const said = byID('said');

  function tell(text, bad, link) {
    said.hidden = false;
    said.className = 'said' + (bad ? ' bad' : '');
    said.textContent = text;
    if (link) {
      const a = document.createElement('a');
      a.href = byID('login').href;
      a.textContent = byID('login').textContent;
      said.append(' ', a);
    }
  }

  async function send(form) {
    if (form.dataset.busy) return;
    form.dataset.busy = 'yes'; // not disabled: that would take the focus away
    tell(say.working);
    try {
      const answer = await fetch(new URL(form.getAttribute('action'), location.origin), {
        method: 'POST', body: new URLSearchParams(new FormData(form)), headers: { Accept: 'application/json' },
      });
      const text = await answer.text();
      let reply;
      try { reply = JSON.parse(text); } catch { reply = { error: text.trim().slice(0, 200) }; } // a refusal before the page's own
      if (reply.ok) {
        tell(form.dataset.done || '');
        said.hidden = !said.textContent;
        const who = decodeURIComponent(answer.headers.get('X-Weepd-User') || '');
        if (who) { byID('user').hidden = false; byID('user').textContent = say.logged.replace('%s', who); }
        const open = form.closest('details');
        if (open) { open.open = false; open.querySelector('summary').focus(); form.reset(); }
        body.dispatchEvent(new CustomEvent('weepd-done'));
      } else if (answer.status === 401) {
        tell(say.login.replace('%s', reply.error || ''), true, true);
      } else {
        tell(say.refused + ': ' + (reply.error || answer.status), true, reply.reason === 'denied' && !!byID('login'));
      }
      if (answer.status !== 503 && form.elements.id) {
        form.elements.id.value = 'page-' + Array.from(crypto.getRandomValues(new Uint32Array(4)), n => n.toString(36)).join('');
      }
    } catch {
      tell(say.unreachable, true);
    }
    delete form.dataset.busy;
  }

  document.addEventListener('submit', event => {
    const form = event.target;
    if (form.method !== 'post') return;
    event.preventDefault();
    send(form);
  });

  // One tap on a kind of entry, and the number can be typed.
  document.addEventListener('toggle', event => {
    if (!event.target.open || !event.target.closest('.tiles')) return;
    const first = event.target.querySelector('input:not([type=hidden]), button');
    if (first) first.focus();
  }, true);

  // ---- what is no piece of the stream is fetched again: charts while they end
  // now, work when something was done, what cleared when the list of alarms changes
  async function fetchAgain() {
    if (document.hidden || lost) return;
    try {
      const answer = await fetch(location.pathname + location.search);
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
      for (const id of ['charts', 'outlook', 'entries', 'sheet', 'cleared-today']) {
        const now = byID(id), next = page.getElementById(id);
        if (now && next && !now.contains(document.activeElement)) now.replaceWith(next);
      }
    } catch { /* the link's watch says so */ }
  }
  let soon = 0;
  const fetchSoon = () => { clearTimeout(soon); soon = setTimeout(fetchAgain, 400); };
  body.addEventListener('weepd-done', fetchSoon);
  const charts = byID('charts');
  if (charts && charts.dataset.again) setInterval(fetchAgain, Number(charts.dataset.again) * 1000);

  showSound();
  listen();
  connect();
  setInterval(watch, 1000);
})();
