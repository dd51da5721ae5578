"use strict";
// Shows what is heard now. A page that has lost touch says so at once: an old state must not look like a new one.

const byId = (id) => document.getElementById(id);
const base = document.body.dataset.base;
const STALE = 3000; // ms by a clock that nobody sets
const SVG = "http://www.w3.org/2000/svg";
let heard = 0;
let over = false;
let cuts = false;

function put(id, text) {
  const element = byId(id);
  if (element.textContent !== text) element.textContent = text;
}

function list(id, sentences) {
  const element = byId(id);
  if (element.dataset.said === sentences.join("\n")) return;
  element.dataset.said = sentences.join("\n");
  element.replaceChildren(...sentences.map((sentence) => {
    const item = document.createElement("li");
    item.textContent = sentence;
    return item;
  }));
}

function setState(state, word, because) {
  byId("state").dataset.state = state;
  put("word", word);
  put("because", because);
  // A speed in it changes all the time: only other words are read aloud, and put into the title.
  const words = `${word.toUpperCase()}: ${because}`;
  if (words.replace(/\d+/g, "") === document.title.replace(/\d+/g, "")) return;
  document.title = words;
  put("aloud", words);
}

// --- pictures ----------------------------------------------------------------------------------------------

function canvas(id, height) {
  const svg = byId(id);
  const width = Math.max(svg.clientWidth, 200);
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("height", height);
  svg.replaceChildren();
  const add = (name, attributes, text) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
    svg.append(element);
  };
  return [add, width];
}

function way(xs, ys) {
  let pen = "M";
  let path = "";
  xs.forEach((x, at) => {
    if (ys[at] === null || !Number.isFinite(ys[at])) { pen = "M"; return; }
    path += `${pen}${x.toFixed(1)} ${ys[at].toFixed(1)}`;
    pen = "L";
  });
  return path;
}

function drawScore(history) {
  const height = 170;
  const [add, width] = canvas("score-chart", height);
  const low = height - 24;
  const y = (score) => low - (Math.min(score, 1.5) / 1.6) * (low - 6);
  const last = history.length ? history[history.length - 1][0] : 0;
  const x = (at) => 8 + (1 - (last - at) / 180) * (width - 16);
  const shown = history.filter(([at]) => last - at <= 180);
  if (shown.length) {
    const path = way(shown.map(([at]) => x(at)), shown.map(([, score]) => y(score)));
    add("path", { class: "area", d: `${path}L${x(last).toFixed(1)} ${low}L${x(shown[0][0]).toFixed(1)} ${low}Z` });
    add("path", { class: "now", d: path });
  }
  add("path", { class: "limit", d: `M8 ${y(1)}H${width - 8}` });
  add("text", { x: 10, y: y(1) - 6 }, "limit: alarm");
  add("path", { class: "axis", d: `M8 ${low}H${width - 8}` });
  add("text", { x: 10, y: height - 6 }, "3 min ago");
  add("text", { x: width - 10, y: height - 6, "text-anchor": "end" }, "now");
}

function drawOrders(told) {
  const height = 230;
  const [add, width] = canvas("orders-chart", height);
  const levels = [...(told.normal || []), ...(told.now || [])].filter((level) => level !== null);
  if (!levels.length) {
    put("orders-told", "Nothing is being cut, so there is nothing to show.");
    return;
  }
  const [floor, top] = [Math.min(...levels), Math.max(...levels)];
  const [left, low] = [46, height - 40];
  const y = (level) => (level === null ? null : low - ((level - floor) / Math.max(top - floor, 10)) * (low - 22));
  const most = told.orders[told.orders.length - 1];
  const x = (order) => left + (order / most) * (width - left - 10);
  for (let order = 1; order <= most; order += 1) {
    const teeth = order % told.flutes === 0;
    add("path", { class: teeth ? "tooth" : "axis", d: `M${x(order)} 18V${low}` });
    add("text", { x: x(order), y: low + 16, "text-anchor": "middle" }, order);
  }
  const xs = told.orders.map(x);
  if (told.normal) add("path", { class: "normal", d: way(xs, told.normal.map(y)) });
  if (told.now) add("path", { class: "now", d: way(xs, told.now.map(y)) });
  add("text", { x: x(1), y: 12, "text-anchor": "middle" }, "spindle");
  if (told.flutes > 1) add("text", { x: x(told.flutes), y: 12, "text-anchor": told.flutes === 2 && width < 500 ? "start" : "middle" }, "tooth-pass");
  add("text", { x: 2, y: 34 }, `${Math.round(top)} dB`);
  add("text", { x: 2, y: low }, `${Math.round(floor)} dB`);
  add("text", { x: width - 10, y: height - 4, "text-anchor": "end" }, "times the spindle's turns");
  const rises = told.normal && told.now ? told.orders
    .map((order, at) => [order, told.now[at] - told.normal[at]])
    .filter(([order, rise]) => order * 2 === Math.round(order * 2) && rise >= 3)
    .sort((a, b) => b[1] - a[1]).slice(0, 3) : [];
  put("orders-told", !told.normal ? "Nothing is learned yet." : !told.now ? "Nothing is being cut now."
    : rises.length ? `Louder than learned: ${rises.map(([order, rise]) => `order ${order} by ${Math.round(rise)} dB`).join(", ")}.`
    : "No whole or half order is louder than learned by 3 dB.");
}

