// The record of a blow: traces over one time axis, marks that can be dragged, and stepping from blow to blow.
// Every curve comes computed; only the Case resistance between the dragged marks is worked out here, by its equation.
const LEFT = 64, RIGHT = 14, TOP = 40, TALL = 430, LOW = 132, GAP = 26, STEP = 110, AFTER = 140;

export default function (component) {
  const root = component.parentElement;
  const record = root.dyntestRecord || (root.dyntestRecord = build(root));
  record.send = component.setTriggerValue;
  record.receive(component.data);
  record.listen();
  return () => record.leave();
}

function build(root) {
  const S = { root, data: null, blow: null, window: null, cursor: null, marks: null, timer: null, asked: null, playing: null };
  const bar = element("div", { class: "dyntest-record-bar", role: "toolbar", "aria-label": "Blow and time" }, root);
  const button = (words, title, act) => {
    const made = element("button", { type: "button", title }, bar, words);
    made.addEventListener("click", act);
    return made;
  };
  button("◀", "Previous blow (left arrow key)", () => step(-1)).dataset.does = "back";
  S.label = element("span", { class: "dyntest-record-blow", "aria-live": "polite" }, bar);
  button("▶", "Next blow (right arrow key)", () => step(1)).dataset.does = "on";
  S.play = button("Play", "Play the blows one after the other", () => (S.playing ? stop() : start()));
  S.play.dataset.does = "play";
  S.next = button("Next finding", "Go to the next blow with a warning or a rejection", nextFinding);
  S.next.dataset.does = "finding";
  element("span", { class: "dyntest-record-space" }, bar);
  S.switches = element("span", { class: "dyntest-record-switches", role: "group", "aria-label": "Drawn below" }, bar);
  button("Zoom in", "Halve the time shown", () => zoom(0.5));
  button("Zoom out", "Double the time shown", () => zoom(2));
  S.all = button("All", "The usual span of time (or double-click)", () => setWindow(null));
  button("Reset marks", "Move both marks back", () => { S.marks = null; draw(); });
  S.readout = element("div", { class: "dyntest-record-readout" }, root);
  S.live = element("div", { class: "dyntest-record-live", "aria-live": "polite" }, root);
  S.svg = node("svg", { class: "marks dyntest-record", role: "img", width: "100%" }, root);

  const store = (name, value) => { try { sessionStorage.setItem("dyntest " + name, JSON.stringify(value)); } catch (e) { /* private */ } };
  const stored = (name) => { try { return JSON.parse(sessionStorage.getItem("dyntest " + name)); } catch (e) { return null; } };

  S.receive = (data) => {
    const other = !S.data || S.data.test !== data.test;
    const moved = !S.data || S.data.drive !== data.drive || S.data.conditioned !== data.conditioned;
    if (other) S.window = stored("window " + data.test);
    if (moved) { S.marks = null; S.blow = null; }
    S.data = data;
    if (!data.arrays) data.arrays = {};
    for (const key in data.values) {
      const one = data.values[key];
      data.arrays[key] = { scale: one.scale, raw: new Int16Array(bytes(one.data).buffer) };
    }
    S.extra = new Set(stored("below") || data.below);
    if (S.asked !== null && data.blows.includes(S.asked)) { S.blow = S.asked; S.asked = null; }
    else if (S.asked !== null && S.timer) { if (!data.blows.includes(S.blow)) S.blow = data.blow; }  // asked for in a moment
    else if (!S.timer || !data.blows.includes(S.blow)) { S.blow = data.blow; S.asked = null; }
    switches();
    draw();
  };

  function switches() {
    S.switches.replaceChildren();
    S.data.panels.slice(1).forEach((panel) => {
      const on = S.extra.has(panel.key);
      const made = element("button", { type: "button", "aria-pressed": String(on), title: "Draw or hide" }, S.switches, panel.title);
      made.dataset.panel = panel.key;
      made.addEventListener("click", () => {
        S.extra.has(panel.key) ? S.extra.delete(panel.key) : S.extra.add(panel.key);
        store("below", [...S.extra]);
        switches();
        draw();
      });
    });
    const stepped = S.data.order.length > 1;
    for (const one of bar.querySelectorAll("[data-does]")) one.hidden = !stepped;
    S.label.hidden = !stepped && !S.data.label;
    S.next.disabled = S.data.findings.length === 0;
  }

  // ---- stepping
  function step(by) {
    const order = S.data.order, at = order.indexOf(S.asked ?? S.blow) + by;  // no key is lost while a blow is on its way
    if (at < 0 || at >= order.length) { stop(); return; }
    go(order[at]);
  }
  function go(blow) {
    if (S.data.blows.includes(blow)) {
      S.blow = blow;
      S.asked = null;
      draw();
      clearTimeout(S.timer);
      S.timer = setTimeout(() => { S.timer = null; S.send("blow", S.blow); }, AFTER);
    } else {
      S.asked = blow;
      clearTimeout(S.timer);
      S.timer = setTimeout(() => { S.timer = null; S.send("blow", blow); }, AFTER);
    }
  }
  function nextFinding() {
    const found = S.data.findings.find((blow) => blow > S.blow) ?? S.data.findings[0];
    if (found !== undefined) go(found);
  }
  function start() { S.playing = setInterval(() => { if (S.asked === null) step(1); }, STEP); S.play.textContent = "Stop"; }
  function stop() { clearInterval(S.playing); S.playing = null; S.play.textContent = "Play"; }
  const keys = (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || typing(event.target) || !root.isConnected) return;
    if (event.key !== "ArrowLeft" && event.key !== "ArrowRight") return;
    if (S.data.order.length < 2) return;
    event.preventDefault();
    step(event.key === "ArrowLeft" ? -1 : 1);
  };
  S.listen = () => {
    document.removeEventListener("keydown", keys);
    document.addEventListener("keydown", keys);
    if (!S.sizes) { S.sizes = new ResizeObserver(() => draw()); S.sizes.observe(root); }
  };
  S.leave = () => {
    stop();
    document.removeEventListener("keydown", keys);
    if (S.timer) { clearTimeout(S.timer); S.timer = null; }
    if (S.sizes) { S.sizes.disconnect(); S.sizes = null; }
  };

  // ---- values
  function trace(key) {
    const one = S.data.arrays[key];
    if (!one) return null;
    const n = S.data.samples, at = S.data.blows.indexOf(S.blow);
    if (one.raw.length === n) return { raw: one.raw, from: 0, n, scale: one.scale };
    return { raw: one.raw, from: at * n, n, scale: one.scale };
  }
  function start0(key) {
    const at = S.data.blows.indexOf(S.blow), own = S.data.starts && S.data.starts[key];
    return own !== undefined ? own : S.data.begins[at];
  }
  function value(key, time) {
    const one = trace(key);
    if (!one) return NaN;
    const place = (time - start0(key)) / S.data.step, k = Math.floor(place);
    if (k < 0 || k >= one.n) return NaN;
    const a = one.raw[one.from + k] * one.scale, b = one.raw[one.from + Math.min(k + 1, one.n - 1)] * one.scale;
    return a + (place - k) * (b - a);
  }
  function marked() {
    const at = S.data.blows.indexOf(S.blow), t1 = S.data.peaks[at];
    if (S.marks) return S.marks;
    return { t1, t2: t1 + S.data.back };
  }
  function resistance(t1, t2, j) {
    const [a, b] = S.data.resistance;  // force and impedance × velocity
    return 0.5 * (1 - j) * (value(a, t1) + value(b, t1)) + 0.5 * (1 + j) * (value(a, t2) - value(b, t2));
  }

  // ---- window
  function span() { return S.window || S.data.usual; }
  function setWindow(window) {
    S.window = window && [Math.max(window[0], S.data.longest[0]), Math.min(window[1], S.data.longest[1])];
    store("window " + S.data.test, S.window);
    draw();
  }
  function zoom(by) {
    const [a, b] = span(), middle = 0.5 * (a + b), half = 0.5 * (b - a) * by;
    setWindow([middle - half, middle + half]);
  }

  // ---- drawing
  function draw() {
    const D = S.data;
    if (!D || !root.isConnected) return;
    const wide = Math.max(root.clientWidth, 320), [a, b] = span(), colours = D.colours;
    const x = (t) => LEFT + ((t - a) / (b - a)) * (wide - LEFT - RIGHT);
    const back = (px) => a + ((px - LEFT) / (wide - LEFT - RIGHT)) * (b - a);
    const panels = D.panels.filter((panel, k) => k === 0 || S.extra.has(panel.key));
    const svg = S.svg;
    svg.replaceChildren();
    let top = TOP;
    const at = D.blows.indexOf(S.blow);
    S.label.textContent = D.label || `Blow ${S.blow}`;
    const marks = marked(), legends = [];
    panels.forEach((panel, index) => {
      const high = index === 0 ? D.tall || TALL : LOW;
      let low = 0, most = 0;
      for (const one of panel.traces) {
        const line = trace(one.key);
        if (!line) continue;
        const t0 = start0(one.key);
        const first = Math.max(0, Math.floor((a - t0) / D.step)), last = Math.min(line.n - 1, Math.ceil((b - t0) / D.step));
        for (let k = first; k <= last; k++) {
          const v = line.raw[line.from + k] * line.scale;
          if (v < low) low = v;
          if (v > most) most = v;
        }
      }
      const air = 0.06 * (most - low || 1);
      low -= low < 0 ? air : 0;
      most += air;
      const rows = panel.traces.length > 1 || index > 0 ? legendRows(panel, wide) : [];
      const drop = index === 0 && D.resistance ? 8 : 0;  // below the handles of the marks
      most = low + ((most - low) * high) / (high - 17 * rows.length - drop);  // the legend covers no trace
      const y = (v) => top + high - ((v - low) / (most - low)) * high;
      const group = node("g", { class: "panel", "data-panel": panel.key }, svg);
      let levels = ticks(low, most, index === 0 ? 8 : 3);
      if (levels.length < 3) levels = ticks(low, most, 6);  // one label gives no scale
      for (const t of levels) {
        node("line", { x1: LEFT, x2: wide - RIGHT, y1: y(t), y2: y(t), stroke: t === 0 ? colours.quiet : colours.line, "stroke-width": 1 }, group);
        node("text", { x: LEFT - 7, y: y(t) + 4, "text-anchor": "end", fill: colours.ink, "font-size": 13 }, group, shown(t, decimals(levels)));
      }
      const times = ticks(a, b, Math.max(3, Math.floor(wide / 70)));
      for (const t of times) {
        node("line", { x1: x(t), x2: x(t), y1: top, y2: top + high, stroke: colours.line, "stroke-width": 1 }, group);
        if (index === panels.length - 1)
          node("text", { x: x(t), y: top + high + 17, "text-anchor": "middle", fill: colours.ink, "font-size": 13 }, group, shown(t, decimals(times)));
      }
      node("text", { x: 15, y: top + high / 2, transform: `rotate(-90 15 ${top + high / 2})`, "text-anchor": "middle", fill: colours.ink, "font-size": 13 }, group, panel.unit ? `${panel.title} [${panel.unit}]` : panel.title);
      const clip = `clip-${D.drive}-${index}`;
      node("rect", { x: LEFT, y: top, width: wide - LEFT - RIGHT, height: high }, node("clipPath", { id: clip }, group));
      const inside = node("g", { "clip-path": `url(#${clip})` }, group);
      for (const one of panel.traces) {
        const line = trace(one.key);
        if (!line) continue;
        const t0 = start0(one.key);
        const first = Math.max(0, Math.floor((a - t0) / D.step)), last = Math.min(line.n - 1, Math.ceil((b - t0) / D.step));
        let path = "";
        for (let k = first; k <= last; k++) path += (k === first ? "M" : "L") + x(t0 + k * D.step).toFixed(1) + " " + y(line.raw[line.from + k] * line.scale).toFixed(1);
        node("path", { d: path, fill: "none", stroke: one.colour, "stroke-width": one.wide || 1.8, "stroke-dasharray": one.dash || "", "stroke-linejoin": "round", opacity: one.opacity || 1, "data-trace": one.name }, inside);
      }
      legends.push([rows, top + drop]);
      if (index === 0) S.main = { top, high, low: panel.traces.length > 2 ? 17 * rows.length + drop + 5 : 0 };
      top += high + GAP;
    });
    const bottom = top - GAP;
    axis(svg, x, wide, bottom, marks, at, a, b);
    legends.forEach(([rows, at]) => legend(node("g", { class: "legend", "pointer-events": "none" }, svg), rows, wide, at, colours));  // over the marks
    const total = bottom + 40;
    node("text", { x: (LEFT + wide - RIGHT) / 2, y: total - 5, "text-anchor": "middle", fill: colours.ink, "font-size": 13 }, svg, "time after impact [ms]");
    svg.setAttribute("viewBox", `0 0 ${wide} ${total}`);
    svg.style.height = total + "px";
    const live = D.resistance ? ` Case resistance between the marks ${shown(resistance(marks.t1, marks.t2, D.factor), 0)} ${D.panels[0].unit}.` : "";
    svg.setAttribute("aria-label", `${D.words || "Record of blow " + S.blow}: ${D.panels[0].traces.map((t) => t.name).join(", ")} against time, aligned at impact.${live}`);
    S.x = x; S.back = back; S.bottom = bottom; S.wide = wide;
    S.hair = node("line", { y1: TOP, y2: bottom, stroke: colours.quiet, "stroke-width": 1.2, visibility: "hidden" }, svg);
    read(S.cursor);
    told(marks);
  }

  const named = (one) => one.legend ?? one.name;  // an overlay names blows, not every trace of them
  const wanted = (one) => 44 + 7.2 * named(one).length;
  function legendRows(panel, wide) {
    const rows = [];
    let room = 0;
    panel.traces.filter((one) => trace(one.key) && one.legend !== "").forEach((one) => {
      room -= wanted(one);
      if (!rows.length || room < 0) { rows.push([]); room = wide - RIGHT - LEFT - 6 - wanted(one); }
      rows[rows.length - 1].push(one);
    });
    return rows;
  }
  function legend(group, rows, wide, top, colours) {
    rows.forEach((row, k) => {
      const room = row.reduce((sum, one) => sum + wanted(one), 0), py = top + 17 * k;
      let px = rows.length > 1 ? LEFT + 8 : Math.max(LEFT + 8, wide - RIGHT - room);
      row.forEach((one) => {
        node("rect", { x: px - 4, y: py + 3, width: wanted(one) - 2, height: 17, fill: colours.ground }, group);
        node("line", { x1: px, x2: px + 26, y1: py + 12, y2: py + 12, stroke: one.colour, "stroke-width": one.wide || 1.8, "stroke-dasharray": one.dash || "", opacity: one.opacity || 1 }, group);
        node("text", { x: px + 31, y: py + 16, fill: colours.ink, "font-size": 12.5, "paint-order": "stroke", stroke: colours.ground, "stroke-width": 3 }, group, named(one));
        px += wanted(one);
      });
    });
  }

  function axis(svg, x, wide, bottom, marks, at, a, b) {
    const D = S.data, colours = D.colours;
    const peak = D.peaks[at];
    if (D.soilFree > 0 && peak !== undefined) {
      const from = Math.max(x(0), LEFT), to = Math.min(x(D.soilFree), wide - RIGHT);
      if (to > from) {
        node("rect", { x: from, y: S.main.top, width: to - from, height: S.main.high, fill: colours.accent, opacity: 0.1 }, svg);
        node("text", { x: from + 4, y: S.main.top + S.main.high - 7, fill: colours.accent, "font-size": 12 }, svg, to - from > 80 ? "no soil yet" : "");
      }
    }
    (D.quarters || []).forEach((one, k) => {
      const t = marks.t1 + (one.time / D.back) * (marks.t2 - marks.t1), px = x(t);
      if (t < a || t > b) return;
      node("line", { x1: px, x2: px, y1: S.main.top - 5, y2: S.main.top + S.main.high, stroke: colours.accent, "stroke-width": 0.9, "stroke-dasharray": "1 4" }, svg);
      node("text", { x: px, y: S.main.top - 9, "text-anchor": "middle", fill: colours.accent, "font-size": 12, class: "quarter" }, svg, one.words);
    });
    if (D.quarters && D.quarters.length)
      node("text", { x: 4, y: S.main.top - 9, fill: colours.accent, "font-size": 12 }, svg, "depth");
    if (!D.resistance) return;
    handle("t1", "t₁", marks.t1, x, svg, a, b, bottom);
    handle("t2", "t₁ + 2L/c", marks.t2, x, svg, a, b, bottom);
  }

  function handle(name, words, time, x, svg, a, b, bottom) {
    if (time < a || time > b) return;
    const colours = S.data.colours, px = x(time), y = S.main.top;
    const group = node("g", { class: "handle", tabindex: 0, role: "slider", "aria-label": words, "aria-valuenow": time.toFixed(2), "aria-valuetext": `${time.toFixed(2)} ms`, "data-mark": name }, svg);
    node("line", { x1: px, x2: px, y1: y - 3, y2: bottom, stroke: colours.accent, "stroke-width": 1.6 }, group);
    node("path", { d: `M${px - 7} ${y - 3}h14l-7 11z`, fill: colours.accent }, group);
    node("rect", { x: px - 9, y: y - 6, width: 18, height: bottom - y, fill: "transparent", style: "cursor: ew-resize" }, group);
    node("text", { x: px + 9, y: y + S.main.low + (name === "t1" ? 18 : 34), fill: colours.accent, "font-size": 13, "font-weight": 600, "paint-order": "stroke", stroke: colours.ground, "stroke-width": 3 }, group, words);
    group.addEventListener("keydown", (event) => {
      const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!by) return;
      event.preventDefault();
      event.stopPropagation();
      move(name, time + by * S.data.step * (event.shiftKey ? 10 : 1));
      svg.querySelector(`[data-mark=${name}]`)?.focus();
    });
  }
  function move(name, time) {
    const now = marked(), kept = Math.min(Math.max(time, S.data.longest[0]), S.data.longest[1]);
    S.marks = name === "t1" ? { t1: kept, t2: kept + (now.t2 - now.t1) } : { t1: now.t1, t2: Math.max(kept, now.t1 + S.data.step) };
    draw();
  }

  function told(marks) {
    const D = S.data;
    if (!D.resistance) { S.live.textContent = D.note || ""; return; }
    const at = D.blows.indexOf(S.blow), unit = D.panels[0].unit;
    const back = marks.t2 - marks.t1;
    let words = D.whose ? `${D.whose}: ` : "";
    if (D.factor !== null) {
      words = `Case resistance with J = ${shown(D.factor, 2)}: ${shown(resistance(marks.t1, marks.t2, D.factor), 0)} ${unit} between the marks`;
      const most = D.maximum[at];
      if (most !== null) words += ` (maximum ${shown(most, 0)} ${unit} with J = ${shown(D.maximumFactor, 2)})`;
      words += ". ";
    }
    words += `Total ${shown(resistance(marks.t1, marks.t2, 0), 0)} ${unit}. 2L/c ${shown(back, 2)} ms, wave speed ${shown((D.speed * D.back) / back, 0)} ${D.speedUnit}`;
    words += Math.abs(back - D.back) > 0.5 * D.step ? ` (trial; the sheet's: ${shown(D.back, 2)} ms, ${shown(D.speed, 0)} ${D.speedUnit}).` : ".";
    S.live.textContent = words;
  }
  function read(time) {
    const D = S.data, t = time ?? marked().t1;
    if (t === undefined || t === null || !isFinite(t)) { S.readout.textContent = ""; return; }
    const parts = [`${shown(t, 2)} ms`];
    D.panels.filter((panel, k) => k === 0 || S.extra.has(panel.key)).forEach((panel) => {
      const known = panel.traces.filter((one) => trace(one.key)).map((one) => `${one.told ?? one.name} ${shown(value(one.key, t))}`);
      if (known.length) parts.push(`${known.join(", ").replaceAll(", \n", "; ").trim()} ${panel.unit || ""}`.trim());
    });
    S.readout.textContent = parts.join("   ·   ");
    if (S.hair) {
      S.hair.setAttribute("visibility", time === null ? "hidden" : "visible");
      S.hair.setAttribute("x1", S.x(t));
      S.hair.setAttribute("x2", S.x(t));
    }
  }

  // ---- pointer
  const place = (event) => (event.clientX - S.svg.getBoundingClientRect().left) * (S.wide / S.svg.getBoundingClientRect().width);
  let held = null;
  S.svg.addEventListener("pointerdown", (event) => {
    if (!S.data || event.button !== 0) return;
    const mark = event.target.closest("[data-mark]");
    held = mark ? { mark: mark.dataset.mark, by: S.back(place(event)) - marked()[mark.dataset.mark] } : { from: place(event) };
    S.svg.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  S.svg.addEventListener("pointermove", (event) => {
    if (!S.data || !S.back) return;
    const px = place(event);
    if (held && held.mark) { move(held.mark, S.back(px) - held.by); return; }
    if (held) {
      held.box?.remove();
      held.box = node("rect", { x: Math.min(px, held.from), y: TOP, width: Math.abs(px - held.from), height: S.bottom - TOP, fill: S.data.colours.accent, opacity: 0.16 }, S.svg);
      return;
    }
    S.cursor = px >= LEFT && px <= S.wide - RIGHT ? S.back(px) : null;
    read(S.cursor);
  });
  S.svg.addEventListener("pointerup", (event) => {
    if (held && held.from !== undefined) {
      const px = place(event), [a, b] = [S.back(Math.min(px, held.from)), S.back(Math.max(px, held.from))];
      held.box?.remove();
      if (Math.abs(px - held.from) > 8) setWindow([a, b]);
    }
    held = null;
  });
  S.svg.addEventListener("pointerleave", () => { S.cursor = null; if (S.data) read(null); });
  S.svg.addEventListener("dblclick", () => setWindow(null));
  return S;
}
