"use strict";
/* The string bed and the last trace, drawn without a library. Each state of a string has a
   stroke of its own; the accent only repeats what the stroke says. */
const Draw = (() => {
  const SVG = "http://www.w3.org/2000/svg";
  const make = (name, attributes, ...inside) => {
    const node = document.createElementNS(SVG, name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    inside.forEach((child) => child && node.append(child));
    return node;
  };
  const label = (x, y, text, kind) => {
    const node = make("text", {x, y, class: kind});
    node.textContent = text;
    return node;
  };

  /* One string: a line; lost strings sag and break, the next one carries an arrow head. */
  const stroke = (name, state, isNext, x0, y0, x1, y1) => {
    const kind = isNext ? "next" : state || "open";
    const group = make("g", {class: `string ${kind}`, "data-string": name});
    group.append(make("line", {x1: x0, y1: y0, x2: x1, y2: y1}));
    const mx = (x0 + x1) / 2, my = (y0 + y1) / 2, upright = x0 === x1;
    if (kind === "lost") {
      const d = upright ? `M${mx - 5} ${my}h10M${mx - 5} ${my + 6}h10` :
        `M${mx} ${my - 5}v10M${mx + 6} ${my - 5}v10`;
      group.append(make("path", {d, class: "mark"}));
    }
    if (kind === "off") group.append(make("circle", {cx: mx, cy: my, r: 4, class: "mark"}));
    group.append(make("line", {x1: x0, y1: y0, x2: x1, y2: y1, class: "touch"}));
    return group;
  };

  const bed = (info, next, onString) => {
    const long = 300, wide = Math.max(160, Math.min(300, long * info.ratio));
    const pad = 36, w = wide + 2 * pad, h = long + 2 * pad;
    const cx = w / 2, cy = h / 2, rx = wide / 2, ry = long / 2;
    const root = make("svg", {viewBox: `0 0 ${w} ${h}`, class: "bed", role: "img"});
    root.append(make("ellipse", {cx, cy, rx: rx + 9, ry: ry + 9, class: "frame"}));
    const at = (i, n) => (((i + 0.5) / n) * 2 - 1) * 0.93;
    const chord = (x) => Math.sqrt(Math.max(1 - x * x, 0.05));
    const strings = [];
    info.mains.forEach(([name, state], i) => {
      const x = at(i, info.mains.length), half = ry * chord(x);
      strings.push([name, state, cx + rx * x, cy - half, cx + rx * x, cy + half]);
    });
    info.crosses.forEach(([name, state], i) => {
      const y = at(i, info.crosses.length), half = rx * chord(y);
      strings.push([name, state, cx - half, cy + ry * y, cx + half, cy + ry * y]);
    });
    let last = null;
    strings.forEach((string) => {
      const [name, state, ...ends] = string;
      if (name === next) { last = string; return; }
      root.append(stroke(name, state, false, ...ends));
    });
    if (last !== null) {
      const [name, state, x0, y0, x1, y1] = last;
      root.append(stroke(name, state, true, x0, y0, x1, y1));
      const upright = x0 === x1;
      const head = upright ? `M${x0 - 9} ${y0 - 24}h18l-9 15z` : `M${x0 - 24} ${y0 - 9}v18l15 -9z`;
      root.append(make("path", {d: head, class: "pointer"}));
      root.append(upright ? label(x0, cy + ry + 31, name, "name") :
        label(w - 19, y0 + 6, name, "name"));
    }
    root.addEventListener("click", (event) => {
      const group = event.target.closest("[data-string]");
      if (group) onString(group.dataset.string);
    });
    return root;
  };

  /* The trace: force over time, the target as a dashed line, the release as a drop line. */
  const trace = (canvas, live, last, words) => {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
    const pen = canvas.getContext("2d"), style = getComputedStyle(canvas);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    const shown = live.points.length ? live : last;
    if (!shown || !shown.points.length) return;
    const points = shown.points, end = Math.max(6, points[points.length - 1][0]);
    const top = Math.max(shown.target || 0, ...points.map((p) => p[1])) * 1.08 || 1;
    const x = (t) => 6 + ((width - 12) * (t + 0.3)) / (end + 0.3);
    const y = (f) => height - 6 - ((height - 26) * Math.max(f, 0)) / top;
    const ink = style.getPropertyValue("--ink"), soft = style.getPropertyValue("--soft");
    const accent = style.getPropertyValue("--accent");
    pen.font = "600 14px system-ui, sans-serif";
    if (shown.target) {
      pen.strokeStyle = soft;
      pen.lineWidth = 1.5;
      pen.setLineDash([7, 5]);
      pen.beginPath();
      pen.moveTo(0, y(shown.target));
      pen.lineTo(width, y(shown.target));
      pen.stroke();
      pen.setLineDash([]);
      pen.fillStyle = soft;
      pen.textAlign = "right";
      pen.fillText(words["trace.target"], width - 6, y(shown.target) - 6);
    }
    pen.strokeStyle = ink;
    pen.lineWidth = 2.5;
    pen.lineJoin = "round";
    pen.beginPath();
    points.forEach(([t, f], i) => (i ? pen.lineTo(x(t), y(f)) : pen.moveTo(x(t), y(f))));
    pen.stroke();
    if (shown.release) {
      const [t, f] = shown.release;
      pen.strokeStyle = pen.fillStyle = accent;
      pen.lineWidth = 2.5;
      pen.beginPath();
      pen.moveTo(x(t), y(f) + 7);
      pen.lineTo(x(t), height - 24);
      pen.stroke();
      pen.beginPath();
      pen.arc(x(t), y(f), 6, 0, 7);
      pen.stroke();
      pen.textAlign = x(t) > width / 2 ? "right" : "left";
      pen.fillText(words["trace.release"], x(t) + (x(t) > width / 2 ? -8 : 8), height - 10);
    }
  };

  /* A verdict's mark: two strings. Level: good. One aslant: look. One parted: bad. */
  const mark = (tone) => {
    const low = {good: "M8 38h48", look: "M8 34L56 52", bad: "M8 38h15M41 38h15M25 30l5 16M34 30l5 16"};
    return make("svg", {viewBox: "0 0 64 64", class: `mark ${tone}`, "aria-hidden": "true"},
      make("path", {d: "M8 22h48"}), make("path", {d: low[tone] || "M8 38h48"}));
  };
  return {bed, trace, mark};
})();
