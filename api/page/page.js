"use strict";
// Two things that the page can do without, in this order: keep itself fresh, and read the strip.

const EVERY_MS = 60000, WHILE_OPEN_MS = 3000, WHILE_LOST_MS = 5000, GIVE_UP_MS = 5000, OLD_MS = 90000;
const main = () => document.querySelector("main");
let tag = main().dataset.tag, busy = false, again = false, timer = 0;
let heard = main().dataset.clock, heardMs = Date.now(), begun = null;

// The garden's time comes from the server's answers. The phone's clock may be wrong by a day; it is
// only asked how long ago something was, and what it cannot know counts as long ago.
function hear(answer) {
  const atMs = Date.parse(answer.headers.get("date"));
  const { now, speed, zone } = main().dataset;
  begun ??= { atMs, now: +now };
  heardMs = Date.now();
  heard = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  }).format(new Date(1000 * begun.now + (atMs - begun.atMs) * speed));
}
const old = () => Math.abs(Date.now() - heardMs) > OLD_MS;

// Without contact nothing is said of now: valves tell what was seen last.
function say(lost) {
  const line = document.querySelector(".contact");
  line.hidden = !lost;
  line.textContent = lost ? `No contact since ${heard}. Below stands what was so then.` : "";
  main().classList.toggle("lost", lost);
  for (const valve of document.querySelectorAll("[data-was]")) {
    valve.dataset.is ??= valve.textContent;
    valve.textContent = lost ? valve.dataset.was : valve.dataset.is;
  }
}

const ask = (path, headers) =>
  fetch(path, { headers, cache: "no-store", signal: AbortSignal.timeout(GIVE_UP_MS) });

// Put the new page in place of the old; what a person has unfolded stays unfolded.
async function renew() {
  const answer = await ask(location.href, {});
  if (!answer.ok) throw new Error(answer.status);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const opened of document.querySelectorAll("details[open]")) {
    page.getElementById(opened.id)?.setAttribute("open", "");
  }
  for (const part of ["main", ".everything"]) {
    document.querySelector(part).replaceWith(page.querySelector(part));
  }
  begun = null;
  return answer;
}

async function look() {
  if (document.visibilityState !== "visible") return;
  if (old()) say(true);
  again = busy; // what happened while an answer was under way is asked about after it
  if (busy) return;
  busy = true;
  try {
    let answer = await ask("/api/garden", { "If-None-Match": tag });
    if (answer.status !== 304) {
      if (!answer.ok) throw new Error(answer.status);
      answer = await renew();
      tag = main().dataset.tag;
    }
    hear(answer);
    say(false);
  } catch {
    say(true);
  } finally {
    busy = false;
    clearTimeout(timer);
    const { dataset, classList } = main();
    const nextMs = again ? 0 : dataset.open ? WHILE_OPEN_MS : classList.contains("lost") ? WHILE_LOST_MS : EVERY_MS;
    timer = setTimeout(look, nextMs);
  }
}

// A page that comes out of the browser's own store is old until the garden has answered, and its
// form key may be spent.
function shown(event) {
  const [how] = performance.getEntriesByType("navigation");
  const kept = event.persisted || how?.type === "back_forward" || how?.transferSize === 0;
  if (kept) {
    say(true);
    tag = "";
  }
  look();
}
window.addEventListener("pageshow", shown);
for (const [at, event] of [[document, "visibilitychange"], [window, "online"], [window, "offline"]]) {
  at.addEventListener(event, look);
}

// The read-out: the curve's own points are the data.
function points(strip) {
  const found = [];
  for (const curve of strip.querySelectorAll(".curve")) {
    let x = 0, y = 0;
    found.push(null);
    for (const [, kind, a, b] of curve.getAttribute("d").matchAll(/([Ml])(\S+) (-?[\d.e-]+)/g)) {
      x = kind === "M" ? +a : x + +a;
      y = kind === "M" ? +b : y + +b;
      found.push([x, y]);
    }
  }
  return found;
}

// The curve at one place; null in a gap and in the future.
function between(found, at) {
  for (let i = 1; i < found.length; i++) {
    const a = found[i - 1], b = found[i];
    if (a && b && a[0] <= at && at <= b[0]) {
      return [at, b[0] > a[0] ? a[1] + (b[1] - a[1]) * (at - a[0]) / (b[0] - a[0]) : b[1]];
    }
  }
  return null;
}

function read(event) {
  const strip = event.target.closest?.(".strip");
  if (!strip) return;
  const box = strip.getBoundingClientRect();
  const at = (event.clientX - box.left) * 380 / box.width;
  const best = between(points(strip), at);
  if (!best) return;
  const { from, to, deep } = strip.dataset;
  const when = new Date(1000 * (+from + (to - from) * best[0] / 380));
  const used = Math.round(100 * deep * (best[1] - 34) / 116);
  const said = new Intl.DateTimeFormat("en-GB", {
    timeZone: main().dataset.zone, weekday: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  }).format(when);
  strip.parentNode.querySelector(".read").textContent = `${said}: ${used} % of its water used`;
  let line = strip.querySelector(".read-line");
  if (!line) {
    line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "read-line");
    strip.append(line);
  }
  line.setAttribute("d", `M${best[0]} 34V150`);
}
document.addEventListener("pointermove", read);
document.addEventListener("pointerdown", read);
