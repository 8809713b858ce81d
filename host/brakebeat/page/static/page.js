"use strict";
// Everything that comes from outside goes into the page as text, never as markup.
const $ = (id) => document.getElementById(id);
const put = (id, text) => { if ($(id).textContent !== text) $(id).textContent = text; };
const TIMING = { early: "◀ early", inside: "● in time", late: "▶ LATE", none: "✕ no brake" };
const STAGE = { ready: "Ready", set: "Rep", rest: "Reps done", finished: "Reps done" };
let state = null, arrived = 0, said = null;

function show(next) {
  state = next;
  arrived = performance.now();
  document.body.classList.remove("off");
  put("athlete", next.athlete);
  put("exercise", [next.exercise, next.rig].filter(Boolean).join(" · "));
  put("link", (next.connected ? "● " : "○ ") + next.link);
  put("caution", next.caution);
  note("warning", next.warning ? "⚠ " + next.warning : "");
  count(next);
  bars(next);
  brake(next);
  verdict(next);
  rows(next.set ? next.set.reps : []);
  clock();
  say(next);
}

const last = (next) => (next.set && next.set.reps.length ? next.set.reps[next.set.reps.length - 1] : null);
const number = (value, digits) => (value === null ? "–" : value.toFixed(digits));
const below = (share) => (share === null ? "–" : share < 0.0005 ? "best" : "−" + (share * 100).toFixed(0) + " %");

function note(id, text) {
  $(id).hidden = !text;
  put(id, text);
}

function count(next) {
  const rep = last(next), plan = next.plan;
  put("stage", next.stage === "set" && rep && rep.momentum ? "Momentum rep" : STAGE[next.stage]);
  put("rep", !next.set ? "0" : rep.momentum ? "m" + rep.number : String(next.set.counting));
  put("of", "/" + (next.stage === "set" && rep && rep.momentum ? plan.momentum_reps : plan.reps));
}

function bars(next) {
  const rep = last(next), best = next.set ? next.set.best : { peak_rad_s: null, power_w: null };
  const pulling = next.live && next.live.phase !== "idle";
  const speed = pulling ? next.live.speed_rad_s : rep ? rep.peak_rad_s : null;
  const power = rep ? rep.power_w : null;
  put("speed", number(speed, 1) + " rad/s" + (pulling ? " now" : ""));
  put("power", number(power, 0) + " W");
  bar("speed-bar", speed, best.peak_rad_s, next.target.peak_rad_s, rep ? rep.peak_rad_s : 0);
  bar("power-bar", power, best.power_w, next.target.power_w, power);
  $("target-key").hidden = next.target.peak_rad_s === null && next.target.power_w === null;
}

function bar(id, value, best, target, before) {
  const full = 1.15 * Math.max(value || 0, best || 0, target || 0, before || 0, 1e-9);
  place($(id).querySelector(".fill"), "width", value, full);
  place($(id).querySelector(".best"), "left", best, full);
  place($(id).querySelector(".target"), "left", target, full);
}

function place(mark, side, value, full) {
  mark.toggleAttribute("data-off", value === null);
  if (value !== null) mark.style[side] = (100 * Math.min(1, Math.max(0, value / full))).toFixed(2) + "%";
}

function brake(next) {
  const rep = last(next), [from, to] = next.window;
  const strip = $("strip"), part = strip.querySelector(".window"), mark = strip.querySelector(".mark");
  part.style.left = 100 * Math.max(0, from) + "%";
  part.style.right = 100 * (1 - Math.min(1, to)) + "%";
  const fraction = rep ? rep.brake_fraction : null;
  mark.hidden = fraction === null;
  if (fraction !== null) mark.style.left = 100 * Math.min(1, Math.max(0, fraction)) + "%";
  part.hidden = false;
  put("brake", brakeWords(rep));
  put("below", rep && rep.drop_peak !== null ? "speed " + below(rep.drop_peak) + ", power " + below(rep.drop_power) : "–");
}

function brakeWords(rep) {
  if (!rep) return "–";
  const words = TIMING[rep.brake_timing] || "not known";
  return rep.brake_fraction === null ? words : words + " " + rep.brake_fraction.toFixed(2);
}

