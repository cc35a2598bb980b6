// Numbers of every blow down a drive, side by side over one axis of depth, with the soil beside them; restrikes below.
const TITLE = 28, FOOT = 40, SIDE = 52, BETWEEN = 26, STRIP = 66;

export default function (component) {
  const root = component.parentElement;
  const profiles = root.dyntestProfiles || (root.dyntestProfiles = build(root));
  profiles.send = component.setTriggerValue;
  profiles.receive(component.data);
  return () => profiles.leave();
}

function build(root) {
  const S = { root, data: null, brush: null, zoom: null };
  const bar = element("div", { class: "dyntest-record-bar", role: "toolbar", "aria-label": "Depths drawn" }, root);
  S.told = element("span", { class: "dyntest-record-readout", "aria-live": "polite" }, bar);
  element("span", { class: "dyntest-record-space" }, bar);
  const button = (words, title, act) => {
    const made = element("button", { type: "button", title }, bar, words);
    made.addEventListener("click", act);
    return made;
  };
  S.closer = button("Zoom in", "Draw only the selected depths, in every column", () => { S.zoom = S.brush; S.brush = null; draw(); });
  S.all = button("All depths", "Draw all depths (or double-click)", () => { S.zoom = S.brush = null; draw(); });
  S.svg = node("svg", { class: "marks dyntest-profiles", role: "img", width: "100%", tabindex: 0 }, root);

  S.receive = (data) => {
    if (S.data && S.data.test !== data.test) S.brush = S.zoom = null;
    S.data = data;
    if (!S.sizes) { S.sizes = new ResizeObserver(() => draw()); S.sizes.observe(root); }
    draw();
  };
  S.leave = () => { if (S.sizes) { S.sizes.disconnect(); S.sizes = null; } };

  function draw() {
    const D = S.data;
    if (!D || !root.isConnected) return;
    const wide = Math.max(root.clientWidth, 320), colours = D.colours, tall = D.tall;
    const soilWide = D.soil.length ? 92 : 0;
    const room = (wide - soilWide - 10) / D.columns.length;
    const [low, high] = S.zoom || D.domain;
    const titles = D.columns.map((column, place) => wrap(column.title, Math.floor((room - 6 - (place === 0 ? SIDE : BETWEEN)) / 6.6)));
    const HEAD = S.head = TITLE + 15 * Math.max(2, ...titles.map((lines) => lines.length));
    const y = (v) => HEAD + ((v - low) / (high - low || 1)) * tall;
    S.back = (py) => low + ((py - HEAD) / tall) * (high - low);
    const svg = S.svg;
    svg.replaceChildren();
    S.points = [];
    const strips = D.strips, total = HEAD + tall + strips.length * (STRIP + 8) + FOOT;
    const text = (px, py, words, more, parent) => node("text", { x: px, y: py, fill: colours.ink, "font-size": 12.5, ...more }, parent || svg, words);
    if (D.soil.length) {
      const box = node("g", { class: "soil" }, svg);
      text(4, HEAD - 12, "soil", { fill: colours.quiet }, box);
      for (const layer of D.soil) {
        const from = Math.max(y(layer.top), HEAD), to = Math.min(y(layer.bottom), HEAD + tall);
        if (to <= from) continue;
        node("rect", { x: 2, y: from, width: soilWide - 14, height: to - from, fill: layer.colour, opacity: 0.22, stroke: colours.quiet, "stroke-width": 0.7 }, box);
        const lines = wrap(layer.words, 12);
        lines.slice(0, Math.max(0, Math.floor((to - from - 4) / 14))).forEach((line, k) => text(6, from + 14 + 14 * k, line, { "font-size": 11.5 }, box));
      }
    }
    D.columns.forEach((column, place) => {
      const left = soilWide + place * room + (place === 0 ? SIDE : BETWEEN), right = soilWide + (place + 1) * room - 6;
      const group = node("g", { class: "column", "data-column": column.key }, svg);
      let least = Infinity, most = -Infinity;
      const look = (v) => { if (v !== null && isFinite(v)) { if (v < least) least = v; if (v > most) most = v; } };
      for (const one of column.series) one.value.forEach(look);
      for (const one of column.series) if (one.low) { one.low.forEach(look); one.high.forEach(look); }
      for (const one of column.limits) look(one.value);
      if (!isFinite(least)) { least = 0; most = 1; }
      if (least > 0 && least < 0.45 * most) least = 0;
      const air = 0.05 * (most - least || Math.abs(most) || 1);
      least -= least === 0 ? 0 : air;
      most += air;
      const x = (v) => left + ((v - least) / (most - least)) * (right - left);
      titles[place].forEach((line, k) => text((left + right) / 2, 14 + 15 * k, line, { "text-anchor": "middle", "font-size": 13 }, group));
      const depths = ticks(low, high, 8);
      for (const t of depths) {
        node("line", { x1: left, x2: right, y1: y(t), y2: y(t), stroke: colours.line }, group);
        if (place === 0) text(left - 6, y(t) + 4, shown(t, decimals(depths)), { "text-anchor": "end" }, group);
      }
      const bottom = HEAD + tall + strips.length * (STRIP + 8);
      let values = ticks(least, most, Math.max(3, Math.floor((right - left) / 52)));
      if (values.length < 2) values = ticks(least, most, 6);  // one label gives no scale
      for (const t of values) {
        node("line", { x1: x(t), x2: x(t), y1: HEAD, y2: bottom, stroke: colours.line }, group);
        text(x(t), bottom + 16, shown(t, decimals(values)), { "text-anchor": "middle" }, group);
      }
      text((left + right) / 2, bottom + 33, column.unit, { "text-anchor": "middle", fill: colours.quiet }, group);
      const clip = `clip-${D.key}-${place}`;
      node("rect", { x: left - 5, y: HEAD - 4, width: right - left + 10, height: bottom - HEAD + 8 }, node("clipPath", { id: clip }, group));
      const inside = node("g", { "clip-path": `url(#${clip})` }, group);
      for (const one of column.limits) {
        const px = x(one.value), near = px > (left + right) / 2;
        node("line", { x1: px, x2: px, y1: HEAD, y2: bottom, stroke: one.colour, "stroke-width": 1.6, "stroke-dasharray": "9 3 2 3", class: "limit" }, group);
        const space = near ? px - left : right - px;  // words stay within their column, on several lines if need be
        wrap(one.words.replace(/(\d) (?=\S+$)/, "$1\u00a0"), Math.max(1, Math.floor((space - 4) / 5.9))).forEach((line, k) =>
          text(px + (near ? -4 : 4), HEAD + 13 + 14 * k, line, { fill: one.colour, "text-anchor": near ? "end" : "start", "paint-order": "stroke", stroke: colours.ground, "stroke-width": 3 }, group));
      }
      for (const one of column.series) {
        const strip = strips.findIndex((name) => name === one.drive);
        const base = HEAD + tall + 8 + strip * (STRIP + 8);
        const first = one.blow[0], last = one.blow[one.blow.length - 1];
        const down = strip < 0 ? (k) => y(one.along[k]) : (k) => base + 10 + (last > first ? (one.blow[k] - first) / (last - first) : 0.5) * (STRIP - 20);
        if (strip >= 0) {
          node("rect", { x: left, y: base, width: right - left, height: STRIP, fill: "none", stroke: colours.line }, group);
          if (place === 0) {
            text(left - 6, base + 16, shown(first, 0), { "text-anchor": "end" }, group);
            text(left - 6, base + STRIP - 6, shown(last, 0), { "text-anchor": "end" }, group);
            text(2, base + STRIP / 2 + 4, one.words, { "font-size": 11.5 }, group);
          }
        }
        if (one.low)
          one.low.forEach((v, k) => { if (v !== null) node("line", { x1: x(v), x2: x(one.high[k]), y1: down(k), y2: down(k), stroke: one.colour, "stroke-width": 2.2, opacity: 0.35 }, inside); });
        let path = "", pen = false;
        one.value.forEach((v, k) => {
          if (v === null) { pen = false; return; }
          path += (pen ? "L" : "M") + x(v).toFixed(1) + " " + down(k).toFixed(1);
          pen = true;
        });
        node("path", { d: path, fill: "none", stroke: one.colour, "stroke-width": 1, opacity: 0.5 }, inside);
        let dots = "";
        one.value.forEach((v, k) => {
          if (v === null) return;
          const px = x(v), py = down(k);
          dots += one.square ? `M${(px - 2.4).toFixed(1)} ${(py - 2.4).toFixed(1)}h4.8v4.8h-4.8z` : `M${(px - 2.2).toFixed(1)} ${py.toFixed(1)}a2.2 2.2 0 1 0 4.4 0a2.2 2.2 0 1 0 -4.4 0z`;
          if (py >= HEAD - 4) S.points.push({ px, py, value: v, along: one.along[k], blow: one.blow[k], drive: one.drive, words: one.words, column });
        });
        node("path", { d: dots, fill: one.colour, opacity: 0.9, "data-drive": one.drive }, inside);
        if (D.at && D.at.drive === one.drive) {
          let best = -1;
          one.blow.forEach((blow, k) => { if (one.value[k] !== null && (best < 0 || Math.abs(blow - D.at.blow) < Math.abs(one.blow[best] - D.at.blow))) best = k; });
          if (best >= 0) node("circle", { cx: x(one.value[best]), cy: down(best), r: 8, fill: "none", stroke: colours.accent, "stroke-width": 2.6, class: "here" }, inside);
        }
      }
      if (S.brush) node("rect", { x: left, y: y(S.brush[0]), width: right - left, height: y(S.brush[1]) - y(S.brush[0]), fill: colours.accent, opacity: 0.16, class: "brush" }, group);
    });
    text(soilWide + 2, HEAD - 10, D.along, { fill: colours.quiet }, svg);
    svg.setAttribute("viewBox", `0 0 ${wide} ${total}`);
    svg.style.height = total + "px";
    svg.setAttribute("aria-label", `${D.columns.map((column) => column.title).join(", ")} of every blow against ${D.along}.`);
    S.wide = wide;
    S.closer.disabled = !S.brush;
    S.all.disabled = !S.brush && !S.zoom;
    S.told.textContent = S.brush ? average() : D.hint;
  }

  function wrap(words, most) {
    const lines = [""];
    for (const word of words.split(" ")) {
      const now = lines[lines.length - 1];
      if (now && now.length + word.length + 1 > most) lines.push(word); else lines[lines.length - 1] = now ? now + " " + word : word;
    }
    return lines;
  }
  function average() {
    const D = S.data, parts = [`${shown(S.brush[0], 1)} to ${shown(S.brush[1], 1)} ${D.alongUnit}, mean`];
    for (const column of D.columns) {
      const found = [];
      for (const one of column.series) {
        if (D.strips.includes(one.drive)) continue;
        one.along.forEach((v, k) => { if (v >= S.brush[0] && v <= S.brush[1] && one.value[k] !== null) found.push(one.value[k]); });
      }
      if (found.length) parts.push(`${column.title} ${shown(found.reduce((a, b) => a + b, 0) / found.length)} ${column.unit}`);
    }
    return parts.join("   ·   ");
  }

  const place = (event) => {
    const box = S.svg.getBoundingClientRect(), by = S.wide / box.width;
    return [(event.clientX - box.left) * by, (event.clientY - box.top) * by];
  };
  const nearest = (px, py, within) => {
    let best = null, least = within * within;
    for (const one of S.points) {
      const far = (one.px - px) ** 2 + (one.py - py) ** 2;
      if (far < least) { least = far; best = one; }
    }
    return best;
  };
  let from = null;
  S.svg.addEventListener("pointerdown", (event) => { if (S.data && event.button === 0) { from = place(event); S.svg.setPointerCapture(event.pointerId); event.preventDefault(); } });
  S.svg.addEventListener("pointermove", (event) => {
    if (!S.data) return;
    const [px, py] = place(event);
    if (from && Math.abs(py - from[1]) > 6 && from[1] < S.head + S.data.tall) {
      const ends = [S.back(Math.min(py, from[1])), S.back(Math.max(py, from[1]))], [low, high] = S.zoom || S.data.domain;
      S.brush = [Math.max(ends[0], low), Math.min(ends[1], high)];
      draw();
      return;
    }
    const one = nearest(px, py, 24);
    if (one) S.told.textContent = `${one.words}, blow ${one.blow}${one.along !== null ? `, ${shown(one.along, 1)} ${S.data.alongUnit}` : ""}: ${one.column.title} ${shown(one.value)} ${one.column.unit}`;
    else S.told.textContent = S.brush ? average() : S.data.hint;
  });
  S.svg.addEventListener("pointerup", (event) => {
    const [px, py] = place(event);
    if (from && Math.abs(py - from[1]) <= 6) {
      const one = nearest(px, py, 60);
      if (one) S.send("pick", { drive: one.drive, blow: one.blow });
    }
    from = null;
  });
  S.svg.addEventListener("dblclick", () => { S.zoom = S.brush = null; draw(); });
  return S;
}
