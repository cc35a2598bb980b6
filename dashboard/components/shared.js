// What both pictures share: scales, ticks, paths, and text that is never taken for markup.
const SVG = "http://www.w3.org/2000/svg";

function node(name, attributes, parent, text) {
  const made = document.createElementNS(SVG, name);
  for (const key in attributes) made.setAttribute(key, attributes[key]);
  if (text !== undefined) made.textContent = text;
  if (parent) parent.appendChild(made);
  return made;
}

function element(name, attributes, parent, text) {
  const made = document.createElement(name);
  for (const key in attributes) made.setAttribute(key, attributes[key]);
  if (text !== undefined) made.textContent = text;
  if (parent) parent.appendChild(made);
  return made;
}

function ticks(low, high, most) {
  const span = high - low;
  if (!(span > 0)) return [low];
  const raw = span / Math.max(most, 1), power = Math.pow(10, Math.floor(Math.log10(raw)));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999);
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * span; k++) found.push(+(k * step).toPrecision(12));
  return found;
}

function decimals(levels) {  // with fewer, two labels of an axis read alike
  const step = levels.length > 1 ? levels[1] - levels[0] : Math.abs(levels[0]);
  for (let digits = 0; digits < 8; digits++)
    if (levels.every((value) => Math.abs(Number(value.toFixed(digits)) - value) <= 1e-6 * step)) return digits;
  return 8;
}

function shown(value, digits) {
  if (value === null || value === undefined || !isFinite(value)) return "–";
  const size = Math.abs(value);
  let used = digits ?? (size >= 100 ? 0 : size >= 10 ? 1 : 2);
  if (size < Math.pow(10, -used)) {  // as dyntest.names.decimal: no small number shows as zero
    const further = size > 0 ? 1 - Math.floor(Math.log10(size)) : Infinity;
    if (further <= used + 4) used = further;
    else value = 0;
  }
  return value.toLocaleString("en-US", { minimumFractionDigits: used, maximumFractionDigits: used }).replace("-", "−");
}

function bytes(text) {
  const raw = atob(text), found = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k++) found[k] = raw.charCodeAt(k);
  return found;
}

function typing(target) {
  const kinds = "input,textarea,select,[contenteditable=true],[role=slider],[role=radio],[role=tab],[role=option],[role=grid]";
  return target instanceof Element && target.closest(kinds) !== null;
}
