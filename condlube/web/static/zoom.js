// Zooming and reading out the trends; everything else works without script.
"use strict";

const button = document.querySelector("button[data-zoom]");

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function library() {
  return new Promise((resolve, reject) => {
    if (window.Plotly) return resolve(window.Plotly);
    const script = document.createElement("script");
    script.src = "/static/plotly.min.js";
    script.onload = () => resolve(window.Plotly);
    script.onerror = reject;
    document.head.append(script);
  });
}

const SYMBOLS = {
  relubrication: "triangle-down", inspection: "diamond-open", failure: "x",
  grease: "triangle-down", inspect: "diamond-open", failed: "x",
};

// Events over the highest level, calls under the lowest.
function marks(night, trend) {
  const levels = [...trend.observed, ...trend.low, ...trend.high].filter((v) => v !== null);
  const [low, high] = [Math.min(...levels), Math.max(...levels)];
  const row = (name, y, colour, found) => ({
    x: found.map((one) => one.at), y: found.map(() => y), text: found.map((one) => one.says), name, mode: "markers",
    hovertemplate: "%{text}<extra></extra>",
    marker: { size: 9, color: colour, symbol: found.map((one) => SYMBOLS[one.kind] || "square-open") },
  });
  const first = trend.nights[0];
  const events = night.events
    .filter((e) => e.time.slice(0, 10) >= first)
    .map((e) => ({ at: e.time.slice(0, 10), kind: e.kind, says: `${e.time.slice(0, 10)} ${e.kind}` }));
  const named = (d) => (d.call === "hold" ? "" : d.call || "failed");
  const calls = night.decisions
    .filter((d, k, all) => named(d) && d.night >= first && (k === 0 || named(all[k - 1]) !== named(d)))
    .map((d) => ({ at: d.night, kind: named(d), says: `called from ${d.night}: ${d.call || "not decided"}` }));
  const step = (high - low || 1) * 0.08;
  return [row("events", high + step, colour("--mark"), events), row("calls", low - step, colour("--ink"), calls)];
}

// The band as one shape for each unbroken stretch of nights: a line that is filled to another one bridges the gaps.
function band(trend) {
  const shapes = [];
  let stretch = [];
  trend.nights.forEach((night, k) => {
    if (trend.low[k] !== null && trend.high[k] !== null) stretch.push(k);
    if (stretch.length && (trend.low[k] === null || k === trend.nights.length - 1)) {
      const back = [...stretch].reverse();
      shapes.push({
        x: [...stretch, ...back].map((i) => trend.nights[i]),
        y: [...stretch.map((i) => trend.high[i]), ...back.map((i) => trend.low[i])],
        mode: "lines", line: { width: 0 }, fill: "toself", fillcolor: colour("--rule"), hoverinfo: "skip",
        showlegend: false,
      });
      stretch = [];
    }
  });
  return shapes;
}

function draw(Plotly, place, trend, night) {
  const line = (y, name, style) => ({
    x: trend.nights, y, name, mode: "lines", line: style, connectgaps: false, hovertemplate: "%{y:.4~g}",
  });
  Plotly.newPlot(
    place,
    [
      ...band(trend),
      line(trend.expected, "expected", { dash: "dash", width: 1, color: colour("--soft") }),
      line(trend.observed, "observed", { width: 2, color: colour("--link") }),
      ...marks(night, trend),
    ],
    {
      title: { text: place.dataset.title, x: 0 },
      height: 340,
      margin: { l: 50, r: 10, t: 40, b: 40 },
      hovermode: "x unified",
      paper_bgcolor: colour("--paper"),
      plot_bgcolor: colour("--paper"),
      font: { color: colour("--ink") },
      hoverlabel: { bgcolor: colour("--paper"), font: { color: colour("--ink") } },
      xaxis: { gridcolor: colour("--rule") },
      yaxis: { gridcolor: colour("--rule") },
      legend: { orientation: "h" },
    },
    { displaylogo: false, responsive: true, modeBarButtonsToRemove: ["select2d", "lasso2d", "toImage"] },
  );
}

async function zoom() {
  button.disabled = true;
  const [Plotly, answer] = await Promise.all([library(), fetch(button.dataset.zoom)]);
  if (!answer.ok) throw new Error(answer.statusText);
  const { night } = await answer.json();
  const zoomed = document.getElementById("zoomed");
  const captions = [...document.querySelectorAll("figcaption")];
  night.trends.filter((trend) => trend.observed.some((v) => v !== null)).forEach((trend) => {
    const place = document.createElement("div");
    const caption = captions.find((one) => one.dataset.point === trend.point_id);
    place.dataset.title = caption ? caption.firstChild.textContent.trim() : trend.point_id;
    zoomed.append(place);
    draw(Plotly, place, trend, night);
  });
  zoomed.scrollIntoView();
}

if (button) {
  button.parentElement.hidden = false;
  button.addEventListener("click", () => {
    zoom().catch(() => {
      button.disabled = false;
      document.getElementById("zoomed").textContent = "The charts could not be loaded: load the page again.";
    });
  });
}
