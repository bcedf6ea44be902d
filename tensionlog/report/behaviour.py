"""The page's own script: puts colours in, draws what comes into sight, prints in black."""

from typing import Final

SCRIPT: Final = """
(() => {
  "use strict";
  const palettes = JSON.parse(document.getElementById("palettes").textContent);
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const plots = [...document.querySelectorAll(".plot")];
  const specs = new Map();
  const drawnAt = new Map();
  const TALLEST = 660;
  let printing = false;

  const onScreen = () => dark.matches ? palettes.dark : palettes.light;
  const palette = () => printing ? palettes.print : onScreen();

  const spec = (plot) => {
    if (!specs.has(plot)) {
      specs.set(plot, JSON.parse(plot.parentNode.querySelector("script").textContent));
    }
    return specs.get(plot);
  };

  // Colours stand in a figure by role, "var(--ink)"; this puts today's values in.
  const painted = (node, colours) => {
    if (typeof node === "string") {
      return node.startsWith("var(--") ? colours[node.slice(4, -1)] ?? node : node;
    }
    if (Array.isArray(node)) return node.map((item) => painted(item, colours));
    if (node !== null && typeof node === "object") {
      return Object.fromEntries(Object.entries(node).map(([k, v]) => [k, painted(v, colours)]));
    }
    return node;
  };

  const isLarge = (plot) => !printing && plot.closest(".cell.large") !== null;

  const ratioOf = (layout) => layout.meta && layout.meta.ratio;

  // On a phone the bed takes the room of its margins, and its names are a little smaller.
  const tighten = (layout) => {
    Object.assign(layout.margin, { l: 27, r: 37, t: 32, b: 44 });
    for (const label of layout.annotations) label.font.size *= 0.82;
  };

  const heightFor = (plot, layout, width) => {
    const ratio = ratioOf(layout);
    if (ratio) {
      const m = layout.margin;
      const spare = width - m.l - m.r - TALLEST / ratio;
      if (spare > 0) {  // a long head would fill more than a screen
        m.l += spare / 2;
        m.r += spare / 2;
      }
      return Math.round((width - m.l - m.r) * ratio) + m.t + m.b;
    }
    if (plot.dataset.small) return isLarge(plot) ? 360 : Number(plot.dataset.small);
    return layout.height || 320;
  };

  const draw = (plot) => {
    const figure = painted(spec(plot), palette());
    const width = printing ? Number(plot.dataset.print) : plot.clientWidth;
    if (!width) return;
    const large = isLarge(plot);
    figure.layout.width = width;
    if (ratioOf(figure.layout) && width < 430) tighten(figure.layout);
    figure.layout.height = heightFor(plot, figure.layout, width);
    if (large) {
      Object.assign(figure.data[1], { mode: "markers+text", cliponaxis: false });
      figure.data[1].marker.size = 11;
      figure.data[2].visible = true;
      figure.layout.font.size = 13;
      figure.layout.margin = { l: 64, r: 16, t: 16, b: 30 };
    }
    Plotly.newPlot(plot, figure.data, figure.layout, {
      displayModeBar: false,
      staticPlot: printing || (Boolean(plot.dataset.small) && !large),
    });
    drawnAt.set(plot, width);
  };

  const drawn = () => plots.filter((plot) => drawnAt.has(plot));

  const near = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (entry.isIntersecting && !drawnAt.has(entry.target)) draw(entry.target);
    }
  }, { rootMargin: "600px" });
  plots.forEach((plot) => {
    if (plot.dataset.small) plot.style.minHeight = plot.dataset.small + "px";
    near.observe(plot);
  });

  let resizing = 0;
  addEventListener("resize", () => {
    cancelAnimationFrame(resizing);
    resizing = requestAnimationFrame(() => {
      if (printing) return;
      drawn().filter((plot) => drawnAt.get(plot) !== plot.clientWidth).forEach(draw);
    });
  });
  dark.addEventListener("change", () => drawn().forEach(draw));
  let seen = [];
  addEventListener("beforeprint", () => {
    seen = drawn();
    printing = true;
    plots.forEach(draw);
  });
  addEventListener("afterprint", () => {
    printing = false;
    drawnAt.clear();  // what was drawn for paper alone is drawn anew when it comes near
    seen.forEach(draw);
  });

  document.querySelectorAll(".cell button").forEach((button) => {
    button.addEventListener("click", () => {
      const cell = button.closest(".cell");
      const large = cell.classList.toggle("large");
      button.setAttribute("aria-expanded", String(large));
      draw(cell.querySelector(".plot"));
      if (large) cell.scrollIntoView({ block: "nearest" });
    });
  });
})();
"""
