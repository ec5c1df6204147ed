// The attempt's picture under mouse, fingers and keys: what is meant, moved, brought closer.
(() => {
  "use strict";
  const link = window.imujump, figure = link.figure;
  const NEAR = 9;
  const fingers = new Map();
  let node = null, drag = null;

  // The plot that lies there: with two attempts side by side each has its own.
  const plotAt = (x) => {
    const all = figure.plots(node.clientWidth);
    return all.length > 1 && x > node.clientWidth / 2 ? all[1] : all[0];
  };
  const spanS = (view) => view.toS - view.fromS;
  const timeAt = (x) => {
    const {left, right} = plotAt(x);
    return figure.view.fromS + spanS(figure.view) * (x - left) / (right - left);
  };

  function nearest(x) {
    const {of, left, right} = plotAt(x);
    if (!of.includes(figure.own)) return null;
    const perS = (right - left) / spanS(figure.view);
    let best = null, far = NEAR;
    for (const event of figure.events) {
      const apart = Math.abs(left + (event.time_s - figure.own.zeroS - figure.view.fromS) * perS - x);
      if (apart < far) { far = apart; best = event; }
    }
    return best;
  }

  function zoom(factor, aboutS) {
    if (factor === 0) { const all = figure.whole(); figure.show(all.fromS, all.toS); return; }
    const {fromS, toS} = figure.view, about = aboutS === undefined ? (fromS + toS) / 2 : aboutS;
    figure.show(about - (about - fromS) * factor, about + (toS - about) * factor);
  }

  function pan(share) {
    const by = share * spanS(figure.view);
    figure.show(figure.view.fromS + by, figure.view.toS + by);
  }

  link.actions.zoom = (button) => zoom(Number(button.dataset.text));
  link.actions.pan = (button) => pan(Number(button.dataset.text));
  link.actions.axis = (button) => {
    const axis = button.dataset.text;
    if (figure.axes.has(axis)) figure.axes.delete(axis); else figure.axes.add(axis);
    button.setAttribute("aria-pressed", String(figure.axes.has(axis)));
    figure.redraw();
  };

  function listen(canvas) {
    node = canvas;
    canvas.addEventListener("pointerdown", (event) => {
      fingers.set(event.pointerId, event.offsetX);
      if (fingers.size > 1) { drag = null; return; }
      const mark = nearest(event.offsetX);
      if (mark && figure.pick) figure.pick(mark);
      const editing = mark && !document.body.classList.contains("only-reads");
      drag = {x: event.offsetX, mark: editing ? mark : null, fromS: mark && mark.time_s, view: {...figure.view}, moved: false};
      canvas.setPointerCapture(event.pointerId);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (fingers.size === 2 && fingers.has(event.pointerId)) {
        const [a, b] = [...fingers.values()], before = Math.abs(a - b), middle = timeAt((a + b) / 2);
        fingers.set(event.pointerId, event.offsetX);
        const [c, d] = [...fingers.values()];
        if (before > 10 && Math.abs(c - d) > 10) zoom(before / Math.abs(c - d), middle);
        return;
      }
      if (!drag) { canvas.style.cursor = nearest(event.offsetX) ? "ew-resize" : "grab"; return; }
      const {left, right} = plotAt(drag.x);
      const byS = (event.offsetX - drag.x) * spanS(drag.view) / (right - left);
      if (Math.abs(event.offsetX - drag.x) < 2 && !drag.moved) return;
      drag.moved = true;
      if (drag.mark) { if (figure.dragged) figure.dragged(drag.mark, drag.fromS + byS, false); }
      else figure.show(drag.view.fromS - byS, drag.view.toS - byS);
    });
    const end = (event) => {
      fingers.delete(event.pointerId);
      if (drag && drag.mark && drag.moved && figure.dragged) figure.dragged(drag.mark, drag.mark.time_s, true, drag.fromS);
      drag = null;
    };
    canvas.addEventListener("pointerup", end);
    canvas.addEventListener("pointercancel", end);
    canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      zoom(Math.exp(0.0025 * event.deltaY), timeAt(event.offsetX));
    }, {passive: false});
    canvas.addEventListener("dblclick", () => zoom(0));
    canvas.addEventListener("keydown", (event) => {
      const keys = {"+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2), Home: () => zoom(0), ArrowLeft: () => pan(-0.1), ArrowRight: () => pan(0.1)};
      if (!keys[event.key]) return;
      event.preventDefault();
      keys[event.key]();
    });
  }

  figure.listen = listen;
})();
