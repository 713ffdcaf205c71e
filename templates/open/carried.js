"use strict";
// Reads a carried code from behind the # (no browser sends it anywhere), checks it and shows it; see corekit/share/carried.py.
(function () {
  var CONTEXT = "corekit carried code 1\n", SIGNATURE = 64, CHECK = 4, INFLATED_AT_MOST = 20000;
  var words = JSON.parse(document.getElementById("words").textContent);
  var keys = JSON.parse(document.getElementById("keys").textContent);
  var shown = document.getElementById("shown");
  const IN_WORDS = {}; // each text below in the language of the page, which is written with them
  var inWords = function (text, filled) {
    return (IN_WORDS[text] || text).replace(/\{(\w+)\}/g, function (whole, name) { return filled[name]; });
  };
  var turn = 0;

  function bytes(text) {
    if (!/^[A-Za-z0-9_-]+$/.test(text)) { throw new Error("altered"); }
    var binary = atob(text.replace(/-/g, "+").replace(/_/g, "/"));
    var back = btoa(binary).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
    if (back !== text) { throw new Error("altered"); }
    return Uint8Array.from(binary, function (sign) { return sign.charCodeAt(0); });
  }

  function joined(first, second) {
    var both = new Uint8Array(first.length + second.length);
    both.set(first);
    both.set(second, first.length);
    return both;
  }

  async function inflated(packed) {
    var stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    var reader = stream.getReader(), whole = new Uint8Array(0), part = await reader.read();
    while (!part.done) {
      whole = joined(whole, part.value);
      if (whole.length > INFLATED_AT_MOST) { throw new Error("altered"); }
      part = await reader.read();
    }
    return new TextDecoder("utf-8", { fatal: true }).decode(whole);
  }

  async function signer(message, signature) {
    for (var name of Object.keys(keys)) {
      var raw = Uint8Array.from(atob(keys[name]), function (sign) { return sign.charCodeAt(0); });
      var key = await crypto.subtle.importKey("raw", raw, { name: "Ed25519" }, false, ["verify"]);
      if (await crypto.subtle.verify({ name: "Ed25519" }, key, signature, message)) { return name; }
    }
    return "";
  }

  async function opened(fragment) {
    if (!window.crypto || !crypto.subtle || !window.DecompressionStream) { return { outcome: "unchecked" }; }
    var whole, content, text;
    try {
      whole = bytes(fragment);
      var signed = whole.slice(0, -CHECK);
      var check = new Uint8Array(await crypto.subtle.digest("SHA-256", signed)).slice(0, CHECK);
      if (signed.length <= SIGNATURE || check.join() !== whole.slice(-CHECK).join()) { throw new Error("altered"); }
      text = await inflated(signed.slice(0, -SIGNATURE));
      content = JSON.parse(text);
      if (recordMark.canonical(content) !== text) { throw new Error("altered"); }
      content = understood(content);
    } catch (error) {
      return { outcome: "altered" };
    }
    var mark = recordMark.letters(await crypto.subtle.digest("SHA-256", whole)).slice(0, 9);
    try {
      var packed = signed.slice(0, -SIGNATURE);
      var name = await signer(joined(new TextEncoder().encode(CONTEXT), packed), signed.slice(-SIGNATURE));
      return { outcome: name ? "matches" : "unknown", key: name, mark: mark, content: content };
    } catch (error) {
      return { outcome: "unchecked", mark: mark, content: content };
    }
  }

  function rows(text, width) {
    return text.split("/").slice(1).flatMap(function (group) {
      var parts = group.split(";"), system = parts.shift();
      return parts.map(function (row) {
        var texts = row.split("|");
        if (system) { texts[0] = system + "." + texts[0]; }
        if (texts.length > width) { throw new Error("altered"); }
        return texts.concat(Array(width - texts.length).fill(""));
      });
    });
  }

  function understood(data) {
    var about = data.a.split("|");
    if (about.length !== 4) { throw new Error("altered"); }
    return { number: about[0], issued: about[1], total: about[2], currency: about[3],
      rows: rows(data.r, 9), found: rows(data.f, 3), works: rows(data.w, 2) };
  }

  function add(where, tag, text, kind) {
    var made = document.createElement(tag);
    made.textContent = text;
    if (kind) { made.className = kind; }
    where.append(made);
    return made;
  }

  var VERDICTS = { p: inWords("pass"), f: inWords("fail"), u: inWords("undecided"), a: inWords("advice") };

  function titled(key, place) {
    return (Object.prototype.hasOwnProperty.call(words, key) ? words[key] : key) + (place ? ", " + place : "");
  }

  // As it was carried, with the decimal sign of the page's language.
  function number(text) {
    return (1.5).toLocaleString(document.documentElement.lang).charAt(1) === "," ? text.replace(/(\d)\.(?=\d)/g, "$1,") : text;
  }

  function limit(row) {
    var low = number(row[5]), high = number(row[6]);
    if (low && high) { return inWords("{low} to {high}", { low: low, high: high }) + " " + row[2]; }
    if (low) { return inWords("at least {low}", { low: low }) + " " + row[2]; }
    return high ? inWords("at most {high}", { high: high }) + " " + row[2] : "";
  }

  function show(found) {
    shown.textContent = "";
    var c = found.content, outcome = document.querySelector("[data-outcome=" + found.outcome + "]").textContent;
    add(shown, "h1", c ? c.number : inWords("A carried code")).tabIndex = -1;
    var said = add(shown, "p", outcome + (found.key ? " " + found.key : ""), "outcome");
    said.setAttribute("role", "status");
    if (!c) { return; }
    add(shown, "p", c.issued);
    add(shown, "p", inWords("Total") + " " + number(c.total) + " " + c.currency, "strong");
    if (c.rows.length) { add(shown, "h2", inWords("Readings")); }
    c.rows.forEach(function (row) {
      var part = add(shown, "section", "", "reading");
      add(part, "h3", titled(row[0], row[1]));
      var list = add(part, "dl", "");
      [[inWords("On arrival"), row[3], row[7]], [inWords("After"), row[4], row[8]]].forEach(function (one) {
        if (one[1]) {
          add(list, "dt", one[0]);
          add(list, "dd", number(one[1]) + " " + row[2] + (one[2] ? " · " + VERDICTS[one[2]] : ""));
        }
      });
      if (limit(row)) { add(list, "dt", inWords("Limit")); add(list, "dd", limit(row)); }
    });
    if (c.found.length) { add(shown, "h2", inWords("Found without a reading")); }
    c.found.forEach(function (one) { add(shown, "p", titled(one[0], one[1]) + " · " + VERDICTS[one[2]]); });
    if (c.works.length) { add(shown, "h2", inWords("Work and charges")); }
    c.works.forEach(function (one) { add(shown, "p", titled(one[0], "") + ": " + number(one[1]) + " " + c.currency); });
    add(shown, "h2", inWords("Is this your copy?"));
    add(shown, "p", found.mark, "mark");
    add(shown, "p", inWords("This is the code's own mark, computed here. It stands beside the code on your copy; the record mark of the whole document is another. If the two differ, one of them was altered; ask the shop which."));
  }

  function open() {
    var fragment = location.hash.slice(1), mine = ++turn;
    document.getElementById("ask").hidden = Boolean(fragment);
    if (!fragment) { shown.textContent = ""; return; }
    opened(fragment).then(function (found) { if (mine === turn) { show(found); } });
  }

  document.getElementById("host").textContent = location.host || inWords("a file on this device");
  document.getElementById("read").addEventListener("click", function () {
    location.hash = document.getElementById("code").value.trim().replace(/^.*#/, "");
  });
  window.addEventListener("hashchange", open);
  open();
}());
