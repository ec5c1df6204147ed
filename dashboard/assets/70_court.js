// The courtside view.
(() => {
  "use strict";
  const link = window.imujump, {say, options, fill, element} = link.dom, format = link.format;
  const RUN_STEP_S = 0.5, LIVE_AFTER_S = 1.0, RECENT_S = 4.0;
  let saidLast = null, seenAttempt = null, seenAtS = -Infinity;

  function unit(number) { return number.unit ? ` ${number.unit}` : ""; }

  function value(number) {
    return number.value === null ? "–" : format.fixed(number.value, number.decimals);
  }

  function sigma(number) {
    if (number.value === null) return "";
    return number.sigma === null ? "± ?" : `± ${format.fixed(number.sigma, number.decimals)}`;
  }

  function result(court) {
    const large = court.numbers.large, latest = court.latest;
    say("court-large-label", latest ? `${large.label} · attempt ${latest.attempt}${court.final ? "" : " · not final"}` : large.label);
    const node = say("court-large-value", latest ? value(large) : "–");
    if (node) node.classList.toggle("none", !latest);
    if (node) node.classList.toggle("struck", Boolean(latest && latest.invalid));
    say("court-large-unit", large.unit);
    say("court-large-sigma", latest ? sigma(large) : "");
    const doubts = [];
    if (latest && latest.invalid) doubts.push(`Not counted: ${latest.invalid}.`);
    if (latest && !latest.invalid) doubts.push(...latest.reasons);
    if (latest && large.doubt) doubts.push(large.doubt);
    const doubt = say("court-large-doubt", doubts.length ? `⚠ ${doubts.join(" ")}` : "");
    if (doubt) doubt.hidden = !doubts.length;
    fill("court-small", court.numbers.small.map((number) => [number, Boolean(latest), format.locale]), ([number, known]) => {
      const item = element("li", number.doubt && known ? "doubtful" : "",
        element("span", "label", number.label),
        element("span", "value", known ? value(number) : "–",
          element("small", "", number.unit, element("span", "sigma", known ? sigma(number) : ""))));
      item.title = number.meaning;
      if (number.doubt && known) item.append(element("span", "doubt", `⚠ ${number.doubt}`));
      return item;
    });
    // The large number at once, everything when it is final.
    const said = latest ? `${latest.attempt}:${court.final}` : "";
    if (latest && saidLast !== null && said !== saidLast) {
      const number = `${large.label} ${value(large)}${unit(large)} ${sigma(large)}`;
      const small = court.numbers.small.map((each) => `${each.label} ${value(each)}${unit(each)}`);
      say("court-said", court.final
        ? `Attempt ${latest.attempt}: ${number}. ${small.join(". ")}. ${doubts.join(" ")}`
        : `Attempt ${latest.attempt}, not final: ${number}.`);
    }
    saidLast = said;
  }

  // Whether somebody runs now, so that the picture must follow instead of showing the last attempt.
  function runsNow(latest) {
    const nowS = link.live.nowS;
    const strikes = [...link.live.feet.values()]
      .filter((foot) => foot.kind === "foot_strike" && foot.time_s > nowS - RECENT_S)
      .map((foot) => foot.time_s).sort((a, b) => a - b);
    if (!latest) return strikes.length > 0;
    const fresh = strikes.filter((time) => time > Math.max(latest.landing_s, seenAtS) + LIVE_AFTER_S);
    const last = fresh.slice(-3);
    return last.length === 3 && last[2] - last[1] < RUN_STEP_S && last[1] - last[0] < RUN_STEP_S;
  }

  function drawingOf(drawn) {
    return {feet: drawn.feet, steps: drawn.steps, zeroS: drawn.toe_off_s, untilS: drawn.landing_s + 1,
      toeOffS: drawn.toe_off_s, landingS: drawn.landing_s};
  }

  // What lies beneath: the picked attempt, else the highest; never the one that lies above.
  function beneath(court, running) {
    const {latest, picked} = court, by = court.choice.large === "height_flight_m" ? "" : " by height";
    if (picked && (running || picked.attempt !== latest.attempt)) return [picked, "Picked"];
    return running ? [court.best, `Best so far${by}`] : [court.best_before, `Best before this one${by}`];
  }

  let followsNow = false, lower = null;
  function pictures(court) {
    const latest = court.latest;
    if (latest && latest.attempt !== seenAttempt) {
      seenAttempt = latest.attempt;
      seenAtS = link.live.nowS;
      followsNow = false;
    }
    followsNow = followsNow ? [...link.live.feet.values()].some((foot) => foot.time_s > link.live.nowS - 12) : runsNow(latest);
    const now = document.getElementById("court-now"), other = document.getElementById("court-other");
    if (!now) return;
    const running = followsNow || !latest, [compared, why] = beneath(court, running);
    lower = compared;
    const shown = [latest, compared].filter(Boolean).map(drawingOf);
    const beforeS = link.rhythm.before(shown);
    let drawing, caption;
    if (running) {
      const feet = [...link.live.feet.values()];
      drawing = {feet, steps: link.rhythm.earlySteps(feet), zeroS: link.live.nowS - link.rhythm.AFTER_S,
        untilS: link.live.nowS, toeOffS: null, landingS: null};
      caption = latest || followsNow ? `Now · attempt ${court.attempt_count + 1}` : "Now · waiting for the run-up";
    } else {
      drawing = drawingOf(latest);
      if (!court.final) drawing.steps = drawing.steps.map((step) => ({...step, early: true}));
      caption = `Attempt ${latest.attempt} · ${latest.take_off}`;
      if (court.best_before && court.best.attempt === latest.attempt) caption += " · the best so far";
      if (latest.cues.length) caption += ` · cue: ${latest.cues.join(", ")}`;
    }
    link.rhythm.draw(now, drawing, beforeS, format);
    now.dataset.follows = String(running);
    const early = drawing.steps.some((step) => step.early);
    caption += ` · ms from touchdown to touchdown, m/s${early ? " (≈ not final)" : ""}`;
    say("court-now-caption", caption);
    if (!followsNow) now.setAttribute("aria-label", `${caption}. ${link.rhythm.said(drawing, format)}`);
    if (compared) {
      const drawn = drawingOf(compared);
      const row = court.list.find((each) => each.attempt === compared.attempt);
      const text = `${why} · attempt ${compared.attempt} · ${value(row.number)}${unit(row.number)}`;
      link.rhythm.draw(other, drawn, beforeS, format);
      say("court-other-caption", text);
      other.setAttribute("aria-label", `${text}. ${link.rhythm.said(drawn, format)}`);
    } else {
      say("court-other-caption", "Nothing to compare with yet");
      other.replaceChildren();
      delete other.dataset.drawn;
    }
    const picks = court.list.map((each) => [String(each.attempt),
      `attempt ${each.attempt} · ${value(each.number)}${unit(each.number)}${each.valid ? "" : " · not counted"}`]);
    options("court-pick", [["", "the best"], ...picks], court.picked ? String(court.picked.attempt) : "");
  }

  function setAndLog(court) {
    say("court-set-number", String(court.set.number));
    say("court-set-count", court.set.valid === court.set.attempts ? String(court.set.attempts) : `${court.set.attempts} (${court.set.valid} count)`);
    say("court-rest", court.set.rest_from_s === null ? "–" : format.clock(link.nowS() - court.set.rest_from_s));
    const hint = say("court-hint", court.set.hint || "");
    if (hint) hint.hidden = !court.set.hint;
    const pain = say("court-pain", court.pain);
    if (pain) pain.className = court.pain_noted ? "noted" : "";
    const undo = document.getElementById("court-undo");
    if (undo) undo.setAttribute("aria-disabled", String(!court.can_undo));
    fill("court-log-list", court.log, (entry) => element("li", "",
      element("strong", "", entry.what), entry.text ? ` ${entry.text}` : "",
      entry.attempt === null ? "" : element("small", "", ` attempt ${entry.attempt}`)));
  }

  link.painters.push(() => {
    if (!document.getElementById("court-large-value") || !link.page) return;
    const court = link.page.court;
    result(court);
    pictures(court);
    setAndLog(court);
    link.strip.draw(document.getElementById("court-strip"), link.live, link.live.nowS);
  });

  let halfSpeed = false;
  link.actions.half_speed = (button) => {
    halfSpeed = !halfSpeed;
    button.setAttribute("aria-pressed", String(halfSpeed));
  };
  function hear(drawn) {
    if (drawn) link.sound.replay(drawn, halfSpeed ? 0.5 : 1);
    else link.refused("There is no attempt to hear yet.");
  }
  link.actions.hear = () => hear(link.page && link.page.court.latest);
  link.actions.hear_beneath = () => hear(lower);
  async function words(kind) {
    const field = document.getElementById("court-words");
    if (!link.refused(await link.act({do: kind, text: field.value}))) {
      // React holds the field's value: tell it that a person emptied it.
      Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(field, "");
      field.dispatchEvent(new Event("input", {bubbles: true}));
    }
  }
  link.actions.cue_words = () => words("cue");
  link.actions.seen_words = () => words("seen");
  document.addEventListener("change", async (event) => {
    if (event.target.id !== "court-pick") return;
    const chosen = event.target.value;
    event.target.blur();
    link.refused(await link.act({do: "pick", attempt: chosen ? Number(chosen) : null}));
    link.repaint();
  });
})();
