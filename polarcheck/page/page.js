"use strict";
(() => {
  const SILENT_MS = 10000; // the server speaks every 4 s at least
  const AGAIN_MS = 3000;
  const DRAW = "http://www.w3.org/2000/svg";
  const at = (id) => document.getElementById(id);
  const base = location.pathname.replace(/\/?$/, "/");

  // ---- what is known here
  let view = null; // last state that came
  let seen = null; // its number, to tell a change from the same state sent again
  let heard = Date.now(); // when anything came last
  let since = new Date(); // since when there is no connection
  let ended = false;
  let source = null;
  let tried = 0;
  let audio = null;
  let why = ""; // what may be said of a lost connection

  // ---- small helpers: text goes in as text, never as markup
  const put = (id, text) => {
    const place = at(id);
    if (place.textContent !== text) place.textContent = text;
    place.hidden = text === "";
  };
  const made = (name, text = "", kind = "") => {
    const e = document.createElement(name);
    e.textContent = text;
    if (kind) e.className = kind;
    return e;
  };
  const drawn = (name, given, text = "") => {
    const e = document.createElementNS(DRAW, name);
    for (const [key, value] of Object.entries(given)) e.setAttribute(key, value);
    e.textContent = text;
    return e;
  };
  const clock = (date) => `${String(date.getHours()).padStart(2, "0")}:${String(date.getMinutes()).padStart(2, "0")}`;
  const utc = (text) => (text ? `${text.slice(11, 19)} UTC` : "");
  const digits = (value) => (Math.abs(value) >= 100 ? value.toFixed(0) : Math.abs(value) >= 10 ? value.toFixed(1) : value.toFixed(2));
  const signed = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(2)}`;
  const kept = (key, value) => {
    try {
      if (value === undefined) return localStorage.getItem(key);
      localStorage.setItem(key, value);
    } catch { /* a browser may forbid it */ }
    return null;
  };

  // ---- what to do now
  const ARCS = { clockwise: ["M 20 62 A 32 32 0 1 1 80 62", "66,56 94,56 78,84"], counterclockwise: ["M 80 62 A 32 32 0 1 0 20 62", "34,56 6,56 22,84"] };
  const STRAIGHT = { east: 0, up: -90, west: 180, down: 90 };
  const arrow = (knob) => {
    const picture = drawn("svg", { viewBox: "0 0 100 100", "aria-hidden": "true" });
    if (knob.sense) {
      picture.append(drawn("path", { d: ARCS[knob.sense][0], class: "stroke" }), drawn("polygon", { points: ARCS[knob.sense][1], class: "solid" }));
    } else {
      const turned = drawn("g", { transform: `rotate(${STRAIGHT[knob.direction]} 50 50)` });
      turned.append(drawn("path", { d: "M 8 50 H 62", class: "stroke" }), drawn("polygon", { points: "58,32 94,50 58,68", class: "solid" }));
      picture.append(turned);
    }
    return picture;
  };
  // how many times its height a figure is wide, in the broadest of common fonts
  const wide = (figure) => Array.from(figure, (sign) => (/[ .,/]/.test(sign) ? 0.42 : 0.72)).reduce((a, b) => a + b, 0);
  const knobBlock = (knob, place, of) => {
    const block = made("div", "", "knob");
    const head = made("h3");
    head.append(made("span", of > 1 ? `${place + 1}. ${knob.knob} knob` : `${knob.knob} knob`), made("span", `axis ${knob.direction}`));
    const amount = made("div", knob.amount, "amount");
    amount.style.setProperty("--ems", Math.max(1.4, wide(knob.amount)));
    const unit = knob.unit === "turn" ? (/^(1|\d+\/\d+)$/.test(knob.amount) ? "turn" : "turns") : "arcmin";
    block.append(head, amount, arrow(knob), made("p", knob.sense ? `${unit} ${knob.sense}` : knob.unit === "turn" ? `${unit}; sense not known` : `${unit} ${knob.direction}`));
    return block;
  };
  const placeText = (turn, origin) => (Math.abs(turn) < 0.05 ? (origin ? "where it stood" : "where it stands") : `${Number(Math.abs(turn).toFixed(1))}° ${turn > 0 ? "west" : "east"}`);
  const wordBlock = (word) => {
    const block = made("div", word, "word");
    block.style.setProperty("--ems", 0.75 * word.length);
    return block;
  };
  const WORDS = { wait: "Wait", frames: "Frames", turn: "Turn", stop: "Enough" };
  const showNow = () => {
    const { now } = view, big = at("big");
    big.className = ["", "one", "two"][Math.min(now.knobs.length, 2)];
    if (now.knobs.length) {
      big.replaceChildren(...now.knobs.map((knob, i) => knobBlock(knob, i, now.knobs.length)));
    } else {
      big.replaceChildren(wordBlock(WORDS[now.action]));
      if (now.action === "frames" && now.frames_deg.length) {
        big.className = "list";
        const list = made("ul", "", "places");
        const origin = now.frames_from ? `from where ${now.frames_from} was taken` : "from where the mount stands";
        list.setAttribute("aria-label", `Places about the right ascension axis, ${origin}`);
        list.append(...now.frames_deg.map((turn) => made("li", placeText(turn, now.frames_from))));
        big.append(list);
      }
    }
    const last = view.last_frame;
    put("refused", last && !last.counted && last.part !== "target" ? `Last frame not used: ${last.reason}` : "");
    put("sentence", now.sentence);
    put("why", now.why);
  };

  // ---- the answers
  const showTaken = () => {
    const { taken } = view;
    at("said").hidden = !taken;
    if (!taken) return;
const turned = (value) => (value === 0 ? "0" : `${Math.abs(value).toFixed(2)} ${value > 0 ? "clockwise" : "counterclockwise"}`);
    put("taken", `Counted as turned: azimuth ${turned(taken.azimuth)}, altitude ${turned(taken.altitude)} (${taken.as_told ? "as told" : "as you said"}).`);
  };
  const say = async (answer) => {
    const buttons = document.querySelectorAll("#said button");
    const buttonsOff = (off) => buttons.forEach((b) => (b.disabled = off));
    buttonsOff(true);
    put("heard", "…");
    try {
      const reply = await fetch(`${base}answer`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ ...answer, number: seen }), signal: limit(8000) });
      const why = reply.status === 204 ? "" : ((await reply.json().catch(() => ({}))).error ?? "it was refused");
      put("heard", why ? `Not taken: ${why}.` : `Taken: ${{ made: "all", half: "half", none: "none", other: "what you entered" }[answer.kind]}.`);
      if (!why) buzz([40]);
      if (!why) openFields(false);
    } catch {
      put("heard", "Not taken: no connection. Try again.");
    }
    buttonsOff(false);
  };
  const limit = (ms) => (AbortSignal.timeout ? AbortSignal.timeout(ms) : undefined);
  const openFields = (open) => {
    at("fields").hidden = !open;
    at("other").setAttribute("aria-expanded", String(open));
  };
  const sense = (button, sign) => {
    button.dataset.sign = String(sign);
    button.textContent = sign > 0 ? "clockwise" : "counterclockwise";
  };
  const fillFields = () => {
    for (const field of document.querySelectorAll("fieldset")) {
      const knob = view.now.knobs.find((k) => k.knob === field.dataset.knob);
      sense(field.querySelector(".sense"), knob && knob.sense === "counterclockwise" ? -1 : 1);
      field.querySelector("input").value = "";
    }
  };
  const entered = () =>
    [...document.querySelectorAll("fieldset")].map((field) => {
      const text = field.querySelector("input").value.trim().replace(",", ".");
      const parts = text.match(/^(?:(\d+) +)?(\d+)\/(\d+)$/); // 1/4, 2 1/4
      const value = parts ? Number(parts[1] ?? 0) + Number(parts[2]) / Number(parts[3]) : text === "" ? 0 : /^\d*\.?\d+$/.test(text) ? Number(text) : NaN;
      return value === 0 ? 0 : value * Number(field.querySelector(".sense").dataset.sign);
    });
  const sendEntered = () => {
    const turns = entered();
    if (turns.every((t) => Number.isFinite(t) && Math.abs(t) <= 100)) say({ kind: "other", turns });
    else put("heard", "Turns are numbers such as 0.25, 1/4 or 2, up to 100.");
  };

  // ---- the axis
  const row = (name, value, side, noise, allowed) => {
    const e = made("tr");
    const title = made("th", name);
    title.scope = "row";
    const doubt = made("td", "", "doubt");
    doubt.append(made("span", `± ${digits(noise)} noise`));
    if (allowed) doubt.append(made("span", `± ${digits(allowed)} sag`));
    e.append(title, made("td", `${digits(Math.abs(value))}′`, "figure"), made("td", side), doubt);
    return e;
  };
  const showAxis = () => {
    const { axis, trend } = view;
    at("axis").hidden = !axis;
    if (!axis) return;
    const total = trend.length ? trend[trend.length - 1].sigma_arcmin : null;
    const rows = [
      row("azimuth", axis.azimuth_arcmin, axis.azimuth_side, axis.azimuth_sigma_arcmin, axis.azimuth_allowance_arcmin),
      row("altitude", axis.altitude_arcmin, axis.altitude_side, axis.altitude_sigma_arcmin, axis.altitude_allowance_arcmin),
    ];
    if (total !== null) rows.push(row("total", axis.total_arcmin, "", total, 0));
    at("axis-rows").replaceChildren(...rows);
    const left = view.left_arcmin === null ? "" : `After the turn: about ${digits(view.left_arcmin)}′. `;
    const goal = view.goal_arcmin === null ? "" : `Near enough: ${digits(view.goal_arcmin)}′. `;
    put("left", `${left}${goal}As of ${utc(axis.time_utc)}.`);
  };

  // ---- the trend: total error, logarithmic, one place for each finding
  const showTrend = () => {
    const { trend, goal_arcmin: goal } = view, chart = at("chart");
    at("trend").hidden = trend.length === 0;
    if (!trend.length) return;
    const shown = trend.slice(-12);
    const least = Math.min(...shown.map((p) => Math.max(p.total_arcmin, 0.02)), goal ?? Infinity);
    const most = Math.max(...shown.map((p) => p.total_arcmin + p.sigma_arcmin), goal ?? 0.1, least * 2);
    const low = Math.floor(Math.log10(least)), high = Math.max(Math.ceil(Math.log10(most)), low + 1);
    const x = (i) => 46 + (i + 0.5) * (264 / Math.max(shown.length, 4));
    const y = (v) => 124 - (114 * (Math.min(Math.max(Math.log10(Math.max(v, 1e-9)), low), high) - low)) / (high - low);
    const parts = [drawn("path", { d: "M 46 8 V 124 H 312", class: "thin" })];
    for (let power = low; power <= high; power++) {
      const level = y(10 ** power);
      parts.push(drawn("path", { d: `M 42 ${level} H 312`, class: "faint" }), drawn("text", { x: 38, y: level + 3.5, "text-anchor": "end" }, `${Number((10 ** power).toPrecision(1))}′`));
    }
    if (goal !== null) parts.push(drawn("path", { d: `M 46 ${y(goal)} H 312`, class: "goal" }), drawn("text", { x: 312, y: y(goal) - 3, "text-anchor": "end" }, "near enough"));
    parts.push(drawn("path", { d: shown.map((p, i) => `${i ? "L" : "M"} ${x(i)} ${y(p.total_arcmin)}`).join(" "), class: "thin" }));
    shown.forEach((p, i) => {
      parts.push(drawn("path", { d: `M ${x(i)} ${y(p.total_arcmin - p.sigma_arcmin)} V ${y(p.total_arcmin + p.sigma_arcmin)}`, class: "thin" }));
      parts.push(drawn("circle", { cx: x(i), cy: y(p.total_arcmin), r: 4, class: p.fresh ? "solid" : "open" }));
      if (i === 0 || i === shown.length - 1) parts.push(drawn("text", { x: x(i), y: 138, "text-anchor": "middle" }, p.time_utc.slice(11, 16)));
    });
    chart.replaceChildren(...parts);
    const figures = shown.map((p) => `${digits(p.total_arcmin)}${p.fresh ? "" : " (followed)"}`).join(", ");
    const left = trend.length > shown.length ? `the last ${shown.length} of ${trend.length}` : "each finding";
    put("chart-text", `Total error, ${left}: ${figures} arcmin. Filled: measured anew; open: followed. Times are UTC.`);
  };

  // ---- the rest
  const PARTS = { sweep: "sweep", "follow-up": "follow-up", target: "frame of the target", none: "" };
  const showRest = () => {
    const { last_frame: last, counts, target } = view;
    at("last").hidden = !last;
    if (last) {
      put("last-file", [last.file, utc(last.time_utc)].filter(Boolean).join(", "));
      put("last-why", [last.counted ? "used" : "not used", PARTS[last.part], last.reason].filter(Boolean).join(": "));
    }
    const files = [[counts.counted, "used"], [counts.of_target, "of the target"], [counts.refused, "of no use"], [counts.unsolved, "without a solution"], [counts.growing, "being written"]];
    put("counts", `Frames: ${files.filter(([n], i) => n || !i).map(([n, what]) => `${n} ${what}`).join(", ")}.`);
    const drift = (pair) => (pair ? `${signed(pair[0])} east, ${signed(pair[1])} north` : "not known");
    put("target", target ? `Target, drift in ″/min: seen ${drift(target.seen_arcsec_per_min)}; predicted ${drift(target.predicted_arcsec_per_min)}. Star elongation ${target.elongation === null ? "not known" : target.elongation.toFixed(2)}.` : "");
    at("warnings").replaceChildren(...view.warnings.map((w) => made("li", w.text)));
  };

  // ---- sound and touch: fewer and lower as the error shrinks
  const tone = (when, pitch, length, shape) => {
    const voice = audio.createOscillator(), loud = audio.createGain();
    voice.type = shape;
    voice.frequency.value = pitch;
    loud.gain.setValueAtTime(0, when);
    loud.gain.linearRampToValueAtTime(0.3, when + 0.015);
    loud.gain.setValueAtTime(0.3, when + length - 0.03);
    loud.gain.linearRampToValueAtTime(0, when + length);
    voice.connect(loud).connect(audio.destination);
    voice.start(when);
    voice.stop(when + length);
  };
  const steps = () => {
    const { axis, goal_arcmin: goal } = view;
    return axis && goal ? Math.min(6, Math.max(1, 1 + Math.round(Math.log2(axis.total_arcmin / goal)))) : 3;
  };
  const score = (what) => {
    if (what === "refused") return [[0, 110, 0.5, "sawtooth"], [0.6, 82, 0.7, "sawtooth"]];
    if (what === "done") return [[0, 392, 0.25, "sine"], [0.25, 523, 0.25, "sine"], [0.5, 784, 1.0, "sine"]];
    return Array.from({ length: steps() }, (_, i) => [i * 0.24, 165 * 2 ** (steps() / 3), 0.15, "triangle"]);
  };
  const buzz = (pattern) => { if (audio && navigator.vibrate) navigator.vibrate(pattern); };
  const play = (what) => {
    if (!audio || !what) return;
    if (audio.state === "suspended") audio.resume();
    for (const [when, ...how] of score(what)) tone(audio.currentTime + 0.05 + when, ...how);
    buzz(what === "refused" ? [500] : what === "done" ? [120, 80, 120, 80, 500] : Array(2 * steps() - 1).fill(70));
  };
  const switchSound = async () => {
    const Kind = window.AudioContext ?? window.webkitAudioContext;
    if (audio) {
      await audio.close();
      audio = null;
    } else if (Kind) {
      audio = new Kind();
      tone(audio.currentTime + 0.05, 262, 0.2, "triangle");
      buzz([40]);
    }
    at("sound").textContent = audio ? "Sound: on" : Kind ? "Sound: off" : "No sound here";
    at("sound").setAttribute("aria-pressed", String(Boolean(audio)));
  };

  // ---- staying awake
  const stayAwake = async () => {
    let text = "The screen: this browser does not keep it awake over plain http. Lengthen the phone's own screen time-out.";
    if (navigator.wakeLock) {
      try {
        await navigator.wakeLock.request("screen");
        text = "The screen is kept awake while this page is shown.";
      } catch {
        text = "The screen: the browser declines to keep it awake just now (battery saver?).";
      }
    }
    put("awake", text);
  };

  // ---- themes
  const wear = (theme) => {
    document.documentElement.dataset.theme = theme;
    at("theme").textContent = theme === "red" ? "Light" : "Red";
    at("theme").setAttribute("aria-label", theme === "red" ? "Light: change to dark on light" : "Red: change to red on black");
    document.querySelector("meta[name=theme-color]").content = theme === "red" ? "#000" : "#fff";
  };
  // a glove that slips must not spoil eyes that are used to the dark: light asks for a second touch
  let sure = 0;
  const changeTheme = () => {
    const next = document.documentElement.dataset.theme === "red" ? "light" : "red";
    clearTimeout(sure);
    if (next === "light" && !sure) {
      at("theme").textContent = "Bright! Again";
      at("theme").setAttribute("aria-label", "Bright! Touch again to change to dark on light");
      sure = setTimeout(() => { sure = 0; wear("red"); }, 4000);
      return;
    }
    sure = 0;
    wear(next);
    kept("theme", next);
  };

  // ---- the connection; a figure that may be old is not shown as now
  const showLost = (what, why) => {
    at("live").hidden = true;
    at("lost").hidden = false;
    put("lost-what", what);
    put("lost-since", clock(since));
    put("lost-told", why);
    put("link", view ? "not connected" : "no state yet");
  };
  const lose = (why) => {
    const told = view ? `It said then: ${view.now.sentence}` : "";
    showLost("No connection since", [why, told].filter(Boolean).join(" "));
  };
  const showAll = () => {
    at("lost").hidden = true;
    if (!view) return;
    at("live").hidden = false;
    showNow();
    showTaken();
    showAxis();
    showTrend();
    showRest();
    put("link", `connected, ${view.folder}`);
  };
  const listenTo = (name, act) =>
    source.addEventListener(name, (event) => {
      heard = Date.now();
      since = new Date();
      why = "";
      act(event);
    });
  const takeState = (event) => {
    const came = JSON.parse(event.data);
    if (came === null) {
      showAll();
      return put("link", "connected; nothing to show yet");
    }
    const before = view, changed = seen !== null && came.number !== seen;
    view = came;
    seen = came.number;
    if (!before || (before.taken === null) !== (came.taken === null) || before.trend.length !== came.trend.length) {
      put("heard", "");
      openFields(false);
      fillFields();
    }
    showAll();
    if (changed) play(came.sound);
  };
  // by its name a page that comes back takes its own old place
  const own = Array.from(crypto.getRandomValues(new Uint8Array(8)), (b) => b.toString(16).padStart(2, "0")).join("");
  const connect = () => {
    if (source) source.close();
    tried = Date.now();
    source = new EventSource(`${base}events?page=${own}`);
    listenTo("state", takeState);
    listenTo("beat", () => { if (!at("lost").hidden) showAll(); });
    listenTo("end", () => {
      ended = true;
      source.close();
      showLost("The evening was ended at", "Start it again, then read the new code: the address changes.");
    });
  };
  const findOut = async () => {
    try {
      const reply = await fetch(`${base}state`, { signal: limit(4000) });
      if (reply.status === 404) return "The program was started anew, with a new address: read its code again.";
      return reply.ok ? "If this stays so, too many pages are open: close one." : "";
    } catch {
      return "";
    }
  };
  const check = async () => {
    if (ended) return;
    const gone = source.readyState === EventSource.CLOSED, quiet = Date.now() - heard;
    if (quiet < SILENT_MS && !gone) return;
    if (quiet > SILENT_MS || (gone && quiet > 4000)) lose(why);
    if (Date.now() - tried > AGAIN_MS && (gone || Date.now() - tried > SILENT_MS)) {
      connect();
      why = await findOut();
    }
  };

  // ---- begin
  wear(kept("theme") === "light" ? "light" : "red");
  at("theme").addEventListener("click", changeTheme);
  at("sound").addEventListener("click", switchSound);
  for (const button of document.querySelectorAll("[data-kind]")) button.addEventListener("click", () => say({ kind: button.dataset.kind }));
  at("other").addEventListener("click", () => openFields(at("fields").hidden));
  for (const button of document.querySelectorAll(".sense")) button.addEventListener("click", () => sense(button, -Number(button.dataset.sign)));
  at("send").addEventListener("click", sendEntered);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") {
      stayAwake();
      check();
    }
  });
  stayAwake();
  connect();
  setInterval(check, 1000);
})();
