// The setup page.
(() => {
  "use strict";
  const link = window.imujump, {say, show, options, fill, element} = link.dom;
  const PLACES = {left_shank: "Left shank", right_shank: "Right shank", pelvis: "Pelvis"};
  const SIGNS = {"good": "✓", "look at it": "⚠", "not usable": "✗"};

  function phase(page) {
    const capture = page.capture;
    const words = {
      none: "Not connected.", starting: "Looking for sensors …", running: "Connected; everything is recorded.",
      finished: "The session has ended.", died: `The capture has stopped. ${capture.sentence || ""}`,
    };
    const file = capture.recording ? ` Recording: ${capture.recording}` : "";
    return words[capture.phase] + (capture.phase === "none" ? "" : file);
  }

  function judged(sensor) {
    const box = element("div", "judged", element("h3", "", `${SIGNS[sensor.verdict]} ${PLACES[sensor.placement]}: ${sensor.verdict}`));
    if (sensor.findings.length) {
      box.append(element("ul", "", ...sensor.findings.map((found) => element("li", "",
        `${found.item}: ${found.reason}. `, element("strong", "", found.remedy ? `${found.remedy}.` : "")))));
    }
    return box;
  }

  link.painters.push(() => {
    const page = link.page;
    if (!document.getElementById("setup-start") || !page) return;
    options("setup-athlete", [["", "– pick one –"], ...page.athletes.map((name) => [name, name])], page.setup.athlete);
    for (const name of ["task", "surface", "shoe", "source"]) {
      const node = document.getElementById(`setup-${name}`);
      if (document.activeElement !== node && node.value !== page.setup[name]) node.value = page.setup[name];
    }
    const chosen = page.court.choice;
    for (const [id, value] of [["setup-large", chosen.large], ...[0, 1, 2].map((k) => [`setup-small-${k}`, chosen.small[k] || ""])]) {
      const node = document.getElementById(id);
      if (document.activeElement !== node && node.value !== value) node.value = value;
    }
    say("setup-phase", phase(page));
    const busy = page.capture.phase === "running" || page.capture.phase === "starting";
    const checking = Boolean(page.check && page.check.running);
    show("setup-connect", !busy);
    show("setup-check-begin", page.capture.phase === "running" && !checking);
    show("setup-check-end", checking);
    const sensors = page.check ? page.check.sensors : [];
    fill("setup-check", checking ? [null] : sensors, (sensor) =>
      sensor ? judged(sensor) : element("p", "", "Checking: stand still, walk, stamp with each foot, then finish."));
    const others = page.viewers - 1;
    say("setup-viewers", `${others ? `${others} other ${others === 1 ? "device or tab looks" : "devices or tabs look"} on. ` : "Nobody else looks on. "}${page.controls ? "This one controls." : "Another one controls."}`);
    fill("setup-invite", page.invitation ? [page.invitation] : [], (invitation) => {
      const picture = element("img", "");
      picture.src = invitation.picture;
      picture.alt = "The same address and code as a picture for a camera";
      return element("div", "invite", picture, element("div", "", element("p", "", `Open ${invitation.address} and type`),
        element("p", "code", invitation.code), element("p", "", "It is good once, for one device.")));
    });
  });

  document.addEventListener("change", async (event) => {
    const node = event.target;
    if (node.id === "setup-athlete" || (node.dataset && node.dataset.field)) {
      const value = node.value, field = node.dataset.field || "athlete";
      node.blur();
      link.refused(await link.act({do: "setup", [field]: value}));
    } else if (/^setup-(large|small-\d)$/.test(node.id || "")) {
      const at = (id) => document.getElementById(id).value;
      const large = at("setup-large"), small = [0, 1, 2].map((k) => at(`setup-small-${k}`)).filter(Boolean);
      node.blur();
      link.refused(await link.act({do: "choose", large, small}));
    }
    link.repaint();
  });

  link.actions.add_athlete = async () => {
    const name = document.getElementById("setup-name");
    if (link.refused(await link.act({do: "add_athlete", name: name.value}))) return;
    Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(name, "");
    name.dispatchEvent(new Event("input", {bubbles: true}));
    name.closest("details").open = false;
  };
  link.actions.begin_and_go = async () => {
    if (!link.refused(await link.act({do: "begin"}))) location.assign("/");
  };
})();
