/* Search over what is on file: every word must occur; at most sixty hits are shown. */
(function () {
  "use strict";
  var box = document.getElementById("search"), told = document.getElementById("search-told"), list = document.getElementById("search-found");
  var entries = (window.reelproofIndex || []).map(function (one) {
    return { kind: one[0], label: one[1], note: one[2], href: one[3], text: (one[0] + " " + one[1] + " " + one[2] + " " + (one[4] || "")).toLowerCase() };
  });
  var usual = told.textContent;
  function find() {
    var words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
    list.textContent = "";
    if (!words.length) { told.textContent = usual; return; }
    var found = entries.filter(function (one) { return words.every(function (word) { return one.text.indexOf(word) >= 0; }); });
    /* What is called by just these words comes first. */
    var typed = words.join(" ");
    found.sort(function (a, b) { return (b.label.toLowerCase() === typed) - (a.label.toLowerCase() === typed); });
    told.textContent = found.length === 0 ? "Nothing on file fits." : found.length + (found.length === 1 ? " fits" : " fit") + (found.length > 60 ? "; the first 60 are shown" : "");
    found.slice(0, 60).forEach(function (one) {
      var item = document.createElement("li"), link = document.createElement(one.href ? "a" : "span"), note = document.createElement("span");
      if (one.href) { link.href = one.href; }
      link.textContent = one.kind + " " + one.label;
      note.className = "sub"; note.textContent = one.note;
      item.append(link, note);
      list.append(item);
    });
    try { history.replaceState(null, "", "#find=" + encodeURIComponent(box.value)); } catch (fault) { /* some viewers forbid it */ }
  }
  box.addEventListener("input", find);
  if (location.hash.indexOf("#find=") === 0) {
    try { box.value = decodeURIComponent(location.hash.slice(6)); } catch (fault) { box.value = ""; }
    find();
  }
})();
