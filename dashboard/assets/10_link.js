// The page's line to the server: keeps the newest state, notices when the line is dead, acts.
(() => {
  "use strict";
  const DEAD_MS = 5000, FIRST_WAIT_MS = 300, LONGEST_WAIT_MS = 4000, STRIP_S = 8, FEET_KEPT = 80;
  const ACT_MS = 4000;

  const viewer = sessionStorage.getItem("viewer") || Array.from(
    crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
  sessionStorage.setItem("viewer", viewer);

  const link = window.imujump = {
    page: null,
    live: {nowS: 0, atMs: 0, sensors: [], feet: new Map(), strip: {}},
    up: false, everUp: false, painters: [], onFoot: [], act, repaint, nowS,
    painted: 0,
  };
  let socket = null, heardMs = 0, waitMs = FIRST_WAIT_MS, taken = 0, count = 0, due = false;
  const waiting = new Map();

  // Monotonic, so that a change of the wall clock moves nothing.
  function nowS() {
    const running = link.page && link.page.capture.phase === "running";
    const lagS = (performance.now() - link.live.atMs) / 1000;
    return link.live.nowS + (running ? Math.min(lagS, 600) : 0);
  }

  function connect() {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const mine = socket = new WebSocket(`${scheme}//${location.host}/push`);
    heardMs = performance.now();
    taken = 0;
    mine.onopen = () => mine.send(JSON.stringify({viewer}));
    mine.onmessage = (event) => { if (mine === socket) take(JSON.parse(event.data)); };
    mine.onclose = () => { if (mine === socket) lost(); };
  }

  function lost() {
    socket = null;
    link.up = false;
    for (const done of waiting.values()) done("The connection was lost; this was not done.");
    waiting.clear();
    repaint();
    setTimeout(connect, waitMs * (0.75 + Math.random() / 2));
    waitMs = Math.min(2 * waitMs, LONGEST_WAIT_MS);
  }

  function dropIfDead() {
    if (socket && performance.now() - heardMs > DEAD_MS) {
      const dead = socket;
      socket = null;
      dead.close();
      lost();
    }
  }

  function take(message) {
    heardMs = performance.now();
    taken += 1;
    waitMs = FIRST_WAIT_MS;
    link.up = link.everUp = true;
    if (message.page) link.page = message.page;
    if (message.live) takeLive(message.live, Boolean(message.whole));
    if ("done" in message && waiting.has(message.done)) {
      waiting.get(message.done)(message.refused);
      waiting.delete(message.done);
    }
    if (document.hidden) acknowledge();
    repaint();
  }

  function takeLive(news, whole) {
    const live = link.live;
    if (whole) { live.feet.clear(); live.strip = {}; }
    live.nowS = news.now_s;
    live.atMs = performance.now();
    live.sensors = news.sensors;
    for (const foot of news.feet) {
      // A strike is told again when the speed of its step is known.
      const again = live.feet.has(foot.number);
      if (foot.standing === "withdrawn") live.feet.delete(foot.number);
      else live.feet.set(foot.number, foot);
      if (!whole && !again) for (const told of link.onFoot) told(foot);
    }
    while (live.feet.size > FEET_KEPT) live.feet.delete(live.feet.keys().next().value);
    for (const [placement, points] of Object.entries(news.strip)) {
      const kept = live.strip[placement] || (live.strip[placement] = []);
      kept.push(...points);
      const last = kept.length ? kept[kept.length - 1][0] : 0;
      let old = 0;
      while (old < kept.length && kept[old][0] < last - STRIP_S) old += 1;
      kept.splice(0, old);
    }
  }

  function acknowledge() {
    if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({drawn: taken}));
  }

  function repaint() {
    if (due) return;
    due = true;
    requestAnimationFrame(() => {
      due = false;
      for (const paint of link.painters) paint(link);
      link.painted += 1;
      acknowledge();
    });
  }

  // Resolves to null when done, to a sentence when refused.
  function act(action) {
    return new Promise((resolve) => {
      if (!socket || socket.readyState !== WebSocket.OPEN || !link.up) {
        resolve("There is no connection; this was not done.");
        return;
      }
      const id = ++count;
      const timer = setTimeout(() => {
        waiting.delete(id);
        resolve("The computer did not answer; look whether it was done.");
      }, ACT_MS);
      waiting.set(id, (refused) => { clearTimeout(timer); resolve(refused); });
      socket.send(JSON.stringify({id, act: action}));
    });
  }

  // Seen again, or awake again: the newest state is all that counts.
  function comeBack() {
    if (document.hidden) { due = false; return; }
    heardMs = Math.max(heardMs, performance.now() - DEAD_MS / 2);
    if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({whole: true}));
    due = false;
    repaint();
  }
  document.addEventListener("visibilitychange", comeBack);
  document.addEventListener("resume", comeBack);
  window.addEventListener("online", () => { if (!socket) { waitMs = FIRST_WAIT_MS; } });
  window.addEventListener("resize", repaint);
  setInterval(() => { dropIfDead(); repaint(); }, 500);
  connect();
})();
