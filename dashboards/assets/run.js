/* The run page: zoom by button, key, drag or address; finer readings come from script files beside the page. */
(function () {
  "use strict";
  var plan = JSON.parse(document.getElementById("wire-plan").textContent);
  var figures = window.reelproofFigures, entry = figures.drawn[0], div = entry.div, spec = entry.spec;
  var whole = [0, spec.end], view = whole.slice(), asked = {}, blocks = {}, turn = 0;
  var status = document.getElementById("wire-status"), table = document.getElementById("wire-view");
  var overview = plan.groups.reduce(function (all, group) {
    group.traces.forEach(function (k) { all[k] = { x: spec.data[k].x, y: spec.data[k].y }; });
    return all;
  }, {});

  /* Blocks: ask once, unpack once. */
  function unpack(payload) {
    var raw = atob(payload.packed), bytes = new Uint8Array(raw.length);
    for (var i = 0; i < raw.length; i += 1) { bytes[i] = raw.charCodeAt(i); }
    var stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).arrayBuffer().then(function (buffer) {
      var raw8 = new Uint8Array(buffer), at = 0;
      /* The lowest byte of every figure, then the next; a rising column has what each adds to the one before. */
      return payload.columns.map(function (column) {
        var n = column.n, out = new Float64Array(n), wide = column.width === 4, blank = wide ? 4294967295 : 65535, sum = 0;
        for (var k = at; k < at + n; k += 1) {
          var whole = raw8[k] + 256 * raw8[k + n];
          if (wide) { whole += 65536 * raw8[k + 2 * n] + 16777216 * raw8[k + 3 * n]; }
          if (column.rising) { whole = sum += whole; }
          out[k - at] = whole === blank ? NaN : column.base + column.step * whole;
        }
        at += column.width * n;
        return out;
      });
    });
  }
  var waiting = {};
  function arrived(pair) {
    unpack(pair[1]).then(function (columns) {
      blocks[pair[0]] = columns;
      if (waiting[pair[0]]) { waiting[pair[0]].forEach(function (go) { go(columns); }); delete waiting[pair[0]]; }
    });
  }
  var queued = window.reelproofWire || [];
  window.reelproofWire = { push: arrived };
  function block(key) {
    if (blocks[key]) { return Promise.resolve(blocks[key]); }
    return new Promise(function (go, stop) {
      (waiting[key] = waiting[key] || []).push(go);
      if (asked[key]) { return; }
      asked[key] = true;
      var script = document.createElement("script");
      script.src = plan.folder + key + ".js";
      script.onerror = function () { delete asked[key]; delete waiting[key]; stop(new Error(key)); };
      document.head.appendChild(script);
    });
  }
  queued.forEach(function (pair) { asked[pair[0]] = true; arrived(pair); });

  function firstAtLeast(xs, value) {
    var low = 0, high = xs.length;
    while (low < high) { var mid = (low + high) >> 1; if (xs[mid] < value) { low = mid + 1; } else { high = mid; } }
    return low;
  }
  function sliceOf(xs, ys, from, to) {
    var a = Math.max(firstAtLeast(xs, from) - 1, 0), b = Math.min(firstAtLeast(xs, to) + 1, xs.length);
    return { x: xs.slice(a, b), y: ys.slice(a, b), start: a };
  }
  /* The same rule as the page's own picture: lowest and highest reading of each stretch, in their places. */
  function extremes(part, buckets) {
    var n = part.x.length;
    if (n <= 2 * buckets) { return part; }
    var x = [], y = [], width = (part.x[n - 1] - part.x[0]) / buckets, i = 0;
    for (var k = 1; k <= buckets && i < n; k += 1) {
      var end = k === buckets ? Infinity : part.x[0] + k * width, low = -1, high = -1, from = i;
      for (; i < n && part.x[i] <= end; i += 1) {
        var v = part.y[i];
        if (v !== v) { continue; }
        if (low < 0 || v < part.y[low]) { low = i; }
        if (high < 0 || v > part.y[high]) { high = i; }
      }
      if (i === from) { continue; }
      if (low < 0) { x.push(part.x[from]); y.push(NaN); continue; }
      [Math.min(low, high), Math.max(low, high)].forEach(function (at, second) {
        if (second && low === high) { return; }
        x.push(part.x[at]); y.push(part.y[at]);
      });
    }
    return { x: x, y: y, thinned: n / buckets };
  }
  function joined(list) {
    var n = list.reduce(function (sum, one) { return sum + one.length; }, 0), out = new Float64Array(n), at = 0;
    list.forEach(function (one) { out.set(one, at); at += one.length; });
    return out;
  }

  /* What one group shows in [from, to]: level, and (x, y) of each of its traces. */
  function groupIn(group, from, to) {
    var share = (to - from) / (whole[1] - whole[0]), room = 0.05 * (to - from);
    var small = group.n <= 2 * plan.buckets;
    if (small || share > 0.6) {
      return Promise.resolve({ level: small ? "every" : "picture", parts: group.traces.map(function (k) { return overview[k]; }) });
    }
    if (plan.tiles === false && !group.middle) {
      return Promise.resolve({ level: "middle", parts: group.traces.map(function (k) { return overview[k]; }) });
    }
    if (group.middle && (plan.tiles === false || share * plan.factor > 1.4)) {
      return block(group.key + "-middle").then(function (columns) {
        return { level: "middle", parts: group.traces.map(function (_, i) {
          return extremes(sliceOf(columns[2 * i], columns[2 * i + 1], from - room, to + room), 1500);
        }) };
      });
    }
    var tiles = [];
    group.from.forEach(function (start, t) { if (start <= to + room && group.to[t] >= from - room) { tiles.push(t); } });
    return Promise.all(tiles.map(function (t) { return block(group.key + "-" + t); })).then(function (found) {
      if (!found.length) { return { level: "every", parts: group.traces.map(function () { return { x: [], y: [] }; }) }; }
      var cut = found.map(function (columns, i) { return i ? columns.map(function (c) { return c.subarray(1); }) : columns; });
      var xs = joined(cut.map(function (c) { return c[0]; }));
      var thinned = false;
      var parts = group.traces.map(function (_, i) {
        var part = sliceOf(xs, joined(cut.map(function (c) { return c[i + 1]; })), from - room, to + room);
        var less = extremes(part, 1500);
        if (less === part && group.row !== null) {
          var first = group.row + tiles[0] * group.tile + part.start;
          less.rows = Array.from(part.x, function (_, k) { return first + k; });
        }
        thinned = thinned || less !== part;
        return less;
      });
      return { level: thinned ? "middle" : "every", parts: parts };
    });
  }
  function told(level) {
    var s = figures.scaleOf(spec, "x"), text = function (v) {
      return v.toLocaleString("en-US", { maximumFractionDigits: view[1] - view[0] < 50 ? 1 : 0 });
    };
    return text(view[0] * s[1]) + " to " + text(view[1] * s[1]) + " " + s[0] + ". " +
      (level === "every" ? "Every reading is drawn." : "Lowest and highest reading of each stretch are drawn; " + (plan.tiles === false ? "this file does not carry every reading." : "zoom in for every reading."));
  }
  /* The view in words: lowest and highest of each channel among what is drawn; the drawing keeps every extreme. */
  function tell(level) {
    status.textContent = told(level);
    var body = table.tBodies[0];
    body.textContent = "";
    plan.groups.forEach(function (group) {
      group.traces.forEach(function (k) {
        var trace = spec.data[k], low = -1, high = -1, ys = trace.y, xs = trace.x;
        for (var i = 0; i < xs.length; i += 1) {
          if (xs[i] < view[0] || xs[i] > view[1] || ys[i] === null || ys[i] !== ys[i]) { continue; }
          if (low < 0 || ys[i] < ys[low]) { low = i; }
          if (high < 0 || ys[i] > ys[high]) { high = i; }
        }
        var s = figures.scaleOf(spec, trace.yaxis), p = figures.scaleOf(spec, "x");
        var words = function (at) {
          if (at < 0) { return "no reading"; }
          return (ys[at] * s[1] + s[2]).toFixed(s[3] + 1) + " " + s[0] + " at " + (xs[at] * p[1]).toLocaleString("en-US", { maximumFractionDigits: 1 }) + " " + p[0];
        };
        var row = body.insertRow(), head = document.createElement("th");
        head.scope = "row"; head.textContent = trace.name;
        row.appendChild(head);
        [low, high].forEach(function (at) { row.insertCell().textContent = words(at); });
      });
    });
  }
  /* Bars of the lane, cut to the view, with as much of their text as fits: all of it, the name, or nothing. */
  var bars = spec.data.filter(function (t) { return t.type === "bar"; }).map(function (t) {
    return { trace: t, base: t.base, x: t.x, text: t.text || null };
  });
  function cutBars() {
    var px = Math.max(div.clientWidth - 92, 100) / (view[1] - view[0]);
    bars.forEach(function (bar) {
      var from = bar.base.map(function (b) { return Math.min(Math.max(b, view[0]), view[1]); });
      bar.trace.base = from;
      bar.trace.x = bar.x.map(function (length, i) { return Math.max(Math.min(bar.base[i] + length, view[1]) - from[i], 0); });
      if (bar.text) {
        bar.trace.text = bar.text.map(function (text, i) {
          var room = bar.trace.x[i] * px - 8, short = text.split(":")[0];
          return text.length * 7.4 < room ? text : short.length * 7.4 < room ? short : "";
        });
      }
    });
  }
  entry.before = cutBars;
  function fill() {
    var mine = turn += 1;
    status.setAttribute("aria-busy", "true");
    return Promise.all(plan.groups.map(function (group) { return groupIn(group, view[0], view[1]); })).then(function (found) {
      if (mine !== turn) { return null; }
      var level = "every";
      found.forEach(function (got, g) {
        if (got.level !== "every") { level = got.level; }
        plan.groups[g].traces.forEach(function (k, i) {
          spec.data[k].x = got.parts[i].x; spec.data[k].y = got.parts[i].y; spec.data[k].rows = got.parts[i].rows;
        });
      });
      spec.layout.xaxis.range = view.slice();
      return figures.draw(entry).then(function () {
        status.removeAttribute("aria-busy");
        tell(level);
        div.setAttribute("data-level", level);
        div.setAttribute("data-view", view.map(function (v) { return v.toFixed(1); }).join(" "));
        document.dispatchEvent(new CustomEvent("reelproof:view"));
      });
    }).catch(function () {
      status.removeAttribute("aria-busy");
      status.textContent = "The finer readings beside this page could not be opened: keep its 'data' folder with it, or use a current browser.";
    });
  }
  function show(from, to, quiet) {
    var least = 0.5, span = Math.min(Math.max(to - from, least), whole[1] - whole[0]);
    var middle = (from + to) / 2;
    from = Math.min(Math.max(middle - span / 2, whole[0]), whole[1] - span);
    view = [from, from + span];
    if (!quiet) {
      try { history.replaceState(null, "", "#m=" + view[0].toFixed(1) + "-" + view[1].toFixed(1)); } catch (fault) { /* some viewers forbid it */ }
    }
    return fill();
  }
  window.reelproofShow = show;
  window.reelproofBlock = block;

  document.querySelectorAll("[data-zoom]").forEach(function (button) {
    button.addEventListener("click", function () {
      var span = view[1] - view[0], mid = (view[0] + view[1]) / 2;
      ({
        whole: function () { show(whole[0], whole[1]); },
        "in": function () { show(mid - span / 6, mid + span / 6); },
        out: function () { show(mid - span * 1.5, mid + span * 1.5); },
        back: function () { show(view[0] - span / 2, view[1] - span / 2); },
        on: function () { show(view[0] + span / 2, view[1] + span / 2); }
      })[button.dataset.zoom]();
    });
  });
  var choose = document.getElementById("wire-go");
  choose.addEventListener("change", function () {
    var ends = choose.value.split(" ").map(Number);
    if (ends.length === 2) { show(ends[0], ends[1]); }
  });
  document.getElementById("wire-at-form").addEventListener("submit", function (event) {
    event.preventDefault();
    var s = figures.scaleOf(spec, "x"), at = parseFloat(document.getElementById("wire-at").value.replace(/[,\s]/g, "")) / s[1];
    if (isFinite(at)) { show(at - 15, at + 15); }
  });
  document.getElementById("wire-csv").addEventListener("click", function () {
    var lines = ["channel,unit,at_m,value"];
    plan.groups.forEach(function (group) {
      group.traces.forEach(function (k) {
        var trace = spec.data[k];
        for (var i = 0; i < trace.x.length; i += 1) {
          if (trace.x[i] < view[0] || trace.x[i] > view[1]) { continue; }
          var v = trace.y[i];
          lines.push([plan.names[k], plan.units[k], trace.x[i].toFixed(3), v === null || v !== v ? "" : Number(v.toFixed(5))].map(window.reelproofCell).join(","));
        }
      });
    });
    window.reelproofSave(plan.file, lines.join("\r\n") + "\r\n");
  });
  div.addEventListener("keydown", function (event) {
    var key = { ArrowLeft: "back", ArrowRight: "on", "+": "in", "=": "in", "-": "out", Home: "whole" }[event.key];
    if (!key) { return; }
    event.preventDefault();
    document.querySelector('[data-zoom="' + key + '"]').click();
  });
  function fromAddress() {
    var found = /^#m=(-?[\d.]+)-([\d.]+)$/.exec(location.hash);
    return found ? show(parseFloat(found[1]), parseFloat(found[2]), true) : show(whole[0], whole[1], true);
  }
  window.addEventListener("hashchange", fromAddress);
  document.addEventListener("reelproof:look", function () { if (div.hasAttribute("data-level")) tell(div.getAttribute("data-level")); });
  /* Until the plotting script is there: a drag across the drawing zooms, a double click shows the whole run. */
  var rest = null, pressed = null, plotted = false;
  function placeOf(event) {
    var margin = spec.layout.margin, box = div.getBoundingClientRect();
    var part = (event.clientX - box.left - margin.l) / Math.max(box.width - margin.l - margin.r, 50);
    return view[0] + Math.min(Math.max(part, 0), 1) * (view[1] - view[0]);
  }
  div.addEventListener("pointerenter", function () { rest = window.setTimeout(figures.want, 250); });
  div.addEventListener("pointerleave", function () { window.clearTimeout(rest); pressed = null; });
  div.addEventListener("pointerdown", function (event) { pressed = plotted ? null : { x: event.clientX, at: placeOf(event) }; });
  div.addEventListener("pointerup", function (event) {
    if (!plotted && pressed && Math.abs(event.clientX - pressed.x) > 8) {
      var at = placeOf(event);
      show(Math.min(pressed.at, at), Math.max(pressed.at, at));
    }
    pressed = null;
  });
  div.addEventListener("dblclick", function () { if (!plotted) { show(whole[0], whole[1]); } });
  fromAddress().then(function () { div.setAttribute("data-drawn", "yes"); });
  figures.ready.then(fill).then(function () {
    plotted = true;
    div.setAttribute("data-plotted", "yes");
    div.on("plotly_relayout", function (change) {
      var s = figures.scaleOf(spec, "x");
      if (change["xaxis.range[0]"] !== undefined) { show(change["xaxis.range[0]"] / s[1], change["xaxis.range[1]"] / s[1]); }
    });
    div.on("plotly_doubleclick", function () { show(whole[0], whole[1]); return false; });
  });
})();
