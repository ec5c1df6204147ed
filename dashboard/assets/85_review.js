// What the review pages do besides being laid out: changes, choices that lead on, numbers as the
// reader's country writes them, small pictures.
(() => {
  "use strict";
  const link = window.imujump;
  const {fixed} = link.format;
  const point = new Intl.NumberFormat(link.format.locale).formatToParts(1.5)
    .find((part) => part.type === "decimal").value;
  const AGAIN_MS = 2000;
  const LASTING = "details:not(.marking)";
  const SVG = "http://www.w3.org/2000/svg";

  const review = link.review = {go, change, drawAnew, svg, taken: null};

  function go(address) {
    const to = new URL(address, location.href);
    if (to.href === location.href) return;
    window.dash_clientside.set_props("_pages_location", {pathname: to.pathname, search: to.search, hash: to.hash});
  }

  // What Dash lays out is an empty frame; the server draws what fills it.
  let asking = 0;
  async function fill(box, from) {
    const mine = asking += 1;
    box.dataset.asked = from;
    let text;
    try {
      const answer = await fetch(from);
      text = await answer.text();
      if (!answer.headers.get("content-type").startsWith("text/html")) throw new Error(text);
    } catch (error) {
      if (mine === asking) link.refused("The computer does not answer; the page may be out of date.");
      setTimeout(() => { delete box.dataset.asked; link.repaint(); }, AGAIN_MS);
      return;
    }
    if (mine !== asking || !box.isConnected || box.dataset.from !== from) return;
    const held = box.contains(document.activeElement) ? document.activeElement : null;
    // By their words: what is drawn anew may have more of them, or fewer.
    const named = (each) => each.querySelector("summary").textContent;
    const open = new Set([...box.querySelectorAll(LASTING)].filter((each) => each.open).map(named));
    const again = box.dataset.holds === from;
    box.innerHTML = text;
    box.dataset.holds = from;
    if (again || review.keepOpen) {
      for (const each of box.querySelectorAll(LASTING)) if (open.has(named(each))) each.open = true;
    }
    review.keepOpen = false;
    if (held) refocus(box, held);
    link.repaint();
  }

  // The keyboard stays where it was, if its place is still there.
  function refocus(box, held) {
    const alike = held.id ? [document.getElementById(held.id)]
      : [...box.querySelectorAll(held.tagName)].filter((each) => each.dataset.review === held.dataset.review && each.dataset.text === held.dataset.text);
    const main = document.getElementById("content");
    (alike[0] || main).focus({preventScroll: true});
  }

  function drawAnew() {
    const box = document.getElementById("review-body");
    if (box) fill(box, box.dataset.from);
  }

  // Resolves to null when done, to a sentence when refused.
  async function change(action) {
    const viewer = sessionStorage.getItem("viewer");
    let answer;
    try {
      const told = await fetch("/review/act", {method: "POST", body: JSON.stringify({...action, viewer}),
        headers: {"Content-Type": "application/json"}});
      answer = await told.json();
    } catch (error) {
      return "The computer does not answer; look whether it was done.";
    }
    if (answer.refused) return answer.refused;
    const line = document.getElementById("review-told");
    if (line) line.textContent = answer.done;
    drawAnew();
    return null;
  }

  link.actions.review = async (button) => {
    const action = JSON.parse(button.dataset.review);
    const field = button.dataset.input && document.getElementById(button.dataset.input);
    if (field) action[action.do === "note" ? "text" : "reason"] = field.value;
    button.setAttribute("aria-disabled", "true");
    const refused = await change(action);
    button.removeAttribute("aria-disabled");
    if (link.refused(refused)) return;
    if (field) field.value = "";
    const open = button.closest("details.marking");
    if (open) open.open = false;
  };

  link.actions.show_metric = (button) => {
    const buttons = [...document.querySelectorAll("[data-act=show_metric]")];
    const pressed = (each) => each.getAttribute("aria-pressed") === "true";
    const chosen = buttons.filter((each) => pressed(each) !== (each === button)).map((each) => each.dataset.text);
    const to = new URL(location.href);
    if (chosen.length) to.searchParams.set("show", chosen.join(","));
    else to.searchParams.delete("show");
    link.review.keepOpen = true;
    go(decodeURIComponent(to.href));
  };

  document.addEventListener("change", (event) => {
    if (event.target.matches("select[data-go]")) go(event.target.value);
  });

  document.addEventListener("click", (event) => {
    const to = event.target.closest(".review a[href^='/']");
    if (!to || event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    go(to.getAttribute("href"));
    if (!to.hash) scrollTo(0, 0);
  });

  function localise() {
    if (point === ".") return;
    for (const node of document.querySelectorAll(".review .n")) {
      if (node.dataset.told === node.textContent) continue;
      for (const text of node.childNodes) {
        if (text.nodeType === Node.TEXT_NODE) text.nodeValue = text.nodeValue.replace(/(\d)\.(\d)/g, `$1${point}$2`);
      }
      node.dataset.told = node.textContent;
    }
  }

  function svg(name, values, text) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(values)) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  }

  // A mark for each task: circle, square, triangle.
  const MARKS = ["M-4.5,0a4.5,4.5 0 1,0 9,0a4.5,4.5 0 1,0 -9,0z", "M-4,-4h8v8h-8z", "M0,-5.5l5.2,9.5h-10.4z"];

  // Heights in order; a hollow mark does not count, a line to each side is one standard deviation.
  function bars(box) {
    const width = box.clientWidth, height = box.clientHeight;
    const key = `${width} ${height} ${box.dataset.bars}`;
    if (!width || box.dataset.drawn === key) return;
    box.dataset.drawn = key;
    const all = JSON.parse(box.dataset.bars);
    const lows = all.map((bar) => bar.value - (bar.sigma || 0)), highs = all.map((bar) => bar.value + (bar.sigma || 0));
    const pad = 0.01, low = Math.min(...lows) - pad, high = Math.max(...highs) + pad;
    const last = Math.max(...all.map((bar) => bar.place));
    const left = 42, right = 8, top = 8, bottom = 20;
    const x = (place) => left + (width - left - right) * (last === 1 ? 0.5 : (place - 1) / (last - 1));
    const y = (value) => top + (height - top - bottom) * (high - value) / (high - low);
    const drawn = svg("svg", {width, height, viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true"});
    const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5].find((each) => (high - low) / each <= 4) || 1;
    for (let value = Math.ceil(low / step) * step; value <= high; value += step) {
      drawn.append(svg("line", {class: "grid", x1: left, x2: width - right, y1: y(value), y2: y(value)}));
      drawn.append(svg("text", {class: "tick", x: left - 6, y: y(value) + 4, "text-anchor": "end"}, fixed(100 * value, 0)));
    }
    // Jumps of two tasks share no mean; each mean reaches from the task's first attempt to its last.
    const tasks = [...new Set(all.map((bar) => bar.task))];
    tasks.forEach((task, group) => {
      const counting = all.filter((bar) => bar.counts && bar.task === task);
      if (!counting.length) return;
      const mean = counting.reduce((sum, bar) => sum + bar.value, 0) / counting.length;
      const [from, to] = tasks.length === 1 ? [left, width - right]
        : [x(counting[0].place) - 10, x(counting.at(-1).place) + 10];
      drawn.append(svg("line", {class: `mean of${group}`, "data-mean": mean, x1: from, x2: to, y1: y(mean), y2: y(mean)}));
    });
    for (const bar of all) {
      const group = tasks.indexOf(bar.task);
      if (bar.sigma) drawn.append(svg("line", {class: `spread of${group}`, x1: x(bar.place), x2: x(bar.place), y1: y(bar.value - bar.sigma), y2: y(bar.value + bar.sigma)}));
      drawn.append(svg("path", {class: `dot of${group}${bar.counts ? "" : " hollow"}`, d: MARKS[group % MARKS.length], transform: `translate(${x(bar.place)} ${y(bar.value)})`}));
      if (last <= 12 || bar.place === 1 || bar.place % 5 === 0) {
        drawn.append(svg("text", {class: "tick", x: x(bar.place), y: height - 4, "text-anchor": "middle"}, bar.place));
      }
    }
    drawn.append(svg("text", {class: "tick", x: 2, y: 12}, "cm"));
    box.replaceChildren(drawn);
  }

  link.painters.push(() => {
    const body = document.getElementById("review-body");
    if (body && body.dataset.from !== body.dataset.asked) fill(body, body.dataset.from);
    localise();
    for (const box of document.querySelectorAll(".bars")) bars(box);
    const told = document.querySelector("[data-title]");
    if (told && document.title !== told.dataset.title) document.title = told.dataset.title;
    const locked = Boolean(link.page) && !link.page.controls && !["127.0.0.1", "localhost", "[::1]"].includes(location.hostname);
    document.body.classList.toggle("only-reads", locked);
    const part = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
    if (part && part.closest(".review") && review.taken !== location.href) {
      review.taken = location.href;
      part.scrollIntoView();
    }
  });

  // What Dash has just laid out is filled at once, not at the next beat.
  new MutationObserver(() => { if (document.querySelector(".review")) link.repaint(); })
    .observe(document.documentElement, {childList: true, subtree: true, attributeFilter: ["data-from"]});
})();