// --- what is heard -----------------------------------------------------------------------------------------

function show(told) {
  heard = performance.now();
  over = told.over;
  cuts = told.cuts;
  if (over) setState("settle", "ended", "The run has ended: nobody listens any more.");
  else setState(told.state, told.state, told.because);
  put("do", over ? "" : told.do);
  put("began", told.began);
  put("resume", told.resume);
  put("line", told.where || "place unknown");
  put("part", told.part || "");
  put("between", told.between ? `between ${told.between[0]} and ${told.between[1]}` : "");
  put("clock", told.clock);
  put("spindle", told.spindle);
  put("speed", told.speed ? `${told.speed} rpm` : "");
  put("score", told.score.toFixed(2));
  put("said", told.said);
  byId("todo").hidden = !told.lasts;
  put("first", told.first);
  list("steps", told.steps);
  put("alone", told.alone);
  byId("alone").hidden = !told.alone;
  byId("press-nothing").disabled = over || !(told.lasts || told.doubted);
  byId("press-tightened").disabled = over || !(told.alarms || told.doubted);
  byId("press-mark").disabled = over;
  byId("last").hidden = !told.last;
  if (told.last) {
    put("last-title", told.last.title);
    put("last-at", told.last.at);
    list("last-because", told.last.because);
    put("last-resume", told.last.resume);
    byId("restart").hidden = !told.last.restart;
    if (told.last.restart) byId("restart").href = told.last.restart;
  }
  drawScore(told.history);
  drawOrders(told.orders);
}

function lose() {
  if (over || !heard || performance.now() - heard < STALE) return;
  byId("alone").hidden = true;
  put("do", "");
  put("spindle", byId("spindle").dataset.unknown);
  put("speed", "");
  setState("lost", "lost", "This page has lost touch: what stands here is old. Look at the machine.");
}

const stream = new EventSource(`${base}/stream`);
stream.addEventListener("message", (message) => {
  show(JSON.parse(message.data));
  if (over) stream.close();
});
heard = performance.now();
setInterval(lose, 500);

// What was nothing counts as normal from then on, and what is tightened ends an alarm: one tap by mistake
// must not be enough.
const asks = new Map([["press-nothing", "Nothing? Press again"], ["press-tightened", "A cut is heard still. Press again"]]
  .map(([id, question]) => [byId(id), { plain: byId(id).textContent, question, armed: -Infinity }]));
function isSure(button) {
  const ask = asks.get(button);
  const since = performance.now() - ask.armed;
  if (since < 600) return false;
  const sure = since < 6000;
  ask.armed = sure ? -Infinity : performance.now();
  button.textContent = sure ? ask.plain : ask.question;
  if (!sure) setTimeout(() => { button.textContent = ask.plain; }, 6000);
  return sure;
}

function needsAsking(button) {
  return button.id === "press-nothing" || (button.id === "press-tightened" && cuts);
}

for (const form of document.querySelectorAll(".presses form")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (needsAsking(event.submitter) && !isSure(event.submitter)) return;
    const body = new URLSearchParams(new FormData(form, event.submitter));
    try {
      const answer = await fetch(form.action, { method: "POST", body, redirect: "manual" });
      if (answer.type !== "opaqueredirect") put("said", (await answer.text()).trim());
    } catch {
      put("said", "This did not get through: say it again.");
    }
  });
}
