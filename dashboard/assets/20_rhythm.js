// The rhythm picture: seen from above, the athlete runs to the right; the left foot's contacts lie
// in the upper lane, the right foot's in the lower one, along time. A thread joins the touchdowns.
(() => {
  "use strict";
  const SVG = "http://www.w3.org/2000/svg";
  const LEAST_S = 2.2, MOST_S = 4.5, AFTER_S = 0.9, OPEN_S = 0.7, UNSEEN_S = 0.2;

  function make(name, values, text) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(values)) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  }

  // Contacts of one side: from each strike to the next toe-off, dashed while that is not known.
  function contacts(feet, side, untilS) {
    const found = [];
    for (const foot of feet) {
      if (foot.side !== side) continue;
      const last = found[found.length - 1];
      if (foot.kind === "foot_strike") found.push({side, fromS: foot.time_s, toS: null});
      else if (last && last.toS === null) last.toS = foot.time_s;
    }
    found.forEach((each, k) => {
      if (each.toS !== null) return;
      const next = found[k + 1];
      each.open = true;
      each.toS = Math.min(each.fromS + (next ? UNSEEN_S : OPEN_S), next ? next.fromS : untilS);
    });
    return found;
  }

  // How much time before take-off all pictures show, so that they have one scale.
  function before(drawings) {
    const needs = drawings.filter((each) => each.toeOffS !== null && each.feet.length)
      .map((each) => each.toeOffS - Math.min(...each.feet.map((foot) => foot.time_s)) + 0.15);
    return Math.min(MOST_S, Math.max(LEAST_S, ...needs));
  }

  // drawing: {feet, steps, zeroS, untilS, toeOffS, landingS}; times of one axis, zeroS is take-off.
  function draw(box, drawing, beforeS, format) {
    const width = box.clientWidth, height = box.clientHeight;
    if (!width || !height) return;
    const key = JSON.stringify([drawing, beforeS, width, height, format.locale]);
    if (box.dataset.drawn === key) return;
    box.dataset.drawn = key;
    const svg = make("svg", {width, height, viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true"});
    const x = (timeS) => width * (timeS - drawing.zeroS + beforeS) / (beforeS + AFTER_S);
    const lane = height * 0.3, upper = height * 0.03, lower = height - upper - lane;
    const middle = height / 2, size = Math.max(11, Math.min(height * 0.15, width * 0.028));
    svg.append(make("rect", {class: "lane", x: 0, y: upper, width, height: lane}));
    svg.append(make("rect", {class: "lane", x: 0, y: lower, width, height: lane}));
    // Numbers stand on a ground of their own, all grounds below all numbers: none eats into another.
    const grounds = make("g", {class: "ground"}), numbers = make("g", {});
    const number = (className, at, y, font, text) => {
      const place = {x: at, y, "font-size": font, "text-anchor": "middle"};
      grounds.append(make("text", place, text));
      numbers.append(make("text", {class: className, ...place}, text));
    };
    const feet = [...drawing.feet].sort((a, b) => a.time_s - b.time_s);
    const all = [...contacts(feet, "left", drawing.untilS), ...contacts(feet, "right", drawing.untilS)]
      .sort((a, b) => a.fromS - b.fromS)
      .filter((each) => x(each.toS) > 0 && x(each.fromS) < width);

    if (drawing.toeOffS !== null) {
      const from = x(drawing.toeOffS), to = x(drawing.landingS);
      svg.append(make("path", {class: "flight",
        d: `M ${from} ${middle} C ${from + (to - from) * 0.25} ${upper}, ${from + (to - from) * 0.75} ${upper}, ${to} ${middle}`}));
      svg.append(make("line", {class: "take-off", x1: from, x2: from, y1: 0, y2: height}));
      number("flight-time", (from + to) / 2, middle + size * 0.9, size,
        format.whole(1000 * (drawing.landingS - drawing.toeOffS)));
    }
    const edge = (each) => each.side === "left" ? upper + lane : lower;
    const steps = all.filter((each) => drawing.toeOffS === null || each.fromS < drawing.toeOffS);
    for (let k = 1; k < steps.length; k += 1) {
      svg.append(make("line", {class: "thread", x1: x(steps[k - 1].fromS), y1: edge(steps[k - 1]),
        x2: x(steps[k].fromS), y2: edge(steps[k])}));
    }
    for (const each of all) {
      const top = each.side === "left" ? upper : lower;
      const from = x(each.fromS), span = Math.max(3, x(each.toS) - from);
      svg.append(make("rect", {class: `contact ${each.side}${each.open ? " open" : ""}`, x: from, y: top,
        width: span, height: lane, rx: Math.min(6, span / 3)}));
      if (span > size * 0.9) {
        svg.append(make("text", {class: "foot", x: from + span / 2, y: top + lane / 2 + size * 0.36,
          "font-size": size, "text-anchor": "middle"}, each.side === "left" ? "L" : "R"));
      }
    }
    for (let k = 1; k < steps.length; k += 1) {
      const stepS = steps[k].fromS - steps[k - 1].fromS;
      const known = drawing.steps.find((step) => Math.abs(step.strike_s - steps[k].fromS) < 0.03);
      if (stepS < 0.12 || stepS > 1.2) continue;
      const at = (x(steps[k].fromS) + x(steps[k - 1].fromS)) / 2;
      if (x(steps[k].fromS) - x(steps[k - 1].fromS) < size * 1.7) continue;
      const fast = known && known.speed_mps !== null, early = fast && Boolean(known.early);
      number("step-time", at, middle + size * (fast ? -0.1 : 0.36), size, format.whole(1000 * stepS));
      if (fast) {
        number(early ? "step-speed early" : "step-speed", at, middle + size * 0.9, size * 0.88,
          (early ? "≈" : "") + format.fixed(known.speed_mps, 1));
      }
    }
    svg.append(grounds, numbers);
    box.replaceChildren(svg);
    box.dataset.contacts = all.length;
    box.dataset.open = all.filter((each) => each.open).length;
  }

  // Speeds of steps that are known while the athlete runs; the measured ones take their place.
  function earlySteps(feet) {
    return feet.filter((foot) => foot.kind === "foot_strike" && typeof foot.speed_mps === "number")
      .map((foot) => ({strike_s: foot.time_s, speed_mps: foot.speed_mps, early: true}));
  }

  function said(drawing, format) {
    const strikes = drawing.feet.filter((foot) => foot.kind === "foot_strike")
      .sort((a, b) => a.time_s - b.time_s);
    const before = strikes.filter((foot) => drawing.toeOffS === null || foot.time_s < drawing.toeOffS);
    const steps = before.slice(1).map((foot, k) =>
      `${foot.side} ${format.whole(1000 * (foot.time_s - before[k].time_s))}`);
    return steps.length ? `Step times in milliseconds, by the foot that lands: ${steps.join(", ")}.` : "No steps.";
  }

  window.imujump.rhythm = {AFTER_S, before, draw, earlySteps, said};
})();
