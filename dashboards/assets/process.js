/* Process values of the run page: the channels a reader chose, on the wire's axis or the clock's. On the wire's axis
   the view is that of the figure above, so that wall and process stand at one place. */
(function () {
  "use strict";
  var holder = document.getElementById("process-plan");
  if (!holder) { return; }
  var plan = JSON.parse(holder.textContent), figures = window.reelproofFigures, div = document.getElementById("process");
  var entry = figures.drawn.filter(function (one) { return one.div === div; })[0], spec = entry.spec;
  var place = spec.axes.x, bare = spec.layout.margin, fold = div.closest("details"), status = document.getElementById("process-status");
  var boxes = Array.prototype.slice.call(document.querySelectorAll("#process-choice input"));
  var switched = document.getElementById("process-axis"), columns = null, clock = null, listening = false;
  entry.due = false;
  div.setAttribute("data-drawn", "yes");

  function byWire() { return switched.value === "wire"; }
  function wireView() { return document.getElementById("wire").dataset.view.split(" ").map(Number); }
  function view() { return byWire() ? wireView() : clock; }
  function wholeOf(k) {
    var xs = columns[k], low = Infinity, high = -Infinity;
    xs.forEach(function (x) { if (x < low) { low = x; } if (x > high) { high = x; } });
    return [low, high];
  }
  /* Lowest and highest of a channel in the view; null where it has no reading there. */
  function reach(xs, ys, seen) {
    var low = Infinity, high = -Infinity;
    for (var i = 0; i < xs.length; i += 1) {
      if (xs[i] < seen[0] || xs[i] > seen[1] || ys[i] !== ys[i]) { continue; }
      low = Math.min(low, ys[i]); high = Math.max(high, ys[i]);
    }
    return low > high ? null : [low, high];
  }
  function told(k, ends) {
    var s = plan.channels[k][figures.system()];
    var words = ends && ends.map(function (v) { return (v * s[1] + s[2]).toLocaleString("en-US", { minimumFractionDigits: s[3], maximumFractionDigits: s[3] }); });
    return plan.channels[k].title + ": " + (words ? words[0] + " to " + words[1] + " " + s[0] : "no reading in view");
  }
  function marksIn(seen) {
    var wide = Math.max(div.clientWidth - 92, 50), last = -Infinity, shapes = [], notes = [], lane = 0;
    plan.marks.forEach(function (one) {
      var x = byWire() ? one.m : plan.start + 1000 * one.s, px = (x - seen[0]) / (seen[1] - seen[0]) * wide;
      if (px < 0 || px > wide) { return; }
      shapes.push({ type: "line", xref: "x", yref: "paper", x0: x, x1: x, y0: 0, y1: 1, line: { width: 1.4, dash: "dot" }, paint: { "line.color": "--limit" } });
      if (px - last < 16) { return; }  /* the table names every one */
      last = px;
      notes.push({ xref: "x", yref: "paper", x: x, y: 1, xanchor: "center", yanchor: "bottom", textangle: -90, text: one.text, showarrow: false, font: { size: 11.5 }, paint: { "font.color": "--ink" } });
      lane = Math.max(lane, 12 + 6.6 * one.text.length);
    });
    return { shapes: shapes, notes: notes, lane: lane };
  }
  function build() {
    var chosen = boxes.filter(function (box) { return box.checked; }).map(function (box) { return Number(box.value); });
    var n = Math.max(chosen.length, 1), inner = n * plan.panel + (n - 1) * plan.gap, seen = view(), marks = marksIn(seen);
    /* The names of the marks stand above the readings, not over them. */
    var margin = Object.assign({}, bare, { t: bare.t + marks.lane }), layout = { height: inner + margin.t + margin.b, margin: margin, dragmode: "zoom", showlegend: false, shapes: marks.shapes, annotations: marks.notes };
    layout.xaxis = { range: seen, autorange: false, anchor: n > 1 ? "y" + n : "y" };
    spec.axes = {};
    if (byWire()) { spec.axes.x = place; } else {
      layout.xaxis.type = "date"; layout.xaxis.hoverformat = "%H:%M:%S"; layout.xaxis.title = { text: plan.clock, font: { size: 12.5 }, standoff: 8 };
    }
    spec.data = chosen.map(function (k, i) {
      var ref = i ? "y" + (i + 1) : "y", top = 1 - i * (plan.panel + plan.gap) / inner, xs = columns[3 * k + (byWire() ? 0 : 1)], ys = columns[3 * k + 2];
      var ends = reach(xs, ys, seen), room = ends && (0.08 * (ends[1] - ends[0]) || Math.max(Math.abs(ends[1]) * 0.05, 1e-3));
      spec.axes[ref] = plan.channels[k];
      layout["yaxis" + ref.slice(1)] = { domain: [Math.max(top - plan.panel / inner, 0), top], fixedrange: true, nticks: 6, range: ends ? [ends[0] - room, ends[1] + room] : [0, 1] };
      return { type: "scatter", mode: "lines", name: plan.channels[k].title, x: xs, y: ys, yaxis: ref, connectgaps: false, line: { width: 1.15 }, paint: { "line.color": ["--t2", "--t1", "--t3"][i] } };
    });
    status.textContent = chosen.map(function (k) { var t = columns[3 * k + (byWire() ? 0 : 1)]; return told(k, reach(t, columns[3 * k + 2], seen)); }).join("; ");
    spec.layout = layout;
    div.style.height = layout.height + "px";
  }
  /* Once the plotting script is there: it alone knows a clock's axis. */
  function draw() {
    boxes.forEach(function (box) {
      box.disabled = !box.checked && boxes.filter(function (one) { return one.checked; }).length >= plan.most;
    });
    if (!fold.open || !columns || !div.clientWidth) { return; }
    build();
    figures.draw(entry).then(function () {
      entry.due = true;
      window.Plotly.Plots.resize(div);
      div.removeAttribute("data-folded");
      div.setAttribute("data-view", view().join(" "));
      if (listening) { return; }
      listening = true;
      div.on("plotly_relayout", function (change) {
        var ends = [change["xaxis.range[0]"], change["xaxis.range[1]"]], factor = place[figures.system()][1];
        if (ends[0] === undefined) { return; }
        ends = ends.map(function (end) { return byWire() ? end / factor : typeof end === "number" ? end : Date.parse(end.replace(" ", "T") + "Z"); });
        show(ends[0], ends[1]);
      });
      div.on("plotly_doubleclick", function () { act("whole"); return false; });
    });
  }
  function show(from, to) {
    if (byWire()) { window.reelproofShow(from, to); return; }
    var whole = wholeOf(1), span = Math.min(Math.max(to - from, 2000), whole[1] - whole[0]);
    from = Math.min(Math.max((from + to - span) / 2, whole[0]), whole[1] - span);
    clock = [from, from + span];
    draw();
  }
  function act(how) {
    var seen = view(), span = seen[1] - seen[0], mid = (seen[0] + seen[1]) / 2;
    var half = { "in": span / 6, out: span * 1.5, whole: 1e15 }[how];
    if (half) { show(mid - half, mid + half); } else { show(seen[0] + (how === "on" ? span : -span) / 2, seen[1] + (how === "on" ? span : -span) / 2); }
  }
  function open() {
    if (!fold.open) { return; }
    figures.want();
    Promise.all([window.reelproofBlock(plan.block), figures.ready]).then(function (found) {
      if (!columns) {
        columns = found[0].map(function (column, i) {
          return i % 3 === 1 ? column.map(function (s) { return plan.start + 1000 * s; }) : column;
        });
        clock = wholeOf(1);
      }
      draw();
    }).catch(function () {
      status.textContent = "The process values beside this page could not be opened: keep its 'data' folder with it, or use a current browser.";
    });
  }
  fold.addEventListener("toggle", open);
  boxes.forEach(function (box) { box.addEventListener("change", draw); });
  switched.addEventListener("change", draw);
  document.querySelectorAll("[data-process]").forEach(function (button) {
    button.addEventListener("click", function () { act(button.dataset.process); });
  });
  div.addEventListener("keydown", function (event) {
    var how = { ArrowLeft: "back", ArrowRight: "on", "+": "in", "=": "in", "-": "out", Home: "whole" }[event.key];
    if (how && columns) { event.preventDefault(); act(how); }
  });
  ["reelproof:view", "reelproof:look"].forEach(function (name) { document.addEventListener(name, draw); });
  window.addEventListener("resize", draw);
  open();
})();
