"use strict";
(function () {
  const PRINT_WIDTH = 680;
  const coarse = window.matchMedia("(pointer: coarse)").matches;

  function draw(holder) {
    const box = document.getElementById(holder.dataset.for);
    if (!box || box.dataset.drawn || !window.Plotly || box.offsetWidth === 0 || box.closest("details:not([open])")) return;
    const figure = JSON.parse(holder.textContent);
    const narrow = box.offsetWidth < 480;
    if (coarse && figure.layout.xaxis) { figure.layout.xaxis.fixedrange = true; figure.layout.dragmode = false; }
    if (narrow) {
      figure.layout.font.size = 11.5;
      figure.layout.margin.l = Math.min(figure.layout.margin.l, 88);
      ["xaxis", "xaxis2"].forEach(function (name) {
        const axis = figure.layout[name];
        if (!axis) return;
        axis.nticks = 3;
        if (axis.tickvals && axis.type === "date") ["tickvals", "ticktext"].forEach(function (list) {
          axis[list] = axis[list].filter(function (_, i) { return i % 2 === 0; });
        });
      });
      (figure.layout.annotations || []).forEach(function (word) { word.font.size = Math.min(word.font.size, 11.5) - 0.5; });
      figure.data.forEach(function (trace) { if (trace.name === "batches" || trace.name === "yeast lots") trace.mode = "markers"; });
    }
    box.dataset.drawn = "yes";
    Plotly.newPlot(box, figure.data, figure.layout, figure.config);
  }

  function holders() { return document.querySelectorAll("script[type='application/json'][data-for]"); }
  function drawn() { return document.querySelectorAll(".drawing[data-drawn]"); }
  function drawAll() { holders().forEach(draw); }

  document.querySelectorAll("details").forEach(function (part) { part.addEventListener("toggle", drawAll); });

  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details[data-print]").forEach(function (part) { part.open = true; });
    drawAll();
    drawn().forEach(function (box) { Plotly.relayout(box, { width: PRINT_WIDTH, autosize: false }); });
  });
  window.addEventListener("afterprint", function () {
    drawn().forEach(function (box) { Plotly.relayout(box, { width: null, autosize: true }); });
  });

  document.querySelectorAll("time[data-age]").forEach(function (mark) {
    const minutes = Math.floor((Date.now() - Date.parse(mark.dateTime)) / 60000);
    if (!(minutes >= 0)) return;
    const days = Math.floor(minutes / 1440), hours = Math.floor(minutes / 60) % 24;
    const age = minutes < 60 ? minutes + " min" : days ? days + " d " + hours + " h" : hours + " h " + (minutes % 60) + " min";
    const ago = document.createElement("span");
    ago.className = "screen";
    ago.textContent = " (" + age + " ago)";
    mark.after(ago);
  });

  if (holders().length && !window.Plotly) document.documentElement.classList.add("undrawn");
  drawAll();
})();
