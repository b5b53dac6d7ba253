/* Draws the pictures of the sheet: in the colours of the reader's mode, and once more in light for paper. */
(function () {
  "use strict";
  if (typeof Plotly === "undefined") { return; }
  var root = document.documentElement;
  var swaps = JSON.parse(document.getElementById("colour-swaps").textContent);
  var dark = window.matchMedia ? window.matchMedia("(prefers-color-scheme: dark)") : { matches: false };
  var config = { displayModeBar: false, responsive: true, showTips: false, doubleClick: false };
  var frames = Array.prototype.slice.call(document.querySelectorAll(".frame"));

  function figureOf(frame, mode) {
    var text = document.getElementById(frame.id + "-data").textContent;
    if (mode === "dark") {
      swaps.forEach(function (pair) { text = text.split(pair[0]).join(pair[1]); });
    }
    return JSON.parse(text);
  }

  function draw(frame, mode, width) {
    var figure = figureOf(frame, mode);
    var live = frame.querySelector(".live");
    live.style.height = figure.layout.height + "px";
    if (width) { figure.layout.width = width; }
    return Plotly.react(live, figure.data, figure.layout, config);
  }

  function drawAll() {
    frames.forEach(function (frame) { draw(frame, dark.matches ? "dark" : "light"); });
  }

  /* a picture of a fixed width for paper, always light, as a drawing that scales with the page */
  function drawForPaper(frame) {
    var figure = figureOf(frame, "light");
    var width = Number(frame.dataset.paperWidth);
    var height = Math.round(figure.layout.height * Number(frame.dataset.paperHeight));
    var bench = document.createElement("div");
    figure.layout.width = width;
    figure.layout.height = height;
    figure.layout.paper_bgcolor = figure.layout.plot_bgcolor = "#ffffff";
    bench.className = "bench";
    document.body.appendChild(bench);
    return Plotly.newPlot(bench, figure.data, figure.layout, { staticPlot: true }).then(function () {
      var paper = frame.querySelector(".paper");
      paper.innerHTML = Plotly.Snapshot.toSVG(bench, "svg");
      Plotly.purge(bench);
      document.body.removeChild(bench);
      var drawing = paper.querySelector("svg");
      drawing.setAttribute("viewBox", "0 0 " + width + " " + height);
      drawing.removeAttribute("width");
      drawing.removeAttribute("height");
      frame.classList.add("printable");
    });
  }

  root.classList.add("drawing");
  drawAll();
  frames.reduce(function (before, frame) {
    return before.then(function () { return drawForPaper(frame); });
  }, Promise.resolve());
  if (dark.addEventListener) {
    dark.addEventListener("change", drawAll);
  }
  /* somebody prints before the drawings for paper are ready: light, and as wide as they will be on the page */
  window.addEventListener("beforeprint", function () {
    frames.forEach(function (frame) {
      if (!frame.classList.contains("printable")) { draw(frame, "light", 0.78 * frame.dataset.paperWidth); }
    });
  });
  window.addEventListener("afterprint", drawAll);
}());
