// Rhythm by ear: a short tone for each foot strike, the left one lower and from the left.
(() => {
  "use strict";
  const LEFT_HZ = 440, RIGHT_HZ = 660, TONE_S = 0.07, LATE_S = 1.0;
  const sound = window.imujump.sound = {on: false, played: 0, lasts: 0, toggle, replay};
  let context = null;
  // Another page of ours goes on with it; a browser may want a tap before it lets a page be heard.
  sound.on = sessionStorage.getItem("sound") === "on";
  for (const touch of ["pointerdown", "keydown"]) {
    document.addEventListener(touch, () => { if (sound.on) ready(); }, {once: true});
  }

  function ready() {
    context = context || new AudioContext();
    context.resume();
    return context;
  }

  function tone(side, atS) {
    const tone = context.createOscillator(), loudness = context.createGain();
    const place = context.createStereoPanner();
    tone.type = side === "left" ? "triangle" : "square";
    tone.frequency.value = side === "left" ? LEFT_HZ : RIGHT_HZ;
    place.pan.value = side === "left" ? -0.6 : 0.6;
    loudness.gain.setValueAtTime(side === "left" ? 0.5 : 0.25, atS);
    loudness.gain.exponentialRampToValueAtTime(0.001, atS + TONE_S);
    tone.connect(loudness).connect(place).connect(context.destination);
    tone.start(atS);
    tone.stop(atS + TONE_S);
    sound.played += 1;
  }

  function toggle() {
    sound.on = !sound.on;
    sessionStorage.setItem("sound", sound.on ? "on" : "off");
    if (sound.on) ready();
    return sound.on;
  }

  function replay(drawn, speed) {
    const strikes = drawn.feet.filter((foot) => foot.kind === "foot_strike");
    if (!strikes.length) return;
    const startS = ready().currentTime + 0.1, times = strikes.map((foot) => foot.time_s);
    const first = Math.min(...times);
    for (const foot of strikes) tone(foot.side, startS + (foot.time_s - first) / speed);
    sound.lasts = (Math.max(...times) - first) / speed;
  }

  window.imujump.onFoot.push((foot) => {
    const fresh = window.imujump.live.nowS - foot.time_s < LATE_S;
    if (sound.on && foot.standing === "early" && foot.kind === "foot_strike" && fresh) {
      tone(foot.side, ready().currentTime);
    }
  });
})();
