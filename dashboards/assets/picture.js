/* A plain drawing of a figure's lines, bars, marks, limits and axes, shown until the plotting script has come:
   the same readings at the same places, so nothing is missing from it but dragging and pointing. */
(function () {
  "use strict";
  var SVG = "http://www.w3.org/2000/svg";
  function add(parent, name, given, text) {
    var one = document.createElementNS(SVG, name);
    Object.keys(given).forEach(function (key) { if (given[key] !== undefined) { one.setAttribute(key, given[key]); } });
    if (text !== undefined) { one.textContent = text.replace(/&lt;/g, "<").replace(/&gt;/g, ">").replace(/&amp;/g, "&"); }
    parent.appendChild(one);
    return one;
  }
  function of(value, i) { return Array.isArray(value) ? value[i] : value; }
  function ticks(from, to, most) {
    var rough = (to - from) / Math.max(most, 1), power = Math.pow(10, Math.floor(Math.log10(rough))), step = power, out = [];
    [2, 5, 10].forEach(function (k) { if (step < rough * 0.999) { step = k * power; } });
    for (var k = Math.ceil(from / step - 1e-9); k * step <= to + 1e-9 * step; k += 1) { out.push(k * step); }
    var digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    return out.map(function (v) {
      v = v || 0;  /* no minus before nought */
      return [v, v.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits })];
    });
  }
  function pathOf(xs, ys, px, py) {
    var out = [], pen = "M";
    for (var i = 0; i < xs.length; i += 1) {
      var y = ys[i];
      if (y === null || y !== y) { pen = "M"; continue; }
      out.push(pen + px(xs[i]).toFixed(1) + " " + py(y).toFixed(1));
      pen = "L";
    }
    return out.join("");
  }
  var MARKS = {
    "triangle-down": "M-6 -5L6 -5L0 6Z", "triangle-down-open": "M-6 -5L6 -5L0 6Z", x: "M-5 -5L5 5M-5 5L5 -5",
    diamond: "M0 -6L6 0L0 6L-6 0Z"
  };
  function marks(panel, trace, px, py) {
    trace.x.forEach(function (x, i) {
      var symbol = of(trace.marker.symbol, i) || "", colour = of(trace.marker.color, i), base = symbol.replace(/(-thin)?(-open)?$/, "");
      var hollow = /^x|open/.test(symbol);
      add(panel, "path", {
        d: MARKS[symbol] || MARKS[base] || MARKS.diamond, fill: hollow ? "none" : colour, stroke: colour, "stroke-width": hollow ? 2 : 1,
        transform: "translate(" + px(x).toFixed(1) + " " + py(trace.y[i]).toFixed(1) + ")"
      });
    });
  }
  /* Upright strokes for one kind of stretch, slanting ones for the others: never told by colour alone. */
  function hatch(panel, a, b, top, foot, shape, colour) {
    var high = foot - top, slant = shape === "|" ? 0 : high, d = "", box = add(panel, "svg", { x: a, y: top, width: Math.max(b - a, 1), height: high });
    for (var x = -slant; x < Math.min(b - a, 3000); x += 6) { d += "M" + x.toFixed(1) + " " + high + "l" + slant + " " + -high; }
    add(box, "path", { d: d, stroke: colour, fill: "none" });
  }
  function bars(panel, trace, px, py) {
    trace.x.forEach(function (length, i) {
      if (!(length > 0)) { return; }
      var a = px(trace.base[i]), b = px(trace.base[i] + length), top = py(trace.y[i] + trace.width / 2), foot = py(trace.y[i] - trace.width / 2);
      add(panel, "rect", {
        x: a, y: top, width: Math.max(b - a, 1), height: foot - top, fill: of(trace.marker.color, i), stroke: trace.marker.line.width === 0 ? undefined : of(trace.marker.line.color, i)
      });
      var shape = trace.marker.pattern && of(trace.marker.pattern.shape, i);
      if (shape && b - a > 3) { hatch(panel, a, b, top, foot, shape, trace.marker.pattern.fgcolor); }
      if (trace.text && trace.text[i]) {
        add(panel, "text", { x: (a + b) / 2, y: (top + foot) / 2 + 4, "text-anchor": "middle", fill: trace.insidetextfont.color }, trace.text[i]);
      }
    });
  }
  function legend(root, traces, x, y, ink) {
    traces.forEach(function (trace) {
      add(root, "line", { x1: x, x2: x + 22, y1: y - 4, y2: y - 4, stroke: trace.line.color, "stroke-width": 2 });
      add(root, "text", { x: x + 27, y: y, fill: ink }, trace.name);
      x += 45 + 6.6 * trace.name.length;
    });
  }
  function panelOf(root, key, data, layout, at) {
    var ref = key.replace("axis", ""), axis = layout[key], own = data.filter(function (t) { return (t.yaxis || "y") === ref; });
    var top = at.top + (1 - axis.domain[1]) * at.high, high = (axis.domain[1] - axis.domain[0]) * at.high;
    var range = axis.range || [0, 1];
    var py = function (v) { return (range[1] - v) / (range[1] - range[0]) * high; };
    var named = axis.tickvals ? axis.tickvals.map(function (v, i) { return [v, axis.ticktext[i]]; }) : ticks(range[0], range[1], axis.nticks || 4);
    named.forEach(function (tick) {
      var y = top + py(tick[0]);
      if (!axis.tickvals) { add(root, "line", { x1: at.left, x2: at.left + at.wide, y1: y, y2: y, stroke: axis.gridcolor }); }
      add(root, "text", { x: at.left - 8, y: y + 4, "text-anchor": "end", fill: axis.tickfont.color }, tick[1]);
    });
    if (axis.title) {
      add(root, "text", { "text-anchor": "middle", fill: layout.font.color, transform: "translate(14 " + (top + high / 2) + ") rotate(-90)" }, axis.title.text);
    }
    var panel = add(root, "svg", { x: at.left, y: top, width: at.wide, height: high });
    (layout.shapes || []).forEach(function (one) {
      if (one.type !== "line" || one.yref !== ref) { return; }
      var y = py(one.y0);
      add(panel, "line", { x1: 0, x2: at.wide, y1: y, y2: y, stroke: one.line.color, "stroke-width": one.line.width, "stroke-dasharray": "6 3" });
    });
    own.forEach(function (trace) {
      if (trace.type === "bar") { bars(panel, trace, at.px, py); return; }
      if (trace.mode === "markers") { marks(panel, trace, at.px, py); return; }
      add(panel, "path", { d: pathOf(trace.x, trace.y, at.px, py), fill: "none", stroke: trace.line.color, "stroke-width": trace.line.width, "stroke-linejoin": "round" });
    });
    add(root, "path", { d: "M" + at.left + " " + top + "v" + high + "h" + at.wide, fill: "none", stroke: axis.linecolor });
    (layout.annotations || []).forEach(function (one) {
      if (one.yref !== ref) { return; }
      add(root, "text", {
        x: at.left + at.wide - 2, y: top + py(one.y) + (one.yanchor === "bottom" ? -3 : 11) - (one.yshift || 0), "text-anchor": "end", fill: one.font.color,
        stroke: one.bgcolor, "stroke-width": 3, "paint-order": "stroke"
      }, one.text);
    });
    legend(root, own.filter(function (t) { return t.type === "scatter" && t.mode === "lines" && t.showlegend !== false; }), at.left, top - 7, layout.font.color);
  }
  window.reelproofPicture = function (div, data, layout) {
    var width = layout.width || div.clientWidth || 700, m = layout.margin, range = layout.xaxis.range;
    var at = { left: m.l, top: m.t, wide: Math.max(width - m.l - m.r, 50), high: layout.height - m.t - m.b };
    at.px = function (v) { return (v - range[0]) / (range[1] - range[0]) * at.wide; };
    var root = document.createElementNS(SVG, "svg");
    root.setAttribute("class", "picture"); root.setAttribute("width", width); root.setAttribute("height", layout.height);
    (layout.shapes || []).forEach(function (one) {
      if (one.type !== "rect") { return; }
      var a = Math.max(at.px(one.x0), 0), b = Math.min(at.px(one.x1), at.wide);
      if (b > a) { add(root, "rect", { x: at.left + a, y: at.top, width: b - a, height: at.high, fill: one.fillcolor }); }
    });
    Object.keys(layout).forEach(function (key) { if (/^yaxis\d*$/.test(key)) { panelOf(root, key, data, layout, at); } });
    var foot = at.top + at.high;
    ticks(range[0], range[1], Math.min(at.wide / 110, 10)).forEach(function (tick) {
      var x = at.left + at.px(tick[0]);
      add(root, "line", { x1: x, x2: x, y1: foot, y2: foot + 4, stroke: layout.xaxis.linecolor });
      add(root, "text", { x: x, y: foot + 17, "text-anchor": "middle", fill: layout.xaxis.tickfont.color }, tick[1]);
    });
    add(root, "text", { x: at.left + at.wide / 2, y: foot + 38, "text-anchor": "middle", fill: layout.font.color }, layout.xaxis.title.text);
    div.replaceChildren(root);
  };
})();
