"use strict";
// Shows what the server tells, and shows that nothing is known as soon as it tells nothing: by this page's own clock.
const LATE_MS = 2000, DEAD_MS = 3000, LOOK_MS = 100, AGAIN_MS = 700;
const byId = (id) => document.getElementById(id);
const say = (element, text) => { if (element.textContent !== text) element.textContent = text; };
const clock = (seconds) => {
  const whole = Math.max(0, Math.round(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
};
const store = { get: (key) => { try { return sessionStorage.getItem(key); } catch { return null; } },
  set: (key, value) => {
    try {
      if (value) sessionStorage.setItem(key, value); else sessionStorage.removeItem(key);
    } catch { /* kept for this load alone */ }
  } };

let token = store.get("bandward-token"), mayAct = false;
let state = null, heardAt = -Infinity, offset = null, hasEnded = false, trouble = "the page is starting";
let steps = 0, refusedAt = -Infinity, sounds = null, lastSound = 0, awake = null;

function keep(newToken) {
  token = newToken;
  store.set("bandward-token", token);
}
// A token comes behind `#`, which is sent to nobody, and leaves the address at once.
function takeGiven() {
  const given = /^#(?:look|act)=([0-9a-f]{8,64})$/.exec(location.hash);
  if (given) keep(given[1]);
  if (location.hash) history.replaceState(null, "", location.pathname);
  return Boolean(given);
}
takeGiven();
// One that is pasted into an open page counts at once.
let listening = new AbortController();
window.addEventListener("hashchange", () => {
  if (!takeGiven()) return;
  if (byId("ask").open) byId("ask").close("no");
  listening.abort();
});

// Drawn by the browser's own clock: comes up by itself where this script is stuck.
const dead = byId("dead").animate([{ opacity: 0 }, { opacity: 0, offset: 0.999 }, { opacity: 1 }],
  { duration: DEAD_MS, fill: "forwards" });
function alive() {
  dead.currentTime = 0;
  if (dead.playState !== "running") dead.play();
}

const heads = () => token ? { Authorization: `Bearer ${token}` } : {};

async function listen() {
  for (;;) {
    const sent = token;
    listening = new AbortController();
    try {
      const answer = await fetch("live",
        { headers: heads(), cache: "no-store", credentials: "omit", signal: listening.signal });
      hasEnded = false;
      if (answer.status === 401 && sent) {
        // The tokens are new at each start of the program; on its own machine looking on needs none.
        trouble = "the token of this page is not of this run of the program";
        if (token === sent) keep(null);
        continue;
      }
      if (answer.status === 401) {
        trouble = "this page needs a token: scan the code in the terminal of the program";
        // Whoever says no is not asked again and again.
        if (performance.now() - refusedAt > 30000 && await askFor("Looking on", trouble, true)) continue;
        refusedAt = performance.now();
      } else if (!answer.ok) {
        trouble = answer.status === 429 ? "too many requests from this address: wait a minute"
          : `the program refuses this page (${answer.status})`;
      } else {
        mayAct = answer.headers.get("bandward-may-act") === "yes";
        [offset, trouble] = [null, "the program has told nothing yet"];
        await read(answer.body.getReader());
        trouble = hasEnded ? "the program has ended" : "the connection to the program is lost";
      }
    } catch {
      trouble = listening.signal.aborted ? "the new token is tried"
        : hasEnded ? "the program has ended" : "the program cannot be reached";
    }
    state = null;
    look();
    await new Promise((done) => setTimeout(done, AGAIN_MS));
  }
}

async function read(reader) {
  const decoder = new TextDecoder();
  let text = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    text += decoder.decode(value, { stream: true });
    const events = text.split("\n\n");
    text = events.pop();
    if (events.some((event) => event.startsWith("event: bye"))) hasEnded = true;
    // Only the newest counts.
    const newest = events.filter((event) => event.startsWith("data: ")).pop();
    if (newest) take(JSON.parse(newest.slice(6)));
  }
}

function take(told) {
  const now = performance.now(), apart = now - told.sent_ms;
  // The least that was ever apart, but for what two clocks may drift.
  offset = offset === null ? apart : Math.min(offset + 0.2, apart);
  [state, heardAt] = [told, now];
  look();
}

// Why nothing is known of now; nothing where all is as it should be.
function unknown() {
  if (document.hidden) return ["ASLEEP", "this page was in the background"];
  if (!state) return [hasEnded ? "ENDED" : "NO DATA", trouble];
  const silent = performance.now() - heardAt;
  if (silent > LATE_MS) return ["NO DATA", `nothing from the program for ${Math.round(silent / 1000)} s`];
  const late = heardAt - state.sent_ms - offset;
  if (late > LATE_MS) return ["LATE", `what comes is ${Math.round(late / 1000)} s old`];
  if (state.is_old) return [state.now.word, state.now.words];
  return null;
}

function look() {
  const why = unknown();
  if (state) alive();
  byId("tick").style.setProperty("--step", `${(steps += 1) % 3 * 33}%`);
  say(byId("clock"), new Date().toLocaleTimeString("en-GB"));
  document.body.dataset.known = why ? "no" : "yes";
  const now = why ? { word: why[0], words: why[1], tone: "none" } : state.now;
  document.body.dataset.tone = why ? "stop" : now.tone;
  if (byId("shape").dataset.tone !== now.tone) {
    byId("shape").dataset.tone = now.tone;
    Shapes.verdict(byId("shape"), now.tone);
  }
  byId("word").style.setProperty("--letters", now.word.length);
  say(byId("word"), now.word);
  say(byId("words"), now.words);
  document.title = `${now.word}${why || !state.band_number ? "" : ` - band ${state.band_number}`} - bandward`;
  show(why ? null : state);
  sound(why ? "none" : loudest());
}

const TONES = { within: ["good", "\u2714"], "not proven": ["careful", "\u25c6"], outside: ["bad", "\u25b2"], "not judged": ["calm", "\u25cb"] };
function tile(name, told, none) {
  const [tone, sign] = told ? TONES[told.outcome] : ["calm", "-"];
  byId(name).dataset.tone = tone;
  say(byId(`${name}-outcome`), told ? `${sign} ${told.outcome.toUpperCase()}` : "-");
  const words = !told ? none : told.broken ? `outside: ${told.broken}` : told.not_proven ? `not judged: ${told.not_proven}` : "";
  say(byId(`${name}-words`), words);
}

// With nothing every value goes.
function show(told) {
  const none = "not known";
  tile("band", told && !told.is_over && told.band, told ? "the log has ended" : none);
  tile("joint", told && told.joint, none);
  say(byId("joint-title"), told && told.is_joint_done ? "Last joint" : "This joint so far");
  const bands = told && told.bands_planned ? ` of ${told.bands_planned}` : "";
  say(byId("where"), !told ? "-" : told.band_number ? `Band ${told.band_number}${bands}` : "No band yet");
  say(byId("phase"), told ? `joint ${told.joint_number}, ${told.phase}` : none);
  say(byId("left"), told && told.turn_left_s !== null ? clock(told.turn_left_s) : "-");
  say(byId("turned"), told && told.turned_deg !== null
    ? `${Math.round(told.turned_deg % 360)}\u00b0 of turn ${1 + Math.floor(told.turned_deg / 360)}` : told ? "" : none);
  say(byId("next-words"), !told ? none : told.is_over ? "the log has ended" : told.is_in_band ? "after this band" : told.next_band ?? "no waiting time is known");
  gauges(told);
  alarms(told);
  // What was welded stays; where the torch is now is not known any more.
  if (told) laid = told;
  if (laid) lanes(told ?? { ...laid, turned_deg: null, band_number: null });
  if (told) {
    before(told);
    say(byId("source"), [told.source, told.procedure ?? "no procedure", told.pace].filter(Boolean).join(" \u00b7 "));
  }
  say(byId("link"), told ? link(told.link) : `${none}: ${trouble}`);
  for (const button of document.querySelectorAll("footer [data-act]")) {
    if (state) button.hidden = !state.acts.includes(button.dataset.act);
    button.disabled = !told;
  }
}

function link(told) {
  if (!told) return "A played trace: there is no board.";
  const relay = told.relay_energised === null ? "relay not known" : told.relay_energised ? "relay energised" : "relay RELEASED";
  return [relay, `lamp ${told.lamp ?? "?"}`, told.horn ? "horn ON" : "horn off", told.is_bench ? "bench test" : null,
    told.black_box_frozen ? "black box FROZEN" : null, told.is_recording ? "recording" : null,
    `frames bad ${told.frames_bad}, lost ${told.frames_lost}`, told.faults, told.notice].filter(Boolean).join(" \u00b7 ");
}

const element = (name, kind, text) => {
  const made = document.createElement(name);
  if (kind) made.className = kind;
  if (text !== undefined) made.textContent = text;
  return made;
};

function gauges(told) {
  const list = byId("gauges"), kept = new Map([...list.children].map((item) => [item.dataset.name, item]));
  if (!told) {
    for (const item of kept.values()) fill(item, { shown: "-", state: "none", words: "not known" });
    return;
  }
  if (told.gauges.length !== kept.size || told.gauges.some((one) => !kept.has(one.name))) {
    list.replaceChildren(...told.gauges.map(({ name, title }) => {
      const item = element("li", "gauge");
      item.dataset.name = name;
      item.append(element("span", "title", title), element("span", "shown"),
        Shapes.make("svg", { viewBox: "0 0 300 18", preserveAspectRatio: "none", "aria-hidden": "true" }),
        element("span", "range"), element("span", "state"));
      kept.set(name, item);
      return item;
    }));
  }
  for (const one of told.gauges) fill(kept.get(one.name), one);
}

function fill(item, one) {
  const text = JSON.stringify(one);
  if (item.dataset.told === text) return;
  item.dataset.told = text;
  item.dataset.state = one.state;
  const [, shown, svg, range, words] = item.children;
  say(shown, one.shown);
  Shapes.gauge(svg, one);
  if (one.allowed !== undefined) {
    const rec = one.recommended && `recommended ${one.recommended}`, all = one.allowed && `allowed ${one.allowed}`;
    say(range, [rec, all].filter(Boolean).join(", ") || "no range");
  }
  say(words, one.words);
}

let activeTold = "", beforeTold = "", lanesTold = "", laid = null;
function alarms(told) {
  const text = told ? JSON.stringify([told.alarms, told.acts, mayAct]) : "none";
  if (text === activeTold) return;
  activeTold = text;
  if (!told || !told.alarms.length) {
    byId("active").replaceChildren(element("li", "none", told ? "no alarm" : "alarms: not known"));
    return;
  }
  byId("active").replaceChildren(...told.alarms.map((one) => {
    const item = element("li"), seen = one.shelved ? "shelved: " : one.acknowledged ? "acknowledged: " : "";
    const shelve = element("button", "shelve", one.shelved ? "Unshelve" : "Shelve 5 min");
    shelve.type = "button";
    shelve.addEventListener("click", () => act({ act: "shelve", rule: one.rule, for_s: one.shelved ? 0 : 300 }));
    item.append(element("span", `severity ${one.severity}`, one.severity.toUpperCase()),
      element("span", "", `${seen}${one.channel ? `${one.channel}: ` : ""}${one.words}`));
    if (told.acts.includes("shelve") && one.severity !== "stop") item.append(shelve);
    return item;
  }));
}

function before(told) {
  const over = told.history.filter((one) => one.cleared_s !== null), text = JSON.stringify(over);
  if (text === beforeTold) return;
  beforeTold = text;
  const items = over.map((one) => {
    const item = element("li"), place = one.band ? `joint ${one.joint}, band ${one.band}` : `joint ${one.joint}`;
    const at = one.clock_deg === null ? "" : `, ${one.clock_deg}\u00b0`;
    const seen = one.acknowledged_s === null ? "" : `, acknowledged ${clock(one.acknowledged_s)}`;
    item.append(element("span", `severity ${one.severity}`, one.severity.toUpperCase()), element("span", "", one.words),
      element("span", "times", `${place}${at}: ${clock(one.raised_s)} to ${clock(one.cleared_s)}${one.is_active_at_end ? " (active at the end)" : ""}${seen}`));
    return item;
  });
  byId("before").replaceChildren(...(items.length ? items : [element("li", "none", "none")]));
}

function lanes(told) {
  const { joint, bands } = told.unrolled, here = told.turned_deg;
  const text = JSON.stringify([joint, bands, here, told.bands_planned]);
  if (text === lanesTold) return;
  lanesTold = text;
  const rows = bands.map((one) => ({ ...one, here: one.band === told.band_number ? here : null }));
  for (let band = 1; band <= Math.min(told.bands_planned ?? 0, 24); band += 1) {
    if (!rows.some((one) => one.band === band)) rows.push({ band, sectors: ".".repeat(72), outcome: null, here: null });
  }
  rows.sort((one, other) => one.band - other.band);
  say(byId("round-joint"), joint ? `: joint ${joint}` : "");
  byId("bands").setAttribute("aria-label", rows.map((one) => `band ${one.band}: ${one.outcome ?? "not finished"}`).join("; ") || "no band yet");
  byId("bands").replaceChildren(...rows.map((one) => {
    const row = element("div", "lane"), svg = Shapes.make("svg", { viewBox: "0 0 720 30", preserveAspectRatio: "none" });
    Shapes.lane(svg, one.sectors, one.here);
    row.append(element("span", "", `Band ${one.band}`), svg, element("span", "", one.outcome ?? (one.here === null ? "" : "welding")));
    return row;
  }));
}

// Sound, vibration and a screen that stays on: after one tap, as browsers ask.
const loudest = () => {
  const open = state.alarms.filter((one) => !one.acknowledged && !one.shelved).map((one) => one.severity);
  if (state.now.tone === "stop" && !state.alarms.some((one) => one.acknowledged)) return "stop";
  return open.includes("stop") ? "stop" : open.includes("warn") ? "warn" : "quiet";
};
const SOUNDS = { stop: [900, [880, 660, 880, 660], [250, 80, 250]], warn: [2500, [660, 660], [180]], none: [4000, [220], [80]] };
function sound(kind) {
  const now = performance.now();
  if (!sounds || sounds.state !== "running" || !(kind in SOUNDS) || now - lastSound < SOUNDS[kind][0]) return;
  lastSound = now;
  const [, tones, shakes] = SOUNDS[kind];
  tones.forEach((hertz, index) => {
    const tone = sounds.createOscillator(), volume = sounds.createGain(), at = sounds.currentTime + index * 0.18;
    [tone.type, tone.frequency.value, volume.gain.value] = ["square", hertz, 0.25];
    tone.connect(volume).connect(sounds.destination);
    tone.start(at);
    tone.stop(at + 0.15);
  });
  navigator.vibrate?.(shakes);
}
async function keepAwake() {
  if (!sounds || document.hidden) return;
  try { awake = await navigator.wakeLock.request("screen"); } catch { awake = null; }
  tapped();
}
function tapped() {
  const isOn = sounds?.state === "running";
  byId("tap").setAttribute("aria-pressed", String(isOn));
  say(byId("tap"), isOn ? `Sound and vibration: on${awake && !awake.released ? ", screen stays on" : "; the screen may go off"}` : "Sound and vibration: off");
}
byId("tap").addEventListener("click", async () => {
  if (sounds?.state === "running") {
    await sounds.suspend();
    awake?.release();
  } else {
    sounds ??= new AudioContext();
    await sounds.resume();
    await keepAwake();
  }
  tapped();
});

// Asks one thing; true where it is to be done.
let asking = null;
function askFor(title, words, isTokenAsked) {
  const dialog = byId("ask");
  if (dialog.open) return Promise.resolve(false);
  say(byId("ask-title"), title);
  say(byId("ask-words"), words);
  byId("ask-label").hidden = !isTokenAsked;
  byId("ask-token").value = "";
  dialog.returnValue = "no";
  dialog.showModal();
  return new Promise((done) => { asking = done; });
}
byId("ask").addEventListener("close", () => {
  const isYes = byId("ask").returnValue === "yes", typed = byId("ask-token").value.trim();
  if (isYes && !byId("ask-label").hidden && /^[0-9a-f]{8,64}$/.test(typed)) {
    keep(typed);
  }
  asking?.(isYes);
});

const TITLES = { acknowledge: "Acknowledge all alarms", "new-joint": "Begin a new joint", "release-blackbox": "Re-arm the black box", shelve: "Shelve" };
async function act(what) {
  const needsToken = !mayAct, title = TITLES[what.act], held = token;
  if (needsToken || what.act === "new-joint" || what.act === "release-blackbox") {
    const words = needsToken ? "Acting needs the second token from the terminal of the program." : "Are you sure?";
    if (!await askFor(title, words, needsToken)) return;
  }
  say(byId("told"), `${title}: ...`);
  try {
    const answer = await fetch("act", { method: "POST", headers: { ...heads(), "Content-Type": "application/json" },
      body: JSON.stringify(what), cache: "no-store", credentials: "omit" });
    if (answer.ok) mayAct = true;
    // A token that is refused is forgotten; the one before may still do for looking on.
    if (answer.status === 401 && token !== held) keep(held);
    const refusals = { 401: "refused: this token is not for acting", 429: "too often: wait a minute" };
    say(byId("told"), refusals[answer.status] ?? (await answer.json()).words);
  } catch {
    say(byId("told"), `${title}: not done, the program cannot be reached`);
  }
}
for (const button of document.querySelectorAll("footer [data-act]")) {
  button.addEventListener("click", () => act({ act: button.dataset.act }));
}

// What was painted before a tab went to sleep must not be there when it wakes.
for (const [target, name] of [[document, "visibilitychange"], [document, "freeze"], [document, "resume"], [window, "pageshow"]]) {
  target.addEventListener(name, () => {
    if (!document.hidden && performance.now() - heardAt > LOOK_MS * 5) [state, trouble] = [null, "this page was asleep"];
    look();
    keepAwake();
  });
}
setInterval(look, LOOK_MS);
look();
listen();