function verdict(next) {
  const stop = next.set && next.set.stop, over = next.stage === "rest" || next.stage === "finished";
  const set = "Set " + (next.set ? next.set.number : 1) + " of " + next.plan.sets;
  $("verdict").dataset.kind = over ? "done" : stop ? "stop" : "go";
  const dropped = stop ? ", effort dropped" : "";
  put("verdict", next.stage === "finished" ? "✓ All sets done" + dropped
    : next.stage === "rest" ? "✓ " + set + " done" + dropped
    : stop ? "■ Effort dropped: brake, end the set" : "▸ " + set);
}

function rows(reps) {
  const wanted = JSON.stringify(reps);
  if ($("rows").dataset.shown === wanted) return;
  $("rows").dataset.shown = wanted;
  $("rows").replaceChildren(...reps.slice().reverse().map(row));
}

function row(rep) {
  const line = document.createElement("tr");
  const name = rep.momentum ? "m" + rep.number : String(rep.number);
  const drop = below(rep.drop_peak) + (rep.stop ? " ■ stop" : "");
  const cells = [name, number(rep.peak_rad_s, 1), number(rep.power_w, 0), brakeWords(rep), drop];
  cells.forEach((text, place) => {
    const cell = document.createElement(place ? "td" : "th");
    if (!place) cell.scope = "row";
    if (place === 4 && rep.stop) cell.className = "stop";
    cell.textContent = text;
    line.append(cell);
  });
  return line;
}

function clock() {
  if (!state) return;
  const resting = state.stage === "rest", since = performance.now() - arrived;
  if (state.rested_s === null) return;
  const rested = state.rested_s + since / 1000, left = state.plan.rest_s - rested;
  put("clock-name", resting ? (left > 0 ? "Rest left" : "Rest over") : "Since the last rep");
  put("clock", time(resting ? Math.abs(left) : rested));
  put("clock-words", !resting ? "rest planned: " + time(state.plan.rest_s)
    : left > 0 ? "next set when it is over" : "▶ begin the next set when you are ready");
}

const time = (s) => Math.floor(s / 60) + ":" + String(Math.floor(s % 60)).padStart(2, "0");

// A screen reader hears each rep once, and each change of stage; not the live speed.
function say(next) {
  const rep = last(next);
  const key = [rep ? rep.index : "", next.set ? next.set.number : 0, next.stage, next.connected].join();
  if (key === said) return;
  said = key;
  const parts = [];
  if (!next.connected) parts.push(next.link);
  if (rep) parts.push((rep.momentum ? "momentum rep " : "rep ") + rep.number, number(rep.peak_rad_s, 0) + " radians per second",
    "brake " + brakeWords(rep).replace(/[◀●▶✕] /, ""));
  if ($("verdict").dataset.kind !== "go") parts.push($("verdict").textContent.slice(2));
  put("said", parts.join(", "));
}

function colours() {
  const order = ["auto", "light", "dark"], names = { auto: "◐ Auto", light: "○ Light", dark: "● Dark" };
  let now = "auto";
  const set = (to) => {
    now = to;
    if (to === "auto") delete document.documentElement.dataset.scheme; else document.documentElement.dataset.scheme = to;
    put("scheme", names[to]);
    $("scheme").setAttribute("aria-label", "Colours: " + (to === "auto" ? "as the system has them" : to));
  };
  try { if (order.includes(localStorage.scheme)) set(localStorage.scheme); } catch { /* no storage: auto */ }
  $("scheme").addEventListener("click", () => {
    set(order[(order.indexOf(now) + 1) % 3]);
    try { localStorage.scheme = now; } catch { /* not kept then */ }
  });
}

// The token has become a cookie: it need not stand on a screen that everybody sees.
history.replaceState(null, "", location.pathname);
colours();
const source = new EventSource("events");
source.onmessage = (event) => show(JSON.parse(event.data));
source.onerror = () => {
  document.body.classList.add("off");
  put("link", "✕ no data from the computer: figures below are old");
  if (said !== "off") { said = "off"; put("said", "no data from the computer"); }
};
setInterval(clock, 250);
