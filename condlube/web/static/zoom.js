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

function draw(Plotly, place, trend) {
  const line = (y, name, style) => ({ x: trend.nights, y, name, mode: "lines", line: style, connectgaps: false });
  const edge = { width: 0, color: colour("--rule") };
  Plotly.newPlot(
    place,
    [
      { ...line(trend.low, "band, low", edge), showlegend: false },
      { ...line(trend.high, "band, high", edge), fill: "tonexty", fillcolor: colour("--rule"), showlegend: false },
      line(trend.expected, "expected", { dash: "dash", width: 1, color: colour("--soft") }),
      line(trend.observed, "observed", { width: 2, color: colour("--link") }),
    ],
    {
      title: { text: `${trend.quantity}, ${trend.unit}`, x: 0 },
      height: 320,
      margin: { l: 50, r: 10, t: 40, b: 40 },
      hovermode: "x unified",
      paper_bgcolor: colour("--paper"),
      plot_bgcolor: colour("--paper"),
      font: { color: colour("--ink") },
      xaxis: { gridcolor: colour("--rule") },
      yaxis: { gridcolor: colour("--rule") },
      legend: { orientation: "h" },
    },
    { displaylogo: false, responsive: true },
  );
}

if (button) {
  button.parentElement.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    const [Plotly, answer] = await Promise.all([library(), fetch(button.dataset.zoom)]);
    const found = await answer.json();
    for (const trend of found.night.trends) {
      const place = document.createElement("div");
      document.getElementById("zoomed").append(place);
      draw(Plotly, place, trend);
    }
    document.getElementById("zoomed").scrollIntoView();
  });
}
