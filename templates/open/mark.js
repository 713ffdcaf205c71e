"use strict";
// Computes a document's record mark from its content, as corekit/model/mark.py does: RFC 8785 text, SHA-256, 80 bits.
var recordMark = (function () {
  var LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

  // JSON.stringify writes numbers and texts as RFC 8785 asks for; the order of names (by UTF-16 units) is sort()'s own.
  function canonical(value) {
    if (typeof value === "string") { return JSON.stringify(value.normalize("NFC")); }
    if (Array.isArray(value)) { return "[" + value.map(canonical).join(",") + "]"; }
    if (value && typeof value === "object") {
      return "{" + Object.keys(value).sort().map(function (name) {
        return canonical(name) + ":" + canonical(value[name]);
      }).join(",") + "}";
    }
    return JSON.stringify(value);
  }

  function without(mark, value) {
    if (typeof value === "string") { return value === mark ? "" : value; }
    if (Array.isArray(value)) { return value.map(function (item) { return without(mark, item); }); }
    if (value && typeof value === "object") {
      var copy = {};
      Object.keys(value).forEach(function (name) { copy[name] = without(mark, value[name]); });
      return copy;
    }
    return value;
  }

  function letters(summary) {
    var bits = "";
    new Uint8Array(summary).slice(0, 10).forEach(function (byte) { bits += byte.toString(2).padStart(8, "0"); });
    var signs = bits.match(/.{5}/g).map(function (five) { return LETTERS[parseInt(five, 2)]; }).join("");
    return signs.match(/.{4}/g).join("-");
  }

  function hashed(text) {
    return crypto.subtle.digest("SHA-256", new TextEncoder().encode(text)).then(letters);
  }

  function computed(content) {
    return hashed(canonical({ document: without(content.mark, content), mark: 2 }));
  }

  return { canonical: canonical, computed: computed, letters: letters };
}());
