// The attempt's picture: contacts, speed and height of the pelvis, and the signals of all sensors on
// one axis of time, on a canvas. Samples are thinned to the lowest and highest of each pixel column.
(() => {
  "use strict";
  const link = window.imujump;
  const {fixed} = link.format;
  const SENSORS = [["left_shank", "Left shank"], ["right_shank", "Right shank"], ["pelvis", "Pelvis"]];
  const KINDS = [["acceleration, m/s²", 0], ["turning rate, °/s", 3]];
  const AXES = ["x", "y", "z"];
  const GUTTER = 46, HEAD = 22, CONTACTS = 58, COURSE = 84, SIGNAL = 96, GAP = 18, LEAST_S = 0.05;
  const MARGIN = 6, SIDE_LEAST = 700;

  const figure = link.figure = {
    own: null, other: null, view: null, axes: new Set(AXES), picked: null, painted: 0, tookMs: 0,
    thin, redraw, show, whole, plots, ready: false, events: [], moved: null, drop: null,
  };
  let asked = "", node = null, colours = {};
  const kept = new Map();

  // Lowest and highest of the samples in each column: [low, high, …]; NaN where there is none.
  function thin(values, first, last, columns) {
    const out = new Float32Array(2 * columns).fill(NaN);
    const perColumn = (last - first) / columns;
    for (let column = 0; column < columns; column += 1) {
      const from = Math.max(0, Math.floor(first + column * perColumn));
      const to = Math.min(values.length, Math.max(from + 1, Math.floor(first + (column + 1) * perColumn)));
      let low = Infinity, high = -Infinity;
      for (let k = from; k < to; k += 1) {
        const value = values[k];
        if (value < low) low = value;
        if (value > high) high = value;
      }
      if (high >= low) { out[2 * column] = low; out[2 * column + 1] = high; }
    }
    return out;
  }

  function unpack(text) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    return new Float32Array(bytes.buffer);
  }

  function extent(values) {
    let low = Infinity, high = -Infinity;
    for (const value of values) { if (value < low) low = value; if (value > high) high = value; }
    return [low, high];
  }

  async function fetched(drawn) {
    if (kept.has(drawn.stamp)) return kept.get(drawn.stamp);
    const answer = await fetch(`/review/signals/${drawn.attempt}`);
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.told);
    const signals = {};
    for (const [placement, sensor] of Object.entries(told.signals)) {
      const channels = sensor.channels.map(unpack);
      signals[placement] = {channels, missing: sensor.missing, extents: channels.map(extent)};
    }
    const course = told.course && {startS: told.course.start_s, speed: unpack(told.course.speed_mps), height: unpack(told.course.height_m)};
    const found = {startS: told.start_s, stepS: told.step_s, signals, course};
    kept.set(drawn.stamp, found);
    while (kept.size > 4) kept.delete(kept.keys().next().value);
    return found;
  }

  async function load(canvas) {
    const drawn = JSON.parse(canvas.dataset.drawn), other = JSON.parse(canvas.dataset.other);
    const zeroOf = (each) => canvas.dataset.align === "plant" && each.plant_s !== null ? each.plant_s : each.take_off_s;
    figure.ready = false;
    figure.own = {drawn, zeroS: zeroOf(drawn), data: null};
    figure.other = other && {drawn: other, zeroS: zeroOf(other), data: null};
    figure.events = drawn.events.map((event) => ({...event}));
    figure.picked = null;
    if (figure.loaded) figure.loaded();
    const wanted = addressed();
    figure.view = wanted || whole();
    redraw();
    const told = [], mine = asked;
    for (const each of [figure.own, figure.other]) {
      if (!each) continue;
      try { each.data = await fetched(each.drawn); } catch (error) { told.push(error.message); }
      if (mine !== asked) return;
    }
    link.dom.say("attempt-told", told.join(" "));
    link.dom.show("attempt-told", told.length > 0);
    figure.ready = true;
    redraw();
  }

  function whole() {
    const both = [figure.own, figure.other].filter(Boolean);
    return {
      fromS: Math.min(...both.map((each) => Math.min(each.drawn.start_s, ...each.drawn.events.map((e) => e.time_s)) - each.zeroS)) - 0.1,
      toS: Math.max(...both.map((each) => Math.max(each.drawn.end_s, ...each.drawn.events.map((e) => e.time_s)) - each.zeroS)) + 0.1,
    };
  }

  function addressed() {
    const told = (new URLSearchParams(location.search).get("span") || "").split("_").map(Number);
    return told.length === 2 && told.every(Number.isFinite) && told[1] - told[0] >= LEAST_S
      ? {fromS: told[0], toS: told[1]} : null;
  }

  // The address keeps what is shown, without a new entry in the history.
  let timer = 0;
  function show(fromS, toS) {
    const limits = whole(), most = 3 * (limits.toS - limits.fromS);
    const span = Math.min(Math.max(toS - fromS, LEAST_S), most), middle = (fromS + toS) / 2;
    const centre = Math.min(Math.max(middle, limits.fromS), limits.toS);
    figure.view = {fromS: centre - span / 2, toS: centre + span / 2};
    clearTimeout(timer);
    timer = setTimeout(() => {
      const to = new URL(location.href), all = Math.abs(span - (limits.toS - limits.fromS)) < 1e-6;
      if (all) to.searchParams.delete("span");
      else to.searchParams.set("span", `${figure.view.fromS.toFixed(3)}_${figure.view.toS.toFixed(3)}`);
      history.replaceState(history.state, "", to);
    }, 250);
    redraw();
  }

  function redraw() {
    if (figure.due) return;
    figure.due = true;
    requestAnimationFrame(() => { figure.due = false; draw(); });
  }

  // Two attempts stand side by side where there is room for it, else over each other.
  const beside = () => Boolean(figure.other) && node.dataset.lay === "side" && node.clientWidth >= SIDE_LEAST;

  // Edges of the plots, each with the attempts that it shows.
  function plots(width) {
    const all = [figure.own, figure.other].filter(Boolean);
    if (!beside()) return [{of: all, left: GUTTER, right: width - MARGIN}];
    return all.map((each, k) => ({of: [each], left: k * width / 2 + GUTTER, right: (k + 1) * width / 2 - MARGIN}));
  }

  function lanes() {
    const found = [{kind: "contacts", of: figure.own, height: CONTACTS}];
    if (figure.other && !beside()) found.push({kind: "contacts", of: figure.other, height: CONTACTS});
    found.push({kind: "speed", title: "Pelvis: speed, m/s", height: COURSE});
    found.push({kind: "height", title: "Pelvis: height over standing, cm", height: COURSE});
    for (const [placement, name] of SENSORS) {
      for (const [title, first] of KINDS) found.push({kind: "signal", placement, first, title: `${name}: ${title}`, height: SIGNAL});
    }
    let top = HEAD;
    for (const lane of found) { lane.top = top; top += lane.height + GAP; }
    return [found, top];
  }

  function draw() {
    const canvas = document.getElementById("attempt-figure");
    if (!canvas || !figure.view || canvas !== node) return;
    const began = performance.now();
    const [all, height] = lanes(), width = canvas.clientWidth, scale = Math.min(window.devicePixelRatio || 1, 2);
    if (!width) return;
    if (canvas.style.height !== `${height}px`) canvas.style.height = `${height}px`;
    if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
      canvas.width = Math.round(width * scale);
      canvas.height = Math.round(height * scale);
    }
    const style = getComputedStyle(canvas);
    for (const name of ["card", "ink", "soft", "line", "lane", "left", "right", "pelvis", "on-left", "on-right", "focus", "warn-paper", "axis-x", "axis-y"]) {
      colours[name] = style.getPropertyValue(`--${name}`).trim();
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.font = "12px system-ui, sans-serif";
    for (const edges of plots(width)) {
      const plot = {...edges, pen, bottom: height - GAP};
      plot.x = (timeS) => plot.left + (plot.right - plot.left) * (timeS - figure.view.fromS) / (figure.view.toS - figure.view.fromS);
      axis(plot);
      for (const lane of all) {
        pen.save();
        if (lane.kind === "contacts") contacts(plot, lane);
        else if (lane.kind === "signal") signals(plot, lane);
        else courses(plot, lane);
        pen.restore();
      }
      marks(plot, all);
    }
    figure.painted += 1;
    figure.tookMs = performance.now() - began;
    canvas.dataset.ready = String(figure.ready);
  }

  function axis(plot) {
    const {pen} = plot, {fromS, toS} = figure.view;
    const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5].find((each) => (toS - fromS) / each <= (plot.right - plot.left) / 85) || 10;
    pen.fillStyle = colours.soft;
    pen.strokeStyle = colours.line;
    pen.textAlign = "center";
    const zero = figure.own && document.getElementById("attempt-figure").dataset.align === "plant" ? "plant" : "take-off";
    for (let k = Math.ceil(fromS / step); k * step <= toS; k += 1) {
      const x = plot.x(k * step);
      pen.beginPath();
      pen.moveTo(x, HEAD - 4);
      pen.lineTo(x, plot.bottom);
      pen.stroke();
      pen.fillText(k === 0 ? zero : `${fixed(k * step, step < 0.1 ? 2 : 1).replace("-", "−")} s`, Math.min(Math.max(x, plot.left - 16), plot.right - 18), 13);
    }
  }

  function paired(events) {
    const found = [];
    for (const side of ["left", "right"]) {
      let open = null;
      for (const event of events.filter((each) => each.side === side).sort((a, b) => a.time_s - b.time_s)) {
        if (event.kind === "foot_strike") {
          if (open) found.push(open);
          open = {side, fromS: event.time_s, toS: null};
        } else {
          found.push(open ? {...open, toS: event.time_s} : {side, fromS: null, toS: event.time_s});
          open = null;
        }
      }
      if (open) found.push(open);
    }
    return found;
  }

  function clip(plot, lane) {
    plot.pen.beginPath();
    plot.pen.rect(plot.left, lane.top, plot.right - plot.left, lane.height);
    plot.pen.clip();
  }

  const eventsOf = (each) => each === figure.own ? figure.events : each.drawn.events;

  function contacts(plot, lane) {
    const {pen} = plot, half = (lane.height - 6) / 2, of = beside() ? plot.of[0] : lane.of;
    const events = eventsOf(of);
    pen.fillStyle = colours.ink;
    pen.textAlign = "left";
    pen.fillText("L", plot.left - 16, lane.top + half / 2 + 4);
    pen.fillText("R", plot.left - 16, lane.top + half * 1.5 + 10);
    if (figure.other) pen.fillText(of === figure.own ? "this" : "other", plot.left - 44, lane.top + half + 7);
    clip(plot, lane);
    pen.fillStyle = colours.lane;
    pen.fillRect(plot.left, lane.top, plot.right, half);
    pen.fillRect(plot.left, lane.top + half + 6, plot.right, half);
    for (const each of paired(events)) {
      const from = plot.x((each.fromS === null ? each.toS - 0.05 : each.fromS) - of.zeroS);
      const to = plot.x((each.toS === null ? each.fromS + 0.2 : each.toS) - of.zeroS);
      const top = lane.top + (each.side === "left" ? 0 : half + 6);
      pen.globalAlpha = each.fromS === null || each.toS === null ? 0.55 : 1;
      pen.fillStyle = colours[each.side];
      pen.fillRect(from, top, Math.max(2, to - from), half);
      pen.globalAlpha = 1;
      if (to - from > 42) {
        pen.fillStyle = colours[`on-${each.side}`];
        pen.textAlign = "center";
        if (each.fromS !== null && each.toS !== null) pen.fillText(fixed(1000 * (each.toS - each.fromS), 0), (from + to) / 2, top + half / 2 + 4);
      }
    }
    const from = plot.x(of.drawn.take_off_s - of.zeroS), to = plot.x(of.drawn.landing_s - of.zeroS);
    pen.strokeStyle = colours.ink;
    pen.setLineDash([6, 4]);
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.moveTo(from, lane.top + half + 3);
    pen.bezierCurveTo(from + (to - from) / 4, lane.top - half * 0.4, to - (to - from) / 4, lane.top - half * 0.4, to, lane.top + half + 3);
    pen.stroke();
  }

  function line(plot, lane, values, startS, stepS, zeroS, low, high) {
    const {pen} = plot, columns = Math.round(plot.right - plot.left);
    const first = (figure.view.fromS + zeroS - startS) / stepS, last = (figure.view.toS + zeroS - startS) / stepS;
    const y = (value) => lane.top + lane.height * (high - value) / (high - low);
    pen.beginPath();
    if (last - first > 2 * columns) {
      const thinned = thin(values, first, last, columns);
      for (let column = 0; column < columns; column += 1) {
        const least = thinned[2 * column];
        if (Number.isNaN(least)) continue;
        pen.lineTo(plot.left + column, y(least));
        pen.lineTo(plot.left + column, y(thinned[2 * column + 1]));
      }
    } else {
      const end = Math.min(values.length - 1, Math.ceil(last) + 1);
      for (let k = Math.max(0, Math.floor(first) - 1); k <= end; k += 1) pen.lineTo(plot.x(startS + k * stepS - zeroS), y(values[k]));
    }
    pen.stroke();
  }

  function scale(plot, lane, low, high, unit) {
    const {pen} = plot, step = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000].find((each) => (high - low) / (each * unit) <= 4);
    pen.textAlign = "left";
    pen.fillStyle = colours.ink;
    pen.fillText(lane.title, plot.left, lane.top - 4);
    pen.fillStyle = colours.soft;
    pen.textAlign = "right";
    if (!step) return;
    for (let k = Math.ceil(low / (step * unit)); k * step * unit <= high; k += 1) {
      const y = lane.top + lane.height * (high - k * step * unit) / (high - low);
      pen.fillText(String(k * step), plot.left - 4, Math.min(y + 4, lane.top + lane.height));
      pen.fillRect(plot.left - 2, y, 3, 1);
    }
  }

  function nothing(plot, lane, text) {
    plot.pen.fillStyle = colours.soft;
    plot.pen.textAlign = "left";
    plot.pen.fillText(text, plot.left + 8, lane.top + lane.height / 2);
  }

  function courses(plot, lane) {
    const both = [figure.own, figure.other].filter((each) => each && each.data && each.data.course);
    const values = both.map((each) => each.data.course[lane.kind]);
    if (!values.length) {
      scale(plot, lane, 0, 0, 1);
      if (figure.ready) nothing(plot, lane, "no motion of the pelvis to show");
      return;
    }
    const extents = values.map(extent);
    const low = Math.min(0, ...extents.map((each) => each[0])) * 1.08 - 0.01, high = Math.max(...extents.map((each) => each[1])) * 1.05 + 0.01;
    scale(plot, lane, low, high, lane.kind === "height" ? 0.01 : 1);
    clip(plot, lane);
    pen(plot.pen, "line", 1);
    const zero = lane.top + lane.height * high / (high - low);
    plot.pen.beginPath();
    plot.pen.moveTo(plot.left, zero);
    plot.pen.lineTo(plot.right, zero);
    plot.pen.stroke();
    both.forEach((each, k) => {
      if (!plot.of.includes(each)) return;
      const plain = each === plot.of[0];
      pen(plot.pen, plain ? "pelvis" : "ink", plain ? 2 : 1.5);
      plot.pen.setLineDash(plain ? [] : [6, 4]);
      line(plot, lane, values[k], each.data.course.startS, each.data.stepS, each.zeroS, low, high);
    });
  }

  function pen(on, colour, width) { on.strokeStyle = colours[colour]; on.lineWidth = width; }

  const AXIS_COLOURS = {x: "axis-x", y: "axis-y", z: "ink"};

  function signals(plot, lane) {
    const both = [figure.other, figure.own].filter((each) => each && each.data && each.data.signals[lane.placement]);
    const channels = AXES.map((axis, k) => [axis, lane.first + k]).filter(([axis]) => figure.axes.has(axis));
    if (!both.length || !channels.length) {
      scale(plot, lane, 0, 0, 1);
      if (figure.ready) nothing(plot, lane, channels.length ? "no samples of this sensor" : "no axis is chosen");
      return;
    }
    const ranges = both.flatMap((each) => channels.map(([, k]) => each.data.signals[lane.placement].extents[k]));
    const pad = 0.04 * (Math.max(...ranges.map((r) => r[1])) - Math.min(...ranges.map((r) => r[0]))) + 1e-6;
    const low = Math.min(...ranges.map((r) => r[0])) - pad, high = Math.max(...ranges.map((r) => r[1])) + pad;
    scale(plot, lane, low, high, 1);
    clip(plot, lane);
    for (const each of both.filter((one) => plot.of.includes(one))) {
      const sensor = each.data.signals[lane.placement], own = each === plot.of[0];
      if (own) {
        plot.pen.fillStyle = colours["warn-paper"];
        for (const [from, to] of sensor.missing) {
          const x = plot.x(each.data.startS + from * each.data.stepS - each.zeroS);
          plot.pen.fillRect(x, lane.top, Math.max(1, plot.x(each.data.startS + to * each.data.stepS - each.zeroS) - x), lane.height);
        }
      }
      for (const [axis, k] of channels) {
        pen(plot.pen, AXIS_COLOURS[axis], own ? 1.2 : 1);
        plot.pen.globalAlpha = own ? 1 : 0.55;
        plot.pen.setLineDash(own ? [] : [4, 3]);
        line(plot, lane, sensor.channels[k], each.data.startS, each.data.stepS, each.zeroS, low, high);
      }
    }
  }

  function marks(plot, all) {
    const {pen: on} = plot, [of] = plot.of;
    for (const event of eventsOf(of)) {
      const x = plot.x(event.time_s - of.zeroS);
      if (x < plot.left - 1 || x > plot.right + 1) continue;
      const picked = event === figure.picked;
      on.strokeStyle = picked ? colours.focus : colours[event.side];
      on.lineWidth = picked ? 3 : 1;
      on.setLineDash(event.kind === "toe_off" ? [2, 3] : []);
      for (const lane of all) {
        const mine = lane.placement === `${event.side}_shank` || lane.placement === "pelvis" || lane.kind === "speed" || lane.kind === "height";
        if (!mine && !(lane.kind === "contacts" && (beside() || lane.of === of))) continue;
        on.beginPath();
        on.moveTo(x, lane.top);
        on.lineTo(x, lane.top + lane.height);
        on.stroke();
      }
      on.setLineDash([]);
      if (event.hand) {
        on.fillStyle = colours.focus;
        on.beginPath();
        on.moveTo(x - 5, HEAD - 6);
        on.lineTo(x + 5, HEAD - 6);
        on.lineTo(x, HEAD);
        on.fill();
      }
    }
  }

  link.painters.push(() => {
    const canvas = document.getElementById("attempt-figure");
    if (!canvas) { node = null; asked = ""; figure.view = null; figure.own = null; return; }
    if (canvas !== node) {
      if (!figure.listen) return;
      node = canvas;
      asked = "";
      figure.listen(canvas);
    }
    const key = `${canvas.dataset.align} ${canvas.dataset.drawn} ${canvas.dataset.other}`;
    if (key !== asked) { asked = key; load(canvas); return; }
    const looks = `${canvas.clientWidth} ${document.documentElement.dataset.theme} ${matchMedia("(prefers-color-scheme: dark)").matches}`;
    if (looks !== figure.looks) { figure.looks = looks; redraw(); }
  });
})();
