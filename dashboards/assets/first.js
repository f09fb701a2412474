/* Runs before the first paint: the reader's choice of light or dark and of units, kept on this machine. */
(function () {
  "use strict";
  var root = document.documentElement;
  function kept(name) {
    try { return window.localStorage.getItem("reelproof." + name); } catch (fault) { return null; }
  }
  var theme = kept("theme");
  if (theme === "light" || theme === "dark") { root.setAttribute("data-theme", theme); }
  var units = kept("units");
  if (units === "us" || units === "si") { root.setAttribute("data-units", units); }
})();
