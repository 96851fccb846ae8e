// The page of a record: draws its views as SVG, with a reading line, and enlarges a part by pointer or keyboard.
"use strict";
(() => {
  const LEFT = 74, RIGHT = 14, FOOT = 40, GAP = 14, LABEL = 15, HEIGHT = 92;
  const drawn = JSON.parse(document.getElementById("drawn").textContent);
  const unpack = ({ step, values }) => {
    let last = 0;
    return values.map((value) => (value === null ? null : (last += value) * step));
  };
  const time = unpack(drawn.time);
  const strips = drawn.strips.map((strip) => ({ ...strip, values: unpack(strip) }));
  const breaks = new Set(drawn.breaks);
  const number = (value, digits) => (Math.abs(value) < 0.5 * 10 ** -digits ? 0 : value).toLocaleString("en", { maximumFractionDigits: digits });
  const make = (name, attributes, parent, text) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    if (parent) parent.append(made);
    return made;
  };
  const html = (name, className, parent, text) => {
    const made = document.createElement(name);
    made.className = className;
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  };
  // Ticks at round values: steps of 1, 2 or 5; for time of 1, 2, 5, 10, 15 or 30 seconds, minutes, or hours.
  const TIMES = [1, 2, 5, 10, 15, 30].flatMap((one) => [one, one * 60]).concat([3600, 7200, 10800, 21600, 43200, 86400]).sort((a, b) => a - b);
  const roundStep = (span, count) => {
    const rough = span / count, size = 10 ** Math.floor(Math.log10(rough));
    return [1, 2, 5, 10].map((one) => one * size).find((step) => step >= rough * 0.999);
  };
  const ticks = (low, high, step) => {
    const found = [];
    for (let at = Math.ceil(low / step - 1e-9) * step; at <= high + step * 1e-9; at += step) found.push(at);
    return found;
  };
  // The round step with at least two ticks between two values.
  const stepOf = (low, high, count) => {
    let step = roundStep(high - low, count);
    for (let more = count * 1.5; ticks(low, high, step).length < 2 && more < 60; more *= 1.5) step = roundStep(high - low, more);
    return step;
  };
  const minutes = (seconds, step) => {
    if (step >= 3600) return number(seconds / 3600, 0);
    if (step >= 60) return number(seconds / 60, 0);
    const sign = seconds < 0 ? "−" : "", whole = Math.abs(Math.round(seconds));
    const two = (value) => String(value).padStart(2, "0");
    return whole < 7200 ? `${sign}${Math.floor(whole / 60)}:${two(whole % 60)}`
      : `${sign}${Math.floor(whole / 3600)} h ${two(Math.floor(whole / 60) % 60)} min`;
  };
  const clock = (seconds) => new Date((drawn.origin + seconds) * 1000).toISOString().slice(11, 19);
  const nearest = (seconds) => {
    let low = 0, high = time.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (time[middle] <= seconds) low = middle; else high = middle;
    }
    return Math.abs(time[high] - seconds) < Math.abs(time[low] - seconds) ? high : low;
  };

  const view = (place, panel) => {
    const root = panel.root !== null;
    const across = (seconds) => (root ? Math.sqrt(Math.max(seconds - panel.root, 0)) : seconds);
    const back = (x) => (root ? panel.root + x * x : x);
    const whole = [across(panel.from), across(panel.to)];
    let [from, to] = whole, at = null, width = 0, dragged = null;
    const told = html("p", "told", place), bar = html("div", "turns", place);
    told.setAttribute("role", "status");
    const box = html("div", "drawn", place);
    const legend = html("p", "legend", place);
    const x = (value) => LEFT + ((value - from) / (to - from)) * (width - LEFT - RIGHT);
    const value = (pixel) => from + ((pixel - LEFT) / (width - LEFT - RIGHT)) * (to - from);

    const inside = () => {
      let first = nearest(back(from)), last = nearest(back(to));
      if (first > 0) first -= 1;
      if (last < time.length - 1) last += 1;
      return [first, last];
    };
    const limits = (strip, index, first, last) => {
      if (panel.range && index === panel.strips[0] && from === whole[0] && to === whole[1]) return panel.range;
      let low = Infinity, high = -Infinity;
      const take = (one) => { if (one !== null && one < low) low = one; if (one !== null && one > high) high = one; };
      for (let i = first; i <= last; i += 1) take(strip.values[i]);
      for (const line of panel.lines) {
        if (line.strip === index && line.look !== "shape" && line.look !== "also")
          line.time.forEach((t, i) => { if (across(t) >= from && across(t) <= to) take(line.value[i]); });
      }
      for (const mark of panel.marks) if (index === panel.strips[0] && mark.value !== null && across(mark.time) >= from && across(mark.time) <= to) take(mark.value);
      if (low > high) return [0, 1];
      if (low > 0 && low < 0.5 * high) low = 0;
      const room = (high - low || Math.abs(high) || 1) * 0.05;
      return [low === 0 ? 0 : low - room, high + room];
    };
    const path = (strip, y, first, last) => {
      let text = "", on = false;
      for (let i = first; i <= last; i += 1) {
        const one = strip.values[i];
        if (one === null) { on = false; continue; }
        if (breaks.has(i)) on = false;
        text += `${on ? "L" : "M"}${x(across(time[i])).toFixed(1)} ${y(one).toFixed(1)}`;
        on = true;
      }
      return text;
    };
    const draw = () => {
      width = Math.max(box.clientWidth, 280);
      const shownMarks = panel.marks.filter((mark) => across(mark.time) >= from && across(mark.time) <= to);
      // Names of marks in rows above the first strip, each in the first row with room for it.
      const ends = [];
      for (const mark of shownMarks) {
        const size = mark.label.length * 6.4 + 10, place = x(across(mark.time));
        mark.turned = place + size > width - RIGHT;
        const start = mark.turned ? place - size : place;
        mark.row = ends.findIndex((end) => end < start);
        if (mark.row < 0) { mark.row = ends.length; ends.push(0); }
        ends[mark.row] = start + size;
      }
      const head = ends.length * LABEL + 8;
      const sizes = panel.strips.map((index) => HEIGHT * strips[index].share);
      const height = head + sizes.reduce((sum, size) => sum + size + GAP, 0) + FOOT;
      const svg = make("svg", { width, height, viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true" });
      const clip = `clip-${place.dataset.panel}`;
      make("rect", { x: LEFT, y: head, width: width - LEFT - RIGHT, height: height - head - FOOT }, make("clipPath", { id: clip }, svg));
      const low = height - FOOT - GAP;
      for (const band of panel.bands) {
        const start = Math.max(x(across(band.from)), LEFT), end = Math.min(x(across(band.to)), width - RIGHT);
        if (end > start) make("title", {}, make("rect", { class: `band b${band.colour}`, x: start, y: head, width: Math.max(end - start, 1), height: low - head }, svg), band.name);
      }
      const span = to - from, count = Math.max((width - LEFT) / 90, 2);
      const step = root ? roundStep(span, count) : TIMES.find((one) => one >= span / count) || 86400;
      for (const tick of ticks(from, to, step)) make("path", { class: "grid", d: `M${x(tick)} ${head}V${low}` }, svg);  // behind the samples
      const [first, last] = inside();
      let top = head;
      panel.strips.forEach((index, order) => {
        const strip = strips[index], size = sizes[order], base = top;
        const [least, most] = limits(strip, index, first, last);
        const y = (one) => strip.down ? base + ((one - least) / (most - least)) * size : base + size - ((one - least) / (most - least)) * size;
        const step = stepOf(least, most, Math.max(size / 44, 2));
        for (const tick of ticks(least, most, step)) {
          make("path", { class: "grid", d: `M${LEFT} ${y(tick)}H${width - RIGHT}` }, svg);
          make("text", { class: "tick", x: LEFT - 6, y: y(tick) + 4, "text-anchor": "end" }, svg, number(tick, step < 1 ? Math.ceil(-Math.log10(step)) : 0));
        }
        make("text", { class: "axis", x: 12, y: base + size / 2, transform: `rotate(-90 12 ${base + size / 2})`, "text-anchor": "middle" }, svg, size < 110 ? strip.unit : `${strip.name} [${strip.unit}]`);
        if (size < 110) make("text", { class: "axis", x: LEFT + 4, y: base + 11 }, svg, strip.name);
        const group = make("g", { "clip-path": `url(#${clip})` }, svg);
        make("path", { class: `samples s${order}`, d: path(strip, y, first, last) }, group);
        for (const line of panel.lines) {
          if (line.strip !== index) continue;
          const points = line.time.map((t, i) => `${x(across(t)).toFixed(1)} ${y(line.value[i]).toFixed(1)}`);
          make("title", {}, make("path", { class: `line ${line.look}`, d: `M${points.join("L")}` }, group), line.name);
        }
        if (order === 0) for (const mark of shownMarks) if (mark.value !== null) make("circle", { class: mark.amended ? "point amended" : "point", cx: x(across(mark.time)), cy: y(mark.value), r: 4 }, svg);
        top += size + GAP;
      });
      for (const mark of shownMarks) {
        const place = x(across(mark.time)), above = mark.row * LABEL + 12;
        const group = make("g", { class: `mark${mark.sure ? "" : " doubtful"}${mark.amended ? " amended" : ""}` }, svg);
        make("path", { d: `M${place} ${above - 9}V${low}` }, group);
        make("text", { x: mark.turned ? place - 4 : place + 4, y: above, "text-anchor": mark.turned ? "end" : "start" }, group, mark.label);
        make("title", {}, group, mark.why);
      }
      for (const tick of ticks(from, to, step)) {
        make("text", { class: "tick", x: x(tick), y: low + 16, "text-anchor": "middle" }, svg, root ? number(tick, 1) : minutes(tick, step));
      }
      make("text", { class: "axis", x: width - RIGHT, y: low + 34, "text-anchor": "end" }, svg, root ? "square root of seconds since the shut-in" : step >= 3600 ? "hours of the record" : step >= 60 ? "minutes of the record" : "minutes:seconds of the record");
      const line = make("path", { class: "reading", d: "" }, svg), chosen = make("rect", { class: "chosen", y: head, height: low - head, width: 0 }, svg);
      box.replaceChildren(svg);
      Object.assign(svg, { line, chosen, head, low });
      read();
    };
    const read = () => {
      const svg = box.firstChild;
      if (at === null || at < from || at > to) {
        svg.line.setAttribute("d", "");
        told.textContent = root ? `0 to ${number(back(to) - panel.root, 0)} s after the shut-in` : `${minutes(from, 1)} to ${minutes(to, 1)} of the record`;
        return;
      }
      const index = nearest(back(at)), seconds = time[index], place = x(across(seconds));
      svg.line.setAttribute("d", `M${place} ${svg.head}V${svg.low}`);
      const values = panel.strips.map((one) => `${strips[one].name} ${strips[one].values[index] === null ? "void" : `${number(strips[one].values[index], 2)} ${strips[one].unit}`}`);
      const state = panel.bands.filter((band) => band.colour > 0 && band.from <= seconds && seconds <= band.to).map((band) => band.name);
      told.textContent = `${clock(seconds)} UTC, ${root ? `${number(seconds - panel.root, 1)} s after the shut-in` : `${minutes(seconds, 1)} of the record`}: ${values.concat(state).join(", ")}`;
    };
    const enlarge = (factor, around) => {
      const middle = around ?? at ?? (from + to) / 2, span = Math.min((to - from) * factor, whole[1] - whole[0]);
      if (span < (whole[1] - whole[0]) / 2000) return;
      from = Math.max(whole[0], middle - (middle - from) * (span / (to - from)));
      to = Math.min(whole[1], from + span);
      from = Math.max(whole[0], to - span);
      draw();
    };
    const shift = (share) => {
      const span = to - from;
      from = Math.min(Math.max(from + share * span, whole[0]), whole[1] - span);
      to = from + span;
      draw();
    };
    const all = () => { [from, to] = whole; draw(); };
    for (const [name, words, act] of [["+", "Enlarge", () => enlarge(0.5)], ["−", "Reduce", () => enlarge(2)], ["◂", "Earlier", () => shift(-0.5)], ["▸", "Later", () => shift(0.5)], ["All", "Show all", all]]) {
      const button = html("button", "save", bar, name);
      button.type = "button";
      button.title = words;
      button.setAttribute("aria-label", words);
      button.addEventListener("click", act);
    }
    place.addEventListener("keydown", (event) => {
      if (event.target !== place) return;
      const move = (event.shiftKey ? 0.1 : 0.01) * (to - from);
      const acts = {
        ArrowLeft: () => { at = Math.max((at ?? (from + to) / 2) - move, from); read(); },
        ArrowRight: () => { at = Math.min((at ?? (from + to) / 2) + move, to); read(); },
        Home: () => { at = from; read(); }, End: () => { at = to; read(); },
        "+": () => enlarge(0.5), "=": () => enlarge(0.5), "-": () => enlarge(2), 0: all, Escape: all,
      };
      if (!acts[event.key]) return;
      event.preventDefault();
      acts[event.key]();
    });
    const pixel = (event) => Math.min(Math.max(event.clientX - box.getBoundingClientRect().left, LEFT), width - RIGHT);
    box.addEventListener("pointermove", (event) => {
      at = value(pixel(event));
      if (dragged !== null) {
        const here = pixel(event), { chosen } = box.firstChild;
        chosen.setAttribute("x", Math.min(dragged, here));
        chosen.setAttribute("width", Math.abs(here - dragged));
      }
      read();
    });
    box.addEventListener("pointerdown", (event) => { dragged = pixel(event); box.setPointerCapture(event.pointerId); });
    box.addEventListener("pointerup", (event) => {
      const here = pixel(event), [low, high] = [value(Math.min(dragged, here)), value(Math.max(dragged, here))];
      const enough = dragged !== null && Math.abs(here - dragged) > 6;
      dragged = null;
      if (!enough) return;
      [from, to] = [low, high];
      draw();
    });
    box.addEventListener("pointercancel", () => { dragged = null; });
    box.addEventListener("dblclick", all);
    const names = new Map();
    for (const line of panel.lines) if (line.name) names.set(line.name, `line ${line.look}`);
    for (const band of panel.bands) names.set(band.name, `band b${band.colour}`);
    for (const [name, look] of names) {
      const key = html("span", "key", legend);
      const svg = make("svg", { width: 22, height: 12, "aria-hidden": "true" }, key);
      if (look.startsWith("band")) make("rect", { class: look, width: 22, height: 12 }, svg);
      else make("path", { class: look, d: "M0 6H22" }, svg);
      key.append(` ${name}`);
    }
    if (!names.size) legend.remove();
    new ResizeObserver(() => { if (box.clientWidth && Math.max(box.clientWidth, 280) !== width) draw(); }).observe(box);
    draw();
    return () => ({ from: back(from), to: back(to), reading: told.textContent });
  };
  const views = [...document.querySelectorAll(".record")].map((place) => view(place, drawn.panels[Number(place.dataset.panel)]));
  const copy = async (event) => {
    const button = event.currentTarget, code = button.previousElementSibling, range = document.createRange();
    range.selectNodeContents(code);
    getSelection().removeAllRanges();
    getSelection().addRange(range);
    try {
      await navigator.clipboard.writeText(code.textContent);
      button.textContent = "Copied";
    } catch {
      button.textContent = document.execCommand("copy") ? "Copied" : "Selected";
    }
  };
  // The commands of a pick are written when its row is opened: they differ in three words only.
  const write = ({ currentTarget: place }) => {
    const [level, number, ...pick] = place.closest("tr").id.split("-"), [begin, well] = drawn.commands[level];
    for (const option of place.dataset.options.split("|")) {
      const line = html("p", "", place);
      line.append(option === "--confirm" ? "Confirm: " : "Amend: ");
      html("code", "", line, `${begin}${option}${well}${number} ${pick.join("-")}`);
      line.append(" ");
      const button = html("button", "save copy", line, "Copy");
      button.type = "button";
      button.addEventListener("click", copy);
    }
  };
  for (const place of document.querySelectorAll("[data-options]")) place.addEventListener("toggle", write, { once: true });
  const back = document.querySelector(".back");
  back.hidden = history.length < 2;
  back.addEventListener("click", () => history.back());
  window.heelward = { views };
})();
