// The signal strip: the last eight seconds of the three sensors, on a canvas.
(() => {
  "use strict";
  const SPAN_S = 8, TOP_G = 8;
  const ROWS = [["left_shank", "L", "--left"], ["pelvis", "P", "--pelvis"], ["right_shank", "R", "--right"]];

  function draw(canvas, live, nowS) {
    const ratio = window.devicePixelRatio || 1;
    const width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
    if (!width || !height) return;
    if (canvas.width !== width || canvas.height !== height) { canvas.width = width; canvas.height = height; }
    const style = getComputedStyle(document.documentElement), ink = canvas.getContext("2d");
    ink.clearRect(0, 0, width, height);
    const row = height / ROWS.length, margin = row * 1.2;
    ink.font = `600 ${Math.round(row * 0.7)}px system-ui, sans-serif`;
    ink.textBaseline = "middle";
    ROWS.forEach(([placement, letter, colour], k) => {
      const ground = row * (k + 1) - ratio;
      ink.strokeStyle = ink.fillStyle = style.getPropertyValue(colour).trim();
      ink.fillText(letter, ratio * 2, ground - row / 2);
      ink.lineWidth = 1.5 * ratio;
      ink.beginPath();
      let last = null;
      for (const [timeS, value] of live.strip[placement] || []) {
        const x = margin + (width - margin) * (1 - (nowS - timeS) / SPAN_S);
        const y = ground - Math.sqrt(Math.min(value, TOP_G) / TOP_G) * (row - 2 * ratio);
        if (last === null || timeS - last > 0.2) ink.moveTo(x, y); else ink.lineTo(x, y);
        last = timeS;
      }
      ink.stroke();
    });
  }

  window.imujump.strip = {draw};
})();
