/* On the review site: a form is sent once, one box chooses all of its kind, and what changes is shown without a reload.
   Everything works without it, but for what is new: then a reader asks for the page again. */
(function () {
  "use strict";
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (!form.hasAttribute("data-once")) { return; }
    if (form.dataset.sent) { event.preventDefault(); }
    form.dataset.sent = "1";
  });
  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-once]").forEach(function (form) { delete form.dataset.sent; });
  });
  document.addEventListener("change", function (event) {
    var box = event.target;
    if (!box.dataset || !box.dataset.allOf) { return; }
    box.closest("form").querySelectorAll("input[name=\"" + box.dataset.allOf + "\"]").forEach(function (one) { one.checked = box.checked; });
  });

  var bell = document.querySelector("[data-bell]");
  if (!bell || !window.EventSource) { return; }
  var source = null, version = bell.dataset.version, asked = false, again = false;
  var teller = document.createElement("p");
  teller.className = "status live-told";
  teller.setAttribute("role", "status");
  document.getElementById("content").prepend(teller);

  function tell(text, link, label) {
    teller.textContent = text;
    if (link) {
      var to = document.createElement("a");
      to.href = link; to.textContent = label;
      teller.append(" ", to);
    }
  }
  function words(one) { return one.textContent.replace(/\s+/g, " ").trim(); }
  /* What a part says: of a part with forms also what they would send, for that names what was seen. */
  function says(one) {
    var sent = Array.prototype.map.call(one.querySelectorAll("input[type=hidden]"), function (field) { return field.name + "=" + field.defaultValue; });
    return words(one) + "\n" + sent.join("\n");
  }
  function isTouched(one) {
    if (one.contains(document.activeElement)) { return true; }
    return Array.prototype.some.call(one.querySelectorAll("input:not([type=hidden]), textarea, select"), function (field) {
      if (field.tagName === "SELECT") {
        return Array.prototype.some.call(field.options, function (option) { return option.selected !== option.defaultSelected && !(field.selectedIndex === 0 && option.index === 0); });
      }
      return field.type === "checkbox" || field.type === "radio" ? field.checked !== field.defaultChecked : field.value !== field.defaultValue;
    });
  }
  function parts(of) {
    var found = {};
    of.querySelectorAll("main > section, main > .pair > section, main > .page-head, body > .alarm, [data-live]").forEach(function (one) {
      var key = one.id || one.getAttribute("aria-labelledby") || one.className;
      if (key && !found[key] && !(one.parentElement && one.parentElement.closest("section"))) { found[key] = one; }
    });
    return found;
  }
  function swap(text) {
    var came = new DOMParser().parseFromString(text, "text/html");
    var here = parts(document), there = parts(came), left = false, done = 0;
    Object.keys(there).concat(Object.keys(here)).forEach(function (key) {
      if (!here[key] || !there[key]) { left = true; }
    });
    Object.keys(here).forEach(function (key) {
      var old = here[key], now = there[key];
      if (!now || says(old) === says(now)) { return; }
      if (old.querySelector(".plot-area") || isTouched(old)) { left = true; return; }
      var opened = Array.prototype.map.call(old.querySelectorAll("details"), function (one) { return one.open; });
      old.replaceWith(document.importNode(now, true));
      now = parts(document)[key];
      Array.prototype.forEach.call(now ? now.querySelectorAll("details") : [], function (one, number) { one.open = one.open || !!opened[number]; });
      done += 1;
    });
    if (left) { tell("This page has changed.", location.pathname + location.search, "Show it as it is now"); }
    else if (done) { tell("Updated."); }
  }
  function refresh() {
    if (asked) { again = true; return; }
    asked = true;
    fetch(location.pathname + location.search, { credentials: "same-origin", redirect: "error", headers: { "X-Asked-By-Page": "1" } })
      .then(function (answer) { return answer.ok ? answer.text() : ""; })
      .then(function (text) { if (text) { swap(text); } })
      .catch(function () { tell("This page may have changed.", location.pathname + location.search, "Show it as it is now"); })
      .finally(function () { asked = false; if (again) { again = false; refresh(); } });
  }
  function open() {
    if (source || document.hidden) { return; }
    source = new EventSource("/events?at=" + encodeURIComponent(location.pathname) + "&version=" + version);
    source.addEventListener("message", function (event) {
      var now = JSON.parse(event.data);
      version = now.version;
      if (now.waits !== null) {
        bell.textContent = now.waits;
        bell.parentElement.setAttribute("aria-label", now.waits + " waiting for you");
      }
      if (now.page) { refresh(); }
    });
    source.addEventListener("ended", function () {
      close();
      tell("You are signed out.", "/sign-in?to=" + encodeURIComponent(location.pathname), "Sign in");
    });
  }
  function close() { if (source) { source.close(); source = null; } }
  /* A page that nobody sees asks for nothing: browsers open few connections to one site. */
  document.addEventListener("visibilitychange", function () { if (document.hidden) { close(); } else { open(); } });
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", open);
  open();
})();
