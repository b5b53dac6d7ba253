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

  function draw(frame, mode) {
    var figure = figureOf(frame, mode);
    var live = frame.querySelector(".live");
    live.style.height = figure.layout.height + "px";
    return Plotly.react(live, figure.data, figure.layout, config);
  }

  /* a picture of a fixed width for paper, always light, as a drawing that stays sharp */
  function drawForPaper(frame) {
    var figure = figureOf(frame, "light");
    var width = Number(frame.dataset.paperWidth);
    var height = Math.round(figure.layout.height * Number(frame.dataset.paperHeight));
    figure.layout.width = width;
    figure.layout.height = height;
    figure.layout.paper_bgcolor = figure.layout.plot_bgcolor = "#ffffff";
    figure.layout.autosize = false;
    return Plotly.toImage(
      { data: figure.data, layout: figure.layout, config: { staticPlot: true } },
      { format: "svg", width: width, height: height }
    ).then(function (address) {
      frame.querySelector("img").src = address;
      frame.classList.add("printable");
    });
  }

  root.classList.add("drawing");
  function drawAll() {
    frames.forEach(function (frame) { draw(frame, dark.matches ? "dark" : "light"); });
  }
  drawAll();
  frames.reduce(function (before, frame) {
    return before.then(function () { return drawForPaper(frame); });
  }, Promise.resolve());
  if (dark.addEventListener) {
    dark.addEventListener("change", drawAll);
  }
  /* somebody prints before the drawings for paper are ready */
  window.addEventListener("beforeprint", function () {
    frames.forEach(function (frame) {
      if (!frame.classList.contains("printable")) { draw(frame, "light"); }
    });
  });
  window.addEventListener("afterprint", drawAll);
}());
