/* Saves a table's records in the reader's units, as CSV (RFC 4180) or as a workbook. Needs no network. */
(function () {
  "use strict";
  var root = document.documentElement;
  var units = JSON.parse(document.getElementById("saved-units").textContent);

  /* A cell that a spreadsheet might take for a formula gets an apostrophe. */
  function safe(text) {
    var plain = String(text).replace(/\s+/g, " ").trim();
    return /^[=+\-@\t\r]/.test(plain) && !/^-?\d+(\.\d+)?([eE][+-]?\d+)?$/.test(plain) ? "'" + plain : plain;
  }
  function cell(text) {
    var plain = safe(text);
    return /[",\n]/.test(plain) ? '"' + plain.replace(/"/g, '""') + '"' : plain;
  }
  function hand(name, blob) {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name.replace(/[^A-Za-z0-9._-]+/g, "-");
    document.body.appendChild(link);
    link.click();
    link.remove();
    window.setTimeout(function () { URL.revokeObjectURL(link.href); }, 1000);
  }
  function save(name, text) { hand(name, new Blob(["\ufeff" + text], { type: "text/csv" })); }

  /* What a column is saved as: its name and unit by its last letters, and how a figure becomes that unit. */
  function column(name) {
    var side = root.getAttribute("data-units") === "si" ? "si" : "us";
    for (var i = 0; i < units.length; i += 1) {
      var one = units[i], end = "_" + one.ends;
      if (name === one.ends || name.slice(-end.length) === end) {
        var to = one[side];
        return {
          name: name.slice(0, name.length - one.ends.length) + to.ends,
          label: name.slice(0, name.length - one.ends.length).replace(/_/g, " ").trim(),
          unit: to.unit, factor: to.factor, offset: to.offset
        };
      }
    }
    return { name: name, label: name.replace(/_/g, " "), unit: "", factor: 1, offset: 0 };
  }
  /* A figure in the column's unit, to seven digits, whole numbers as they are; other text as it stands. */
  function figure(text, to) {
    if (!/^-?\d+(\.\d+)?([eE][+-]?\d+)?$/.test(text)) { return text; }
    var value = Number(text);
    if (to.factor === 1 && to.offset === 0 && /^-?\d{1,15}$/.test(text)) { return value; }
    return Number((value * to.factor + to.offset).toPrecision(7));
  }
  function shownText(at) {
    var hidden = root.getAttribute("data-units") === "si" ? ".us" : ".si", copy = at.cloneNode(true);
    copy.querySelectorAll(hidden).forEach(function (one) { one.remove(); });
    return copy.textContent;
  }
  function records(table) {
    var heads = Array.prototype.slice.call(table.tHead.rows[0].cells), columns = [], rows = [];
    heads.forEach(function (head) {
      if (head.dataset.c) { head.dataset.c.split(" ").forEach(function (name) { columns.push(column(name)); }); }
    });
    Array.prototype.forEach.call(table.tBodies[0].rows, function (row) {
      if (row.hidden) { return; }
      var out = [];
      heads.forEach(function (head, i) {
        if (!head.dataset.c) { return; }
        var at = row.cells[i], several = head.dataset.c.split(" ").length;
        var value = at.dataset.v !== undefined ? at.dataset.v : shownText(at);
        /* Of several columns in one cell an empty one leaves two spaces side by side. */
        var parts = several === 1 ? [value.replace(/\s+/g, " ").trim()] : value.split(" ");
        for (var k = 0; k < several; k += 1) { out.push(figure(parts[k] || "", columns[out.length])); }
      });
      rows.push(out);
    });
    return { columns: columns, rows: rows };
  }
  function asCsv(table) {
    var all = records(table);
    var lines = [all.columns.map(function (one) { return cell(one.name); })].concat(
      all.rows.map(function (row) { return row.map(cell); }));
    return lines.map(function (line) { return line.join(","); }).join("\r\n") + "\r\n";
  }

  var INSTANT = /^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)$/;
  function typed(value) {
    if (value === "" || value === null) { return null; }
    if (typeof value === "number") { return { value: value, type: Number }; }
    if (INSTANT.test(value)) { return { value: new Date(value), type: Date, format: "yyyy-mm-dd hh:mm:ss" }; }
    return { value: String(value), type: String };
  }
  function asWorkbook(table, name) {
    var all = records(table);
    var head = all.columns.map(function (one, k) {
      var first = all.rows.find(function (row) { return row[k] !== ""; });
      var unit = one.unit || (first && INSTANT.test(first[k]) ? "UTC" : "");
      var label = one.label.charAt(0).toUpperCase() + one.label.slice(1);
      return { value: [label, unit].filter(Boolean).join(", "), type: String, fontWeight: "bold" };
    });
    var widths = all.columns.map(function (_, k) {
      var longest = all.rows.reduce(function (most, row) { return Math.max(most, String(row[k]).length); }, head[k].value.length);
      return { width: Math.min(60, longest + 2) };
    });
    var data = [head].concat(all.rows.map(function (row) { return row.map(typed); }));
    return window.writeXlsxFile(data, { columns: widths, stickyRowsCount: 1, sheet: name.slice(0, 31) }).toBlob();
  }
  /* The library is read when a workbook is first asked for. */
  function withLibrary(then) {
    if (window.writeXlsxFile) { then(); return; }
    var script = document.createElement("script");
    script.src = document.getElementById("saved-units").dataset.workbook;
    script.addEventListener("load", then);
    document.head.appendChild(script);
  }
  window.reelproofSave = save;
  window.reelproofCell = cell;
  document.querySelectorAll("[data-csv]").forEach(function (button) {
    var table = document.getElementById(button.dataset.csv), file = button.dataset.file;
    button.addEventListener("click", function () {
      if (button.dataset.as !== "xlsx") { save(file, asCsv(table)); return; }
      withLibrary(function () {
        asWorkbook(table, button.dataset.csv).then(function (blob) { hand(file.replace(/\.csv$/, ".xlsx"), blob); });
      });
    });
  });
})();
