"use strict";
// Reads the code behind the # (which no browser sends to a server), asks for what is under it, and shows the answer.
(function () {
  var root = document.documentElement;
  var shown = document.getElementById("shown");
  var opening = document.getElementById("opening");
  var offline = document.getElementById("offline");
  var drop = document.getElementById("drop");
  var dropped = document.getElementById("dropped");
  var turn = 0;

  function state(name) {
    root.dataset.state = name;
    opening.hidden = name !== "opening";
    offline.hidden = name !== "offline";
  }

  function head(where) {
    var heading = where.querySelector("h1");
    if (heading) {
      document.title = heading.textContent;
      heading.focus({ preventScroll: true });
    }
  }

  // The mark that is shown is the one computed here from the content beside it, never the one the page states.
  function check(where) {
    var holder = where.querySelector("#content");
    var places = where.querySelectorAll(".mark");
    var note = where.querySelector("#mark-note");
    if (!holder || !places.length) { return; }
    var content = JSON.parse(holder.textContent);
    function say(words) {
      note.textContent = words;
      var last = places[places.length - 1];
      (last.closest("dl") || last).after(note);
      note.hidden = false;
    }
    if (!window.crypto || !crypto.subtle) { say(note.dataset.unable); return; }
    recordMark.computed(content).then(function (mark) {
      places.forEach(function (place) { place.textContent = mark; });
      say(mark === content.mark ? note.dataset.computed : note.dataset.other);
    }).catch(function () { say(note.dataset.unable); });
  }

  function open() {
    var code = location.hash.slice(1);
    if (!code) { return; }
    var mine = ++turn;
    shown.textContent = "";
    drop.hidden = false;
    dropped.hidden = true;
    state("opening");
    fetch("/v/open", {
      method: "POST",
      body: new URLSearchParams({ code: code }),
      credentials: "omit",
      cache: "no-store",
      redirect: "error",
      referrerPolicy: "no-referrer"
    }).then(function (answer) {
      return answer.text().then(function (text) {
        if (mine !== turn) { return; }
        shown.innerHTML = text;
        state(answer.ok ? "shown" : "nothing");
        check(shown);
        head(shown);
        window.scrollTo(0, 0);
      });
    }).catch(function () {
      if (mine !== turn) { return; }
      state("offline");
      head(offline);
    });
  }

  drop.addEventListener("click", function () {
    history.replaceState(null, "", location.pathname);
    drop.hidden = true;
    dropped.hidden = false;
  });
  document.getElementById("again").addEventListener("click", open);
  // A second code scanned into the same tab changes only what is behind the #.
  window.addEventListener("hashchange", open);
  check(shown);
  open();
}());
