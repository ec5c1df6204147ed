// What stands around every page, and what buttons do.
(() => {
  "use strict";
  const {say, show, fill, element} = window.imujump.dom;
  const link = window.imujump;
  const LETTERS = ["left_shank", "right_shank", "pelvis"];
  const STALE_S = 1.5, REFUSAL_MS = 6000;
  let refusal = null, refusalTimer = 0;

  function refused(text) {
    if (!text) return false;
    refusal = text;
    clearTimeout(refusalTimer);
    refusalTimer = setTimeout(() => { refusal = null; link.repaint(); }, REFUSAL_MS);
    link.repaint();
    return true;
  }
  link.refused = refused;

  function sensorState(sensor, phase) {
    if (!sensor || phase !== "running") return ["off", "–", "no sensor"];
    if (!sensor.linked) return ["bad", "lost", "link lost"];
    if (sensor.sentence) return ["doubtful", "look", sensor.sentence];
    const battery = sensor.battery_percent;
    if (battery !== null && battery !== undefined && battery < 15) return ["doubtful", `${battery} %`, `battery ${battery} %`];
    return ["good", "ok", "good"];
  }

  function messages(page) {
    const found = [];
    if (!link.up) {
      found.push(["bad", link.everUp
        ? "Connection lost. Trying again; the capture goes on without this page."
        : "Connecting to the computer …"]);
    }
    if (page) {
      const capture = page.capture;
      if (capture.phase === "died") {
        found.push(["bad", `The capture has stopped. ${capture.sentence || ""} What was recorded until then is kept.`, "restart"]);
      }
      if (capture.trouble) found.push(["bad", capture.trouble]);
      if (capture.kept) found.push(["note", capture.kept]);
      for (const sensor of capture.phase === "running" ? link.live.sensors : []) {
        if (sensor.sentence) found.push(["doubtful", sensor.sentence]);
      }
      for (const warning of capture.warnings.slice(-2)) found.push(["doubtful", warning]);
    }
    if (refusal) found.push(["doubtful", refusal]);
    return found;
  }

  link.painters.push(() => {
    const page = link.page;
    fill("shell-messages", messages(page), ([kind, text, act]) => {
      const line = element("p", kind, text);
      if (act) {
        const button = element("button", "", "Start again");
        button.type = "button";
        button.dataset.act = act;
        line.append(" ", button);
      }
      return line;
    });
    const path = location.pathname;
    const under = document.querySelector("[data-under]");
    for (const node of document.querySelectorAll("#shell-pages a")) {
      const at = new URL(node.href).pathname;
      if (at === path) node.setAttribute("aria-current", "page");
      else if (under && at === under.dataset.under) node.setAttribute("aria-current", "true");
      else node.removeAttribute("aria-current");
    }
    document.body.classList.toggle("reviews", path !== "/" && path !== "/setup");
    if (!page) return;
    const words = {none: "No session", starting: "Looking for sensors …", running: "Live", finished: "Session ended", died: "Capture stopped"};
    const control = page.controls ? "" : " · looking on";
    const state = say("shell-link", link.up ? words[page.capture.phase] + control : "No connection");
    if (state) state.className = link.up ? page.capture.phase : "lost";
    say("shell-athlete", page.court.begin.athlete || page.setup.athlete || "");
    const count = page.court.attempt_count;
    say("shell-attempt", count ? `Attempt ${count}` : "No attempt yet");
    for (const placement of LETTERS) {
      const node = document.getElementById(`shell-sensor-${placement}`);
      if (!node) continue;
      const sensor = link.live.sensors.find((each) => each.placement === placement);
      const [kind, text, title] = sensorState(sensor, page.capture.phase);
      if (node.className !== kind) node.className = kind;
      if (node.title !== title) node.title = title;
      const told = node.querySelector(".told");
      if (told.textContent !== text) told.textContent = text;
    }
    document.body.classList.toggle("looks-on", !page.controls);
    show("setup-take-control", !page.controls);
    show("court-take-control", !page.controls);
  });

  const actions = link.actions = {
    theme(button) {
      const dark = !isDark();
      document.documentElement.dataset.theme = dark ? "dark" : "light";
      localStorage.setItem("theme", dark ? "dark" : "light");
      button.setAttribute("aria-pressed", String(dark));
      for (const box of document.querySelectorAll(".rhythm")) delete box.dataset.drawn;
      link.repaint();
    },
    sound(button) { button.setAttribute("aria-pressed", String(link.sound.toggle())); },
  };

  function isDark() {
    const chosen = document.documentElement.dataset.theme;
    return chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  }

  link.painters.push(() => {
    const button = document.querySelector("[data-act=theme]");
    if (button) button.setAttribute("aria-pressed", String(isDark()));
    const heard = document.querySelector("[data-act=sound]");
    if (heard) heard.setAttribute("aria-pressed", String(link.sound.on));
  });

  document.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-act]");
    if (!button || button.getAttribute("aria-disabled") === "true") return;
    const name = button.dataset.act;
    if (actions[name]) { actions[name](button); return; }
    const answer = await link.act({do: name, text: button.dataset.text || ""});
    if (!refused(answer)) {
      button.classList.add("done");
      setTimeout(() => button.classList.remove("done"), 900);
    }
  });
})();
