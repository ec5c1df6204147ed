// Trends and athletes: the graph and the way from a dot to its session, facts, the report.
(() => {
  "use strict";
  const link = window.imujump;
  const AHEAD_MS = 3000;

  const SETTINGS = {displayModeBar: false, responsive: true};

  // Graphs need a large script: it comes when somebody is about to open one, or has looked a while.
  let ahead = false;
  function loadAhead() {
    if (ahead || window.Plotly) return;
    ahead = true;
    const script = document.createElement("script");
    script.src = window._dashPlotlyJSURL;
    script.onload = () => link.repaint();
    script.onerror = () => { ahead = false; };
    document.head.append(script);
  }
  for (const sign of ["pointerover", "focusin"]) {
    document.addEventListener(sign, (event) => {
      if (event.target.closest && event.target.closest("a[href^='/trends']")) loadAhead();
    });
  }

  function draw(box) {
    if (box.dataset.drawn) return;
    if (!window.Plotly) { loadAhead(); return; }
    box.dataset.drawn = "yes";
    const {data, layout} = JSON.parse(box.dataset.figure);
    window.Plotly.newPlot(box, data, layout, SETTINGS);
    box.on("plotly_click", (event) => {
      const [point] = event.points;
      if (point && point.customdata) link.review.go(`/session/${point.customdata[0]}`);
    });
  }

  // What has left the page still listens to the window's size.
  const drawn = new Set();
  let waits = 0;
  link.painters.push(() => {
    if (!waits && document.querySelector(".review")) waits = setTimeout(loadAhead, AHEAD_MS);
    for (const box of document.querySelectorAll("[data-figure]")) {
      draw(box);
      if (box.dataset.drawn) drawn.add(box);
    }
    for (const box of drawn) {
      if (!box.isConnected) { window.Plotly.purge(box); drawn.delete(box); }
    }
  });

  function fields(button) {
    const told = {};
    for (const field of button.closest("[data-fields]").querySelectorAll("[name]")) told[field.name] = field.value;
    return told;
  }

  link.actions.facts = async (button) => {
    button.setAttribute("aria-disabled", "true");
    const refused = await link.review.change({...JSON.parse(button.dataset.review), facts: fields(button)});
    button.removeAttribute("aria-disabled");
    if (link.refused(refused)) return;
    const open = button.closest("details");
    if (open) open.open = false;
  };

  link.actions.report = async (button) => {
    const told = new URLSearchParams(Object.entries(fields(button)).filter(([, text]) => text.trim()));
    button.setAttribute("aria-disabled", "true");
    try {
      const answer = await fetch(`/review/report/${button.dataset.text}?${told}`);
      if (!answer.ok) { link.refused((await answer.json()).told); return; }
      const name = decodeURIComponent((answer.headers.get("content-disposition") || "").split("''")[1] || "report.html");
      const here = document.createElement("a");
      here.href = URL.createObjectURL(await answer.blob());
      here.download = name;
      here.click();
      setTimeout(() => URL.revokeObjectURL(here.href), 60000);
    } catch (error) {
      link.refused("The computer does not answer; the report was not made.");
    } finally {
      button.removeAttribute("aria-disabled");
    }
  };
})();
