/* Switches for units and light or dark, and search. Needs no network. */
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
