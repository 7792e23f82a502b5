(function () {
  "use strict";
  function fitted(spec, wide) {
    var copy = JSON.parse(JSON.stringify(spec));
    var side = 78;
    if (copy.vconcat) {
      copy.vconcat.forEach(function (part) { part.width = wide - side; });
    } else if (copy.facet && copy.columns) {
      if (wide < 520) { copy.columns = Math.min(copy.columns, 2); }
      copy.spec.width = Math.floor((wide - side - 18 * (copy.columns - 1)) / copy.columns);
    } else if (copy.facet) {
      copy.spec.width = wide - side - 100;
    } else {
      copy.width = wide;
      copy.autosize = { type: "fit-x", contains: "padding" };
    }
    return copy;
  }
  function draw(figure) {
    var spec = JSON.parse(document.getElementById(figure.dataset.chart).textContent);
    var live = figure.querySelector(".live");
    figure.classList.add("drawn");
    var wide = live.clientWidth;
    // ast: Vega's own interpreter, so that no code is made from text and the page's policy can forbid that.
    return vegaEmbed(live, fitted(spec, wide), {
      ast: true, actions: false, renderer: "svg",
      logLevel: 1 // errors only: a brush without a swing in it is no reason to warn the reader
    }).catch(function (problem) {
      figure.classList.remove("drawn");
      console.error(problem);
    });
  }
  var figures = Array.prototype.slice.call(document.querySelectorAll("figure[data-chart]"));
  var drawnAt = 0;
  function drawAll() {
    drawnAt = document.documentElement.clientWidth;
    document.documentElement.removeAttribute("data-ready");
    return Promise.all(figures.map(draw)).then(function () { document.documentElement.setAttribute("data-ready", "yes"); });
  }
  var wait;
  window.addEventListener("resize", function () {
    clearTimeout(wait);
    wait = setTimeout(function () { if (document.documentElement.clientWidth !== drawnAt) { drawAll(); } }, 200);
  });
  drawAll();
})();
