"use strict";
/* A comfort, not needed: sift a long story. Nothing is sent, kept or changed. */
(function () {
  var story = document.getElementById("story-table");
  var place = document.getElementById("story-sift");
  if (!story || !place) { return; }
  var rows = Array.prototype.slice.call(story.querySelectorAll("tr[data-kind]"));
  if (rows.length < 12) { return; }
  var kinds = [];
  rows.forEach(function (row) {
    var kind = row.getAttribute("data-kind");
    if (kinds.indexOf(kind) < 0) { kinds.push(kind); }
  });
  function labelled(text, field) {
    var label = document.createElement("label");
    label.append(text + " ", field);
    place.append(label);
    return field;
  }
  var word = document.createElement("input");
  word.type = "search";
  var which = document.createElement("select");
  ["everything"].concat(kinds).forEach(function (kind) {
    var option = document.createElement("option");
    option.textContent = kind;
    which.append(option);
  });
  labelled("Show only moments with the words", word);
  labelled("of the kind", which);
  var said = document.createElement("output");
  said.setAttribute("aria-live", "polite");
  place.append(said);
  function sift() {
    var sought = word.value.trim().toLocaleLowerCase();
    var all = which.selectedIndex === 0;
    var shown = 0;
    rows.forEach(function (row) {
      var fits = (all || row.getAttribute("data-kind") === which.value) &&
        (!sought || row.textContent.toLocaleLowerCase().indexOf(sought) >= 0);
      row.hidden = !fits;
      if (fits) { shown += 1; }
    });
    var part = shown < rows.length;
    said.textContent = part ? "Sifted: " + shown + " of " + rows.length + " moments shown." : "All " + rows.length + " shown.";
    place.classList.toggle("on", part);
  }
  word.addEventListener("input", sift);
  which.addEventListener("change", sift);
  place.hidden = false;
  sift();
})();
