// Events set by hand: picked, moved, added, removed, taken back, saved.
(() => {
  "use strict";
  const link = window.imujump, figure = link.figure;
  const {fixed, parse} = link.format;
  const WORDS = {foot_strike: "strikes", toe_off: "leaves"};
  let past = [];

  const sameTime = (a, b) => Math.abs(a - b) < 5e-7;

  function remember() {
    past.push(JSON.stringify(figure.events));
    if (past.length > 100) past.shift();
  }

  function changed() {
    figure.events.sort((a, b) => a.time_s - b.time_s);
    list();
    figure.redraw();
  }

  function list() {
    const box = document.getElementById("attempt-events");
    if (!box || !figure.own) return;
    const zeroS = figure.own.drawn.take_off_s;
    box.replaceChildren(...figure.events.map((event) => {
      const button = document.createElement("button");
      const ms = Math.round(1000 * (event.time_s - zeroS));
      button.type = "button";
      button.className = `event ${event.side}`;
      button.dataset.act = "event_pick";
      button.dataset.text = String(figure.events.indexOf(event));
      button.setAttribute("aria-pressed", String(event === figure.picked));
      button.append(`${event.side === "left" ? "L" : "R"} ${WORDS[event.kind]} `, link.dom.element("b", "", fixed(ms, 0).replace("-", "−")));
      if (event.hand) button.append(link.dom.element("small", "", " by hand"));
      return button;
    }));
    const field = document.getElementById("attempt-event-ms");
    if (field && figure.picked && document.activeElement !== field) put(field, fixed(1000 * (figure.picked.time_s - zeroS), 1).replace("-", "−"));
    const unsaved = figure.moved = past.length > 0;
    link.dom.say("attempt-edit-told", unsaved ? "Not saved yet. Metrics follow when you save." : "");
    for (const act of ["event_undo", "event_save"]) enable(`[data-act=${act}]`, unsaved);
    for (const act of ["event_nudge", "event_set", "event_remove"]) enable(`[data-act=${act}]`, Boolean(figure.picked));
  }

  function enable(selector, able) {
    for (const button of document.querySelectorAll(selector)) {
      if (able) button.removeAttribute("aria-disabled"); else button.setAttribute("aria-disabled", "true");
    }
  }

  function put(field, text) { if (field.value !== text) field.value = text; }

  figure.loaded = () => { past = []; list(); };
  figure.pick = (event) => { figure.picked = event; list(); figure.redraw(); };
  figure.dragged = (event, timeS, ended, beganS) => {
    if (ended) {
      const at = event.time_s;
      event.time_s = beganS;
      const was = event.hand;
      event.hand = event.hadHand || false;
      delete event.hadHand;
      if (sameTime(at, beganS)) { changed(); return; }
      remember();
      event.time_s = at;
      event.hand = was;
      changed();
      return;
    }
    if (event.hadHand === undefined) event.hadHand = Boolean(event.hand);
    event.time_s = timeS;
    event.hand = true;
    figure.redraw();
  };

  function move(timeS) {
    remember();
    figure.picked.time_s = timeS;
    figure.picked.hand = true;
    changed();
  }

  Object.assign(link.actions, {
    event_pick(button) {
      figure.pick(figure.events[Number(button.dataset.text)]);
      const {fromS, toS} = figure.view, at = figure.picked.time_s - figure.own.zeroS;
      if (at < fromS || at > toS) figure.show(at - (toS - fromS) / 2, at + (toS - fromS) / 2);
      const again = document.querySelector("#attempt-events [aria-pressed=true]");
      if (again) again.focus();
    },
    event_nudge(button) { if (figure.picked) move(figure.picked.time_s + Number(button.dataset.text) / 1000); },
    event_set() {
      const field = document.getElementById("attempt-event-ms");
      const text = field.value.trim().replace("−", "-"), below = text.startsWith("-");
      const ms = parse(below ? text.slice(1) : text);
      if (ms === null || Number.isNaN(ms)) { link.refused("Give milliseconds from take-off, such as −120.5."); return; }
      if (figure.picked) move(figure.own.drawn.take_off_s + (below ? -ms : ms) / 1000);
    },
    event_remove() {
      if (!figure.picked) return;
      remember();
      figure.events.splice(figure.events.indexOf(figure.picked), 1);
      figure.picked = null;
      changed();
    },
    event_add(button) {
      const [kind, side] = button.dataset.text.split(" ");
      remember();
      figure.picked = {kind, side, hand: true, sigma_s: null, time_s: (figure.view.fromS + figure.view.toS) / 2 + figure.own.zeroS};
      figure.events.push(figure.picked);
      changed();
    },
    event_undo() {
      if (!past.length) return;
      const place = figure.picked ? figure.events.indexOf(figure.picked) : -1;
      figure.events = JSON.parse(past.pop());
      figure.picked = figure.events[place] || null;
      changed();
    },
    async event_save(button) {
      button.setAttribute("aria-disabled", "true");
      link.dom.say("attempt-edit-told", "Working the metrics out anew …");
      const events = figure.events.map(({kind, side, time_s, sigma_s, hand}) => ({kind, side, time_s, sigma_s, hand: Boolean(hand)}));
      const refused = await link.review.change({do: "save_events", attempt: figure.own.drawn.attempt, events});
      if (link.refused(refused)) { list(); link.dom.say("attempt-edit-told", refused); return; }
      past = [];
      list();
    },
  });

  window.addEventListener("beforeunload", (event) => { if (figure.own && figure.moved) event.preventDefault(); });
})();
