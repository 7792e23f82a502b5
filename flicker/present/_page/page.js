(function () {
  "use strict";
  var views = {};
  function fitted(spec, wide) {
    var copy = JSON.parse(JSON.stringify(spec));
    var side = 78;
    if (copy.vconcat) {
      var strip = (copy.params || []).some(function (param) { return param.name === "stretch"; });
      copy.vconcat.forEach(function (part) {
        part.width = wide - side;
        // Two strips fit on a sheet; on a phone they keep their height.
        if (strip && wide > 520) { part.height = Math.min(part.height, Math.round(0.155 * wide)); }
      });
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
  function specOf(figure) {
    var spec = JSON.parse(document.getElementById(figure.dataset.chart).textContent);
    Object.keys(spec.datasets || {}).forEach(function (name) {
      var columns = spec.datasets[name].columns; // a table is written by columns: each name once
      if (!columns) { return; }
      var keys = Object.keys(columns);
      spec.datasets[name] = columns[keys[0]].map(function (_, place) {
        var row = {};
        keys.forEach(function (key) { row[key] = columns[key][place]; });
        return row;
      });
    });
    return spec;
  }
  function draw(figure) {
    var spec = specOf(figure);
    var live = figure.querySelector(".live");
    figure.classList.add("drawn");
    var wide = live.clientWidth;
    // ast: Vega's own interpreter, so that no code is made from text and the page's policy can forbid that.
    return vegaEmbed(live, fitted(spec, wide), {
      ast: true, actions: false, renderer: "svg",
      logLevel: 1 // errors only: a brush without a swing in it is no reason to warn the reader
    }).then(function (made) { views[figure.dataset.chart] = made.view; }).catch(function (problem) {
      figure.classList.remove("drawn");
      console.error(problem);
    });
  }

  // The brush of a strip: its signal lies within the group that it is drawn in.
  function brushOf(runtime) {
    if (runtime.signals && runtime.signals.stretch_x) { return runtime; }
    var found = null;
    (runtime.subcontext || []).some(function (part) { found = brushOf(part); return found; });
    return found;
  }
  function look(figure, begin, end) {
    var view = views[figure.dataset.chart];
    var inner = view && brushOf(view._runtime);
    var scale = view && scaleOf(view);
    if (!inner || !scale) { return; }
    view.update(inner.signals.stretch_x, [scale(begin), scale(end)]).runAsync();
  }
  function scaleOf(view) {
    var found = null;
    ["concat_0_x", "x"].some(function (name) {
      try { found = view.scale(name); } catch (none) { found = null; }
      return found;
    });
    return found;
  }

  var figures = Array.prototype.slice.call(document.querySelectorAll("figure[data-chart]"));
  var strips = figures.filter(function (figure) { return figure.dataset.episodes; });
  var active = strips[0] || null;
  function step(figure, by) {
    var places = JSON.parse(figure.dataset.episodes);
    var at = figure.dataset.at === undefined ? (by > 0 ? -1 : places.length) : Number(figure.dataset.at);
    go(figure, (at + by + places.length) % places.length);
  }
  function go(figure, number) {
    var places = JSON.parse(figure.dataset.episodes);
    figure.dataset.at = String(number);
    active = figure;
    figure.querySelector(".where").textContent = "episode " + (number + 1) + " of " + places.length;
    look(figure, places[number][0], places[number][1]);
  }
  strips.forEach(function (figure) {
    var bar = document.createElement("p");
    bar.className = "steps";
    [["previous episode", -1], ["next episode", 1]].forEach(function (part) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = part[0];
      button.addEventListener("click", function () { step(figure, part[1]); });
      bar.appendChild(button);
    });
    var where = document.createElement("span");
    where.className = "where";
    where.setAttribute("aria-live", "polite");
    where.textContent = JSON.parse(figure.dataset.episodes).length + " to look at; keys: p and n";
    bar.appendChild(where);
    figure.insertBefore(bar, figure.querySelector(".live"));
    figure.addEventListener("focusin", function () { active = figure; });
  });
  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey || /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName)) { return; }
    if (active && (event.key === "n" || event.key === "p")) { step(active, event.key === "n" ? 1 : -1); }
  });
  Array.prototype.forEach.call(document.querySelectorAll("tr[data-strip]"), function (row) {
    function show() {
      var figure = document.getElementById(row.dataset.strip);
      if (!figure) { return; }
      var fold = figure.closest("details");
      if (fold) { fold.open = true; }
      go(figure, Number(row.dataset.number));
      figure.scrollIntoView({ block: "center" });
    }
    var head = row.querySelector("th");
    var button = document.createElement("button");
    button.type = "button";
    button.className = "inline";
    button.textContent = head.textContent;
    button.title = "show on the strip";
    head.textContent = "";
    head.appendChild(button);
    button.addEventListener("click", show);
  });

  var folds = Array.prototype.slice.call(document.querySelectorAll("details[data-quiet]"));
  function fold(open) { folds.forEach(function (part) { part.open = open; }); }
  var drawnAt = 0;
  function drawAll() {
    var opened = folds.map(function (part) { return part.open; });
    drawnAt = document.documentElement.clientWidth;
    document.documentElement.removeAttribute("data-ready");
    fold(true); // a chart is fitted to the width that it gets, and what is folded has none
    return Promise.all(figures.map(draw)).then(function () {
      folds.forEach(function (part, number) { part.open = opened[number]; });
      document.documentElement.setAttribute("data-ready", "yes");
    });
  }
  var wait;
  window.addEventListener("resize", function () {
    clearTimeout(wait);
    wait = setTimeout(function () { if (document.documentElement.clientWidth !== drawnAt) { drawAll(); } }, 200);
  });
  window.addEventListener("beforeprint", function () { fold(true); });
  var contents = document.querySelector("nav.contents details");
  function beside() { return getComputedStyle(contents.parentNode).position === "fixed"; }
  if (contents) {
    contents.open = beside();
    contents.addEventListener("click", function (event) { // the bar covers what was chosen: it closes
      if (event.target.closest("a") && !beside()) { contents.open = false; }
    });
  }
  fold(false);
  if (figures.length) { drawAll(); } else { document.documentElement.setAttribute("data-ready", "yes"); }
})();
