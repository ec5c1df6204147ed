// Numbers as the reader's country writes them, and small tools for filling in a page.
(() => {
  "use strict";
  const locale = navigator.language;
  const kept = new Map();

  function fixed(value, decimals) {
    if (!kept.has(decimals)) {
      kept.set(decimals, new Intl.NumberFormat(locale,
        {minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false}));
    }
    return kept.get(decimals).format(value);
  }

  // Takes "1,5" and "1.5" alike; null for nothing, NaN for what is no number.
  function parse(text) {
    const plain = text.trim().replace(",", ".");
    if (!plain) return null;
    return /^\d+(\.\d*)?$/.test(plain) ? Number(plain) : NaN;
  }

  function say(id, text) {
    const node = document.getElementById(id);
    if (node && node.textContent !== text) node.textContent = text;
    return node;
  }

  function show(id, visible) {
    const node = document.getElementById(id);
    if (node) node.hidden = !visible;
  }

  // Options of a list, rebuilt only when they change, so that an open list stays open.
  function options(id, pairs, value) {
    const node = document.getElementById(id);
    if (!node) return;
    const key = JSON.stringify(pairs);
    if (node.dataset.pairs !== key) {
      node.replaceChildren(...pairs.map(([name, text]) => new Option(text, name)));
      node.dataset.pairs = key;
    }
    if (document.activeElement !== node && node.value !== value) node.value = value;
  }

  function clock(seconds) {
    const whole = Math.max(0, Math.floor(seconds));
    return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  }

  // A list of things, rebuilt only when they change.
  function fill(id, things, build) {
    const node = document.getElementById(id);
    if (!node) return;
    const key = JSON.stringify(things);
    if (node.dataset.things === key) return;
    node.dataset.things = key;
    node.replaceChildren(...things.map(build));
  }

  function element(name, className, ...children) {
    const node = document.createElement(name);
    if (className) node.className = className;
    node.append(...children);
    return node;
  }

  window.imujump.format = {locale, fixed, whole: (value) => fixed(value, 0), parse, clock};
  window.imujump.dom = {say, show, options, fill, element};
})();
