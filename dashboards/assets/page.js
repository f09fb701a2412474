/* Switches for units and light or dark, and saving a table's records as CSV. Needs no network. */
(function () {
  "use strict";
  var root = document.documentElement;
  function keep(name, value) {
    try { window.localStorage.setItem("reelproof." + name, value); } catch (fault) { /* a reader may forbid it */ }
  }
  function tell() { document.dispatchEvent(new CustomEvent("reelproof:look")); }

  function nameTheme() {
    var now = root.getAttribute("data-theme") || "auto";
    document.querySelectorAll("[data-theme-name]").forEach(function (one) { one.textContent = now; });
  }
  document.querySelectorAll("[data-switch]").forEach(function (button) {
    button.addEventListener("click", function () {
      if (button.getAttribute("data-switch") === "units") {
        var units = root.getAttribute("data-units") === "us" ? "si" : "us";
        root.setAttribute("data-units", units);
        keep("units", units);
      } else {
        var order = ["auto", "light", "dark"];
        var next = order[(order.indexOf(root.getAttribute("data-theme") || "auto") + 1) % 3];
        if (next === "auto") { root.removeAttribute("data-theme"); } else { root.setAttribute("data-theme", next); }
        keep("theme", next);
        nameTheme();
      }
      tell();
    });
  });
  nameTheme();
  if (window.matchMedia) { window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", tell); }

  /* A cell that a spreadsheet might take for a formula gets an apostrophe; then the usual quoting (RFC 4180). */
  function cell(text) {
    var plain = String(text).replace(/\s+/g, " ").trim();
    if (/^[=+\-@\t\r]/.test(plain) && !/^-?\d+(\.\d+)?([eE][+-]?\d+)?$/.test(plain)) { plain = "'" + plain; }
    return /[",\n]/.test(plain) ? '"' + plain.replace(/"/g, '""') + '"' : plain;
  }
  function save(name, text) {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff" + text], { type: "text/csv" }));
    link.download = name.replace(/[^A-Za-z0-9._-]+/g, "-");
    document.body.appendChild(link);
    link.click();
    link.remove();
    window.setTimeout(function () { URL.revokeObjectURL(link.href); }, 1000);
  }
  function rowsOf(table) {
    var heads = Array.prototype.slice.call(table.tHead.rows[0].cells);
    var lines = [heads.filter(function (h) { return h.dataset.c; })
      .map(function (h) { return h.dataset.c.split(" ").map(cell).join(","); }).join(",")];
    Array.prototype.forEach.call(table.tBodies[0].rows, function (row) {
      if (row.hidden) { return; }
      var out = [];
      heads.forEach(function (head, i) {
        if (!head.dataset.c) { return; }
        var at = row.cells[i], names = head.dataset.c.split(" ");
        var value = at.dataset.v !== undefined ? at.dataset.v : at.textContent;
        if (names.length === 1) { out.push(cell(value)); } else {
          var parts = value.split(" ");
          names.forEach(function (_, k) { out.push(cell(parts[k] || "")); });
        }
      });
      lines.push(out.join(","));
    });
    return lines.join("\r\n") + "\r\n";
  }
  window.reelproofSave = save;
  window.reelproofCell = cell;
  document.querySelectorAll("[data-csv]").forEach(function (button) {
    button.addEventListener("click", function () {
      save(button.dataset.file, rowsOf(document.getElementById(button.dataset.csv)));
    });
  });

  /* On paper nothing can be opened: what explains a figure is opened for print and closed again after. */
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.prototype.filter.call(document.querySelectorAll(".foot details, .how, details.more, .more-reasons"), function (one) { return !one.open; });
    opened.forEach(function (one) { one.open = true; });
  });
  window.addEventListener("afterprint", function () { opened.forEach(function (one) { one.open = false; }); });

  /* A search box narrows the rows of the tables it names; the count is told to screen readers too. */
  document.querySelectorAll("[data-search]").forEach(function (box) {
    var tables = box.dataset.search.split(" ").map(function (id) { return document.getElementById(id); });
    var told = document.getElementById(box.dataset.told);
    function narrow() {
      var words = box.value.toLowerCase().split(/\s+/).filter(Boolean), shown = 0;
      tables.forEach(function (table) {
        if (!table) { return; }
        var any = 0;
        Array.prototype.forEach.call(table.tBodies[0].rows, function (row) {
          var text = ((row.dataset.find || row.textContent) + " " + (row.dataset.group || "")).toLowerCase();
          row.hidden = !words.every(function (word) { return text.indexOf(word) >= 0; });
          if (!row.hidden) { any += 1; }
        });
        shown += any;
        var block = table.closest("[data-block]");
        if (block) { block.hidden = words.length > 0 && any === 0; }
      });
      if (told) { told.textContent = words.length ? shown + (shown === 1 ? " row fits" : " rows fit") : ""; }
    }
    box.addEventListener("input", narrow);
    function fromAddress() {
      if (location.hash.indexOf("#find=") !== 0) { return false; }
      try { box.value = decodeURIComponent(location.hash.slice(6)); } catch (fault) { box.value = ""; }
      return true;
    }
    fromAddress();
    narrow();
    /* A link on the page itself may ask for a group of rows: they are narrowed to and shown. */
    window.addEventListener("hashchange", function () {
      if (fromAddress()) { narrow(); box.scrollIntoView({ block: "center" }); box.focus({ preventScroll: true }); }
    });
  });
})();
