"use strict";
// The run over time, the parts that are tapped, and the limit that is dragged. Without this file all but the
// picture and the limit works as well.

const run = document.body.dataset.run;
const byId = (id) => document.getElementById(id);
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

const clock = (seconds) => {
  const whole = Math.floor(seconds);
  const two = (n) => String(n).padStart(2, "0");
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor(whole / 60) % 60;
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
};

// --- the run over time -------------------------------------------------------------------------------------

const LOOKS = {
  settle: ["--none-pale", "--none", "."],
  learn: ["--learn-pale", "--learn", "/"],
  listen: ["--calm-pale", "--calm", ""],
  uneasy: ["--stir-pale", "--stir", "\\"],
  deaf: ["--card", "--ink", "-"],
  alarm: ["--wrong-pale", "--wrong", "x"],
};

function bars(row, spans, name, look, axis) {
  const [fill, line, hatch] = look;
  return {
    type: "bar", orientation: "h", name, yaxis: axis, showlegend: false,
    y: spans.map(() => row), base: spans.map((span) => span[0]), x: spans.map((span) => span[1] - span[0]),
    text: spans.map((span) => span[2]), textposition: "inside", insidetextanchor: "middle", textangle: 0,
    constraintext: "inside", textfont: { color: colour("--ink"), size: 14 },
    marker: {
      color: colour(fill), line: { color: colour(line), width: 1 },
      pattern: { shape: hatch, fgcolor: colour(line), fgopacity: 0.45, size: 7, solidity: 0.2 },
    },
    hovertemplate: spans.map((span) => `${span[2]}: ${clock(span[0])} to ${clock(span[1])}<extra></extra>`),
  };
}

function ticks(seconds) {
  const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];
  const step = steps.find((candidate) => seconds / candidate <= 8) || 7200;
  const at = Array.from({ length: Math.floor(seconds / step) + 1 }, (_, index) => index * step);
  return { tickvals: at, ticktext: at.map(clock) };
}

function layout(told) {
  const title = (text) => ({ title: { text, font: { size: 13 } }, fixedrange: true, gridcolor: colour("--rule"), zeroline: false });
  return {
    uniformtext: { minsize: 11, mode: "hide" }, barmode: "overlay", bargap: 0.12, showlegend: false, hovermode: "closest", dragmode: "zoom",
    margin: { l: 68, r: 16, t: 16, b: 44 },
    paper_bgcolor: colour("--card"), plot_bgcolor: colour("--card"),
    font: { color: colour("--ink"), family: "Verdana, DejaVu Sans, sans-serif", size: 13 },
    xaxis: { range: [0, told.seconds], ...ticks(told.seconds), gridcolor: colour("--rule"), zeroline: false, anchor: "y4" },
    yaxis: { domain: [0.8, 1], fixedrange: true, showgrid: false, autorange: "reversed" },
    yaxis2: { domain: [0.52, 0.76], rangemode: "tozero", ...title("score") },
    yaxis3: { domain: [0.27, 0.48], ...title("line") },
    yaxis4: { domain: [0, 0.22], ...title("dBFS") },
    shapes: [
      { type: "line", xref: "paper", x0: 0, x1: 1, yref: "y2", y0: 1, y1: 1, line: { color: colour("--wrong"), width: 2, dash: "dash" } },
      ...told.alarms.map(([, onset, at]) => ({
        type: "rect", yref: "paper", y0: 0, y1: 1, x0: onset, x1: at, line: { color: colour("--wrong"), width: 1.5 },
        fillcolor: colour("--wrong"), opacity: 0.6,
      })),
    ],
  };
}

function series([x, y], axis, name, line) {
  return { type: "scatter", mode: "lines", x, y, yaxis: axis, name, line: { width: 1.6, ...line }, hoverinfo: "none" };
}

