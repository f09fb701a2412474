/* On the review site: a form is sent once, and one box chooses all of its kind. Forms work without it. */
(function () {
  "use strict";
  var forms = document.querySelectorAll("form[data-once]");
  forms.forEach(function (form) {
    form.addEventListener("submit", function (event) {
      if (form.dataset.sent) { event.preventDefault(); }
      form.dataset.sent = "1";
    });
  });
  window.addEventListener("pageshow", function () { forms.forEach(function (form) { delete form.dataset.sent; }); });
  document.querySelectorAll("[data-all-of]").forEach(function (box) {
    box.addEventListener("change", function () {
      var form = box.closest("form");
      form.querySelectorAll("input[name=\"" + box.dataset.allOf + "\"]").forEach(function (one) { one.checked = box.checked; });
    });
  });
})();
