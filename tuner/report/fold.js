/* Folds what is not the answer; on paper, and where no script runs, all of it is there. */
(function () {
  "use strict";
  var folds = Array.prototype.slice.call(document.querySelectorAll("details.fold"));
  var shut = folds;
  function open(which) { which.forEach(function (fold) { fold.open = true; }); }
  function close(which) { which.forEach(function (fold) { fold.open = false; }); }
  close(folds.filter(function (fold) { return !fold.querySelector(".frame"); }));
  /* a picture is drawn in the width of its place, so its fold closes when it has been drawn */
  window.addEventListener("load", function () {
    close(folds.filter(function (fold) { return fold.querySelector(".frame"); }));
  });
  window.addEventListener("beforeprint", function () {
    shut = folds.filter(function (fold) { return !fold.open; });
    open(folds);
  });
  window.addEventListener("afterprint", function () { close(shut); });
}());
