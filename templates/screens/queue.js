"use strict";
// The screen of what is kept on this phone; works with the script of all screens. Answers that were refused can be corrected, sent again or taken off.

function showQueue(place) {
  const drawList = async () => {
    if (place.contains(document.activeElement) && document.activeElement.matches("input")) { return; } // not under the hands of somebody who types
    const list = await items();
    const { refused, behind, elsewhere } = sorted(list);
    const shown = (item) => shownAnswer(item, { isRefused: refused.includes(item), waits: behind.includes(item), isElsewhere: elsewhere.includes(item) });
    place.replaceChildren(...list.map(shown));
    if (!list.length) { place.append(made("p", inWords("Nothing is waiting on this phone: every answer has been sent."))); }
  };
  document.addEventListener("corekit:queue", drawList);
  drawList();
}

function shownAnswer(item, { isRefused, waits, isElsewhere }) {
  const section = made("section", "", { class: "kept" });
  section.append(made("h2", item.title), made("p", inWords("Answered at {time}.", { time: moment(new Date(item.at)) }), { class: "soft" }));
  for (const fault of item.faults || []) { section.append(made("p", fault.text, { class: "fault" })); }
  if (waits) { section.append(made("p", inWords("Waits for an earlier answer of the same job that needs attention."))); }
  if (isElsewhere) { section.append(made("p", inWords("Entered for another shop: {shop}. It will be sent when that shop is opened here.", { shop: item.shop }))); }
  const inputs = item.shown.map((field, count) => shownField(item, field, `kept-${item.n}-${count}`, isRefused));
  section.append(...inputs.map(({ element }) => element));
  const change = async (work) => {
    document.activeElement?.blur();
    await work(await queue);
    send();
    showLine();
  };
  if (isRefused) {
    const again = (more) => change((kept) => {
      const texts = new Map(inputs.filter(({ input }) => input).map(({ name, input }) => [name, input.value]));
      item.fields = item.fields.map(([name, value]) => [name, texts.get(name) ?? value]).concat(more);
      // It was refused, so nothing stands under its id; what was changed since is another answer.
      const shown = item.shown.map((field) => ({ ...field, text: texts.get(field.name) ?? field.text }));
      Object.assign(item, { id: newId(), faults: undefined, failures: 0, shown });
      return kept.put(item);
    });
    for (const fault of item.faults) {
      const input = inputs.find(({ name }) => name === fault.place)?.input;
      if (input) { section.append(...(fault.guesses || []).map((guess) => key(guess, () => { input.value = guess; }))); }
      const row = /^(.*)\.(is|low|high)$/.exec(fault.place)?.[1];
      if (fault.asked && row) { section.append(key(inWords("Reading is correct"), () => again([[`${row}.confirmed|yes`, "yes"]]))); }
    }
    section.append(key(inWords("Send it again"), () => again([]), "main"));
  }
  if (isRefused || isElsewhere) {
    const sure = key(inWords("Yes, delete it; there is no other copy"), () => change((kept) => kept.remove(item)));
    sure.hidden = true;
    section.append(key(inWords("Delete it from this phone"), () => { sure.hidden = !sure.hidden; if (!sure.hidden) { sure.focus(); } }), sure);
  }
  return section;
}

function shownField(item, field, id, isRefused) {
  const element = made("div", "", { class: "field" });
  if (!isRefused || !field.typed) {
    element.append(made("p", field.label ? `${field.label}: ${field.text}` : field.text));
    return { name: field.name, element };
  }
  const input = made("input", "", { id, type: "text", value: field.text, autocomplete: "off" });
  element.append(made("label", field.label, { for: id }), input);
  return { name: field.name, element, input };
}

all("[data-queue]").forEach(showQueue);