async function drawTimeline() {
  const answer = await fetch(`${run}/timeline.json`);
  if (!answer.ok) return;
  const told = await answer.json();
  // Its large script comes last, so that all else is there before it.
  if (!window.Plotly) await new Promise((ready) => { window.addEventListener("load", ready, { once: true }); });
  const draw = () => {
    const traces = Object.entries(LOOKS).map(([state, look]) =>
      bars("state", told.states.filter((span) => span[2] === state), state, look, "y"));
    if (told.parts.length) {
      const spans = told.parts.map(([name, begin, end]) => [begin, end, name]);
      traces.push(bars("part", spans, "part", ["--card", "--ink", ""], "y"));
    }
    traces.push({ ...series(told.score, "y2", "score", { color: colour("--ink") }), fill: "tozeroy", fillcolor: colour("--none-pale") });
    traces.push(series(told.lines, "y3", "line", { color: colour("--learn"), shape: "hv", width: 2 }));
    traces.push(series(told.level, "y4", "loudness", { color: colour("--calm") }));
    window.Plotly.react("timeline", traces, layout(told), { displayModeBar: false, responsive: true });
  };
  draw();
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  byId("timeline").dataset.drawn = "yes";
}

// --- the parts ---------------------------------------------------------------------------------------------

function tellChosen(form) {
  const ticked = [...form.querySelectorAll("input[name=part]")].filter((box) => box.checked);
  for (const part of form.querySelectorAll("[data-part]")) {
    part.classList.toggle("chosen", ticked.some((box) => box.value === part.dataset.part));
  }
  byId("download").disabled = ticked.length === 0;
  byId("chosen").textContent = ticked.length ? `Chosen: ${ticked.map((box) => box.value).join(", ")}` : "No part is chosen.";
}

function watchParts(form) {
  form.addEventListener("change", () => tellChosen(form));
  for (const part of form.querySelectorAll("[data-part]")) {
    part.addEventListener("click", () => {
      const box = form.querySelector(`input[value="${CSS.escape(part.dataset.part)}"]`);
      box.checked = !box.checked;
      tellChosen(form);
    });
  }
  tellChosen(form);
}

// --- the limit ---------------------------------------------------------------------------------------------

let counted = null;

const alarms = (n) => (n === 0 ? "no alarm" : n === 1 ? "one alarm" : `${n} alarms`);
const nearest = (limits, value) => limits.reduce((best, limit, at) => (Math.abs(limit - value) < Math.abs(limits[best] - value) ? at : best), 0);

function budget(value) {
  if (!counted.nats || value === 1) return "";
  const times = Math.exp(Math.abs(1 - value) * counted.nats);
  const many = times < 10 ? times.toFixed(1) : times < 1000 ? Math.round(times) : "more than 1000";
  return value < 1 ? ` By the rule it would bear ${many} times as many false alarms.`
    : ` By the rule it would bear ${many} times fewer false alarms, and hear less.`;
}

function tellLimit() {
  const value = Number(byId("threshold").value);
  byId("threshold-value").textContent = value.toFixed(2);
  byId("threshold").setAttribute("aria-valuetext", `${value.toFixed(2)} times what it was`);
  if (!counted) return;
  const at = nearest(counted.limits, value);
  const found = counted.runs[0].alarms[at];
  byId("threshold-told").textContent = `This run would have had ${alarms(found.length)}.${budget(value)}`;
  byId("threshold-alarms").replaceChildren(...found.map(([when, highest]) => {
    const item = document.createElement("li");
    item.textContent = `at ${clock(when)}; the score then went up to ${highest.toFixed(2)}`;
    return item;
  }));
  const one = nearest(counted.limits, 1);
  byId("threshold-runs").tBodies[0].replaceChildren(...counted.runs.map((each) => {
    const row = document.createElement("tr");
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = `${each.title} (${each.id.slice(0, 10)})`;
    row.append(head, ...[each.alarms[one].length, each.alarms[at].length].map((n) => {
      const cell = document.createElement("td");
      cell.textContent = n;
      return cell;
    }));
    return row;
  }));
}

async function count(query) {
  const answer = await fetch(`${run}/threshold.json${query}`);
  if (!answer.ok) {
    byId("threshold-told").textContent = await answer.text();
    return;
  }
  counted = await answer.json();
  tellLimit();
}

// -----------------------------------------------------------------------------------------------------------

drawTimeline().finally(() => count("?alone"));
const form = byId("recut");
if (form) watchParts(form);
byId("threshold").addEventListener("input", tellLimit);
byId("threshold-all").addEventListener("click", async (event) => {
  event.target.disabled = true;
  byId("threshold-told").textContent = "Looking through the other runs ...";
  await count("");
  byId("threshold-runs").hidden = false;
});
