/* Draws the figures of a page: turns our colour names and quantities into plain ones for the units and the
   light or dark the reader chose, and draws again when that choice changes. */
(function () {
  "use strict";
  var root = document.documentElement;
  var drawn = [];

  function colour(name) { return getComputedStyle(root).getPropertyValue(name).trim(); }
  function system() { return root.getAttribute("data-units") === "us" ? "us" : "si"; }
  function setAt(target, path, value) {
    var parts = path.split("."), at = target;
    for (var i = 0; i < parts.length - 1; i += 1) { at = at[parts[i]] = at[parts[i]] || {}; }
    at[parts[parts.length - 1]] = value;
  }
  function painted(one) {
    var out = Object.assign({}, one);
    ["marker", "line", "font", "insidetextfont", "error_x", "error_y"].forEach(function (part) {
      if (out[part]) { out[part] = JSON.parse(JSON.stringify(out[part])); }
    });
    Object.keys(one.paint || {}).forEach(function (path) { setAt(out, path, colour(one.paint[path])); });
    Object.keys(one.paints || {}).forEach(function (path) { setAt(out, path, one.paints[path].map(colour)); });
    delete out.paint; delete out.paints;
    return out;
  }
  /* unit, factor, offset, decimals of an axis; an axis without a quantity is left as it is */
  function scaleOf(spec, ref) {
    var axis = spec.axes[ref || ""];
    return axis ? axis[system()] : null;
  }
  function scaled(values, scale) {
    if (!scale || (scale[1] === 1 && scale[2] === 0) || values === undefined) { return values; }
    if (typeof values === "number") { return values * scale[1] + scale[2]; }
    return Array.prototype.map.call(values, function (v) {
      return typeof v === "number" ? v * scale[1] + scale[2] : v;
    });
  }
  function lengths(values, scale) {  /* widths and error bars: no offset */
    return scale ? scaled(values, [scale[0], scale[1], 0]) : values;
  }
  function figure(value) { return value.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;"); }
  function tipFor(trace, xs, ys) {
    if (trace.tips) { return "%{customdata}<extra></extra>"; }
    var y = "%{y:,." + (ys ? ys[3] : 3) + "f}" + (ys && ys[0] ? " " + ys[0] : "");
    var x = xs ? "<br>at %{x:,." + xs[3] + "f} " + xs[0] : "<br>%{x}";
    var row = trace.rows ? "<br>reading %{customdata}" : "";
    return "<b>" + figure(trace.tip || trace.name || "") + "</b><br>" + y + x + row + "<extra></extra>";
  }
  function traceNow(spec, trace) {
    var out = painted(trace);
    var polar = trace.type === "scatterpolar";
    var xs = polar ? null : scaleOf(spec, trace.xaxis || "x"), ys = polar ? null : scaleOf(spec, trace.yaxis || "y");
    if (polar) { out.r = scaled(trace.r, scaleOf(spec, "r")); } else {
      out.x = trace.type === "bar" ? lengths(trace.x, xs) : scaled(trace.x, xs);
      out.y = scaled(trace.y, ys);
      if (trace.base) { out.base = scaled(trace.base, xs); }
      if (out.error_x) { out.error_x.array = lengths(trace.error_x.array, xs); out.error_x.arrayminus = lengths(trace.error_x.arrayminus, xs); }
      if (out.error_y) { out.error_y.array = lengths(trace.error_y.array, ys); out.error_y.arrayminus = lengths(trace.error_y.arrayminus, ys); }
    }
    out.hovertemplate = polar && !trace.tips ? "%{r:.2f} " + scaleOf(spec, "r")[0] + " toward %{theta:.0f}°<extra></extra>" : tipFor(trace, xs, ys);
    if (trace.tips) { out.customdata = trace.tips.map(figure); } else if (trace.rows) { out.customdata = trace.rows; }
    /* The plotting script reads a few tags in texts; ours are plain. */
    if (trace.name) { out.name = figure(trace.name); }
    if (Array.isArray(trace.text)) { out.text = trace.text.map(figure); }
    delete out.tip; delete out.tips; delete out.rows;
    return out;
  }
  function markNow(spec, one, narrow) {
    var out = painted(one);
    if (one.text) {
      var words = narrow && one.brief ? one.brief : one.text;
      out.text = figure(words[system()] || words);
    }
    delete out.brief;
    ["x", "y"].forEach(function (side) {
      var ref = one[side + "ref"];
      var scale = ref && ref !== "paper" ? scaleOf(spec, ref) : null;
      [side, side + "0", side + "1"].forEach(function (name) {
        if (one[name] !== undefined) { out[name] = scaled(one[name], scale); }
      });
    });
    return out;
  }
  function axisNow(spec, key, given) {
    var ref = key.replace("axis", "");
    var scale = scaleOf(spec, ref), told = spec.axes[ref];
    var out = Object.assign({
      gridcolor: colour("--grid"), linecolor: colour("--line-strong"), zeroline: false, showline: true, ticks: "outside",
      tickcolor: colour("--line-strong"), ticklen: 4, tickfont: { color: colour("--muted"), size: 12 }, automargin: false
    }, given);
    if (told) {
      var unit = scale[0] ? ", " + scale[0] : "";
      out.title = { text: figure(told.title) + unit, font: { size: 12.5, color: colour("--ink") }, standoff: 8 };
      if (given.range) { out.range = scaled(given.range, scale); }
      if (!given.tickformat && key[0] === "x") { out.tickformat = ",~f"; }
      if (key[0] === "y") { out.separatethousands = true; }
    }
    return out;
  }
  function layoutNow(spec, narrow) {
    var given = spec.layout, out = Object.assign({}, given);
    Object.keys(given).forEach(function (key) {
      if (/^[xy]axis\d*$/.test(key)) { out[key] = axisNow(spec, key, given[key]); }
      if (/^legend\d*$/.test(key)) {
        out[key] = Object.assign({ font: { color: colour("--ink"), size: 12 }, bgcolor: "rgba(0,0,0,0)", itemsizing: "constant" }, given[key]);
      }
    });
    out.shapes = (given.shapes || []).map(function (one) { return markNow(spec, one); });
    out.annotations = (given.annotations || []).map(function (one) { return markNow(spec, one, narrow); });
    out.font = { family: getComputedStyle(document.body).fontFamily, color: colour("--ink"), size: 13 };
    out.paper_bgcolor = "rgba(0,0,0,0)";
    out.plot_bgcolor = "rgba(0,0,0,0)";
    out.hoverlabel = { bgcolor: colour("--card"), bordercolor: colour("--line-strong"), font: { color: colour("--ink"), family: out.font.family, size: 13 }, align: "left" };
    if (given.polar) {
      var r = scaleOf(spec, "r"), polar = JSON.parse(JSON.stringify(given.polar));
      polar.bgcolor = "rgba(0,0,0,0)";
      polar.radialaxis = Object.assign({ gridcolor: colour("--grid"), linecolor: colour("--line-strong"), tickfont: { color: colour("--muted"), size: 11 } }, polar.radialaxis);
      if (polar.radialaxis.range) { polar.radialaxis.range = scaled(polar.radialaxis.range, r); }
      polar.radialaxis.title = { text: spec.axes.r.title + ", " + r[0], font: { size: 12, color: colour("--ink") } };
      polar.angularaxis = Object.assign({ gridcolor: colour("--grid"), linecolor: colour("--line-strong"), tickfont: { color: colour("--muted"), size: 12 } }, polar.angularaxis);
      out.polar = polar;
    }
    return out;
  }
  var config = { displayModeBar: false, responsive: true, doubleClick: "reset", showTips: false };

  /* Where the plotting script comes late, a plain drawing of the same figure stands in for it. The script takes a
     second to read and to draw, in which nothing answers: it is fetched only for a reader who points at the figure. */
  var later = document.querySelector("script[data-plot-src]");
  var live = !!window.Plotly, wanted = false;
  var ready = live ? Promise.resolve() : new Promise(function (go) {
    /* A turn later, so that what a reader did meanwhile is answered first, by the plain drawing. */
    document.addEventListener("reelproof:plotting", function () {
      window.setTimeout(function () { live = true; go(); }, 0);
    }, { once: true });
  });
  function wantPlotting() {
    if (wanted || !later) { return; }
    wanted = true;
    var script = document.createElement("script");
    script.src = later.dataset.plotSrc;
    script.onload = function () { document.dispatchEvent(new CustomEvent("reelproof:plotting")); };
    document.head.appendChild(script);
  }

  function isNarrow(entry) { return (entry.spec.layout.width || entry.div.clientWidth || 700) < 760; }
  function draw(entry) {
    if (entry.before) { entry.before(entry); }
    entry.narrow = isNarrow(entry);
    entry.layout = layoutNow(entry.spec, entry.narrow);
    var data = entry.spec.data.map(function (t) { return traceNow(entry.spec, t); });
    if (!live) {
      window.reelproofPicture(entry.div, data, entry.layout);
      entry.div.setAttribute("data-seen", "yes");
      return Promise.resolve();
    }
    var stand = entry.div.querySelector("svg.picture");
    if (stand) { stand.remove(); }
    return window.Plotly.react(entry.div, data, entry.layout, config);
  }
  window.addEventListener("resize", function () {
    drawn.forEach(function (entry) { if (entry.layout && (!live || isNarrow(entry) !== entry.narrow)) { draw(entry); } });
  });
  var unseen = [];
  document.querySelectorAll("script[data-figure]").forEach(function (script) {
    var div = document.getElementById(script.dataset.figure);
    var entry = { div: div, spec: JSON.parse(script.textContent), before: null };
    drawn.push(entry);
    if (script.dataset.later !== undefined) { entry.due = true; return; }
    unseen.push(entry);
  });
  /* A figure is drawn when it comes near the window, so that a page of many answers at once; all are for paper. */
  function due(entry) {
    if (entry.due) { return; }
    entry.due = true;
    draw(entry).then(function () { entry.div.setAttribute("data-drawn", "yes"); });
  }
  function drawAll() { unseen.splice(0).forEach(due); }
  if (window.IntersectionObserver) {
    var near = new IntersectionObserver(function (found) {
      found.forEach(function (one) {
        if (!one.isIntersecting) { return; }
        near.unobserve(one.target);
        unseen.filter(function (entry) { return entry.div === one.target; }).forEach(due);
      });
    }, { rootMargin: "600px" });
    unseen.forEach(function (entry) { near.observe(entry.div); });
  } else { drawAll(); }
  document.addEventListener("reelproof:look", function () { drawn.filter(function (entry) { return entry.due; }).forEach(draw); });
  /* On paper: ink on white, and no wider than the sheet. */
  window.addEventListener("beforeprint", function () {
    root.setAttribute("data-printing", "");
    drawAll();
    drawn.forEach(function (entry) {
      entry.spec.layout.width = Math.min(700, entry.div.clientWidth || 700);
      draw(entry);
    });
  });
  window.addEventListener("afterprint", function () {
    root.removeAttribute("data-printing");
    drawn.forEach(function (entry) { delete entry.spec.layout.width; draw(entry); });
  });
  window.reelproofFigures = { drawn: drawn, draw: draw, ready: ready, want: wantPlotting, all: drawAll, system: system, scaleOf: scaleOf, traceNow: traceNow, scaled: scaled };
})();
