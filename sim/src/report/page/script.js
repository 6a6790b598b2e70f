// Zoom and read-out of the traces. Everything is on the page already; this only redraws it.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const view = { from: data.from, to: data.to, whole: false };
  const panels = document.getElementById("panels");
  const shortest = (data.to - data.from) / 1e5;

  // A course: pairs of 16-bit steps, 65535 where there is no value.
  function unpack(packed) {
    if (!packed) return null;
    const text = atob(packed.data);
    const bytes = Uint8Array.from(text, (character) => character.charCodeAt(0));
    const words = new DataView(bytes.buffer);
    const count = bytes.length >> 2;
    const low = new Float64Array(count), high = new Float64Array(count);
    for (let index = 0; index < count; index += 1) {
      const least = words.getUint16(4 * index, true), most = words.getUint16(4 * index + 2, true);
      const absent = least === 65535;
      low[index] = absent ? Infinity : packed.low + least * packed.step;
      high[index] = absent ? -Infinity : packed.low + most * packed.step;
    }
    return { start: packed.start, width: packed.width, count, low, high };
  }

  function extremes(course, first, last) {
    let low = Infinity, high = -Infinity;
    for (let index = Math.max(0, first); index <= Math.min(course.count - 1, last); index += 1) {
      low = Math.min(low, course.low[index]);
      high = Math.max(high, course.high[index]);
    }
    return low > high ? null : [low, high];
  }

  // The same outline as drawn without a script, for the part in view.
  function outline(course, scale) {
    const first = Math.max(0, Math.floor((view.from - course.start) / course.width) - 1);
    const last = Math.min(course.count - 1, Math.ceil((view.to - course.start) / course.width) + 1);
    const group = Math.max(1, Math.ceil((last - first + 1) / data.points));
    const x = (time) => ((time - view.from) / (view.to - view.from)) * 1000;
    const y = (value) => 100 * (1 - Math.min(1, Math.max(0, (value - scale[0]) / (scale[1] - scale[0]))));
    let path = "", there = [], back = [], before = -Infinity;
    const close = () => {
      if (there.length) path += "M" + there.concat(back.reverse()).join("L") + "Z";
      there = []; back = [];
    };
    for (let at = Math.floor(first / group); at * group <= last; at += 1) {
      const ends = extremes(course, at * group, at * group + group - 1);
      if (!ends) continue;
      const time = course.start + (at + 0.5) * group * course.width;
      if (time - before > data.hole + 1.5 * group * course.width) close();
      before = time;
      const place = x(time).toFixed(1) + " ";
      there.push(place + y(ends[1]).toFixed(1));
      back.push(place + y(ends[0]).toFixed(1));
    }
    close();
    return path;
  }

  const drawn = data.panels.map((panel) => {
    const figure = document.querySelector(`.panel[data-key="${panel.key}"]`);
    return {
      ...panel, figure, reading: unpack(panel.reading), judged: unpack(panel.judged),
      plot: figure.querySelector(".plot"), read: figure.querySelector(".read"),
      cursor: figure.querySelector(".cursor"),
    };
  });
  const turned = unpack(data.turned);

  function place(element) {
    const from = (Number(element.dataset.from) - view.from) / (view.to - view.from);
    const to = (Number(element.dataset.to) - view.from) / (view.to - view.from);
    element.style.display = to < 0 || from > 1 ? "none" : "";
    element.style.left = 100 * Math.max(0, from) + "%";
    element.style.width = 100 * (Math.min(1, to) - Math.max(0, from)) + "%";
  }

  function draw() {
    for (const panel of drawn) {
      const scale = view.whole ? panel.whole : panel.close;
      const top = (value) => 100 * (1 - Math.min(1, Math.max(0, (value - scale[0]) / (scale[1] - scale[0]))));
      for (const kind of ["reading", "judged"]) {
        if (panel[kind]) panel.figure.querySelector("path." + kind).setAttribute("d", outline(panel[kind], scale));
      }
      for (const range of panel.figure.querySelectorAll(".range")) {
        if (range.dataset.high) range.style.top = top(Number(range.dataset.high)) + "%";
        if (range.dataset.low) range.style.bottom = 100 - top(Number(range.dataset.low)) + "%";
      }
      for (const label of panel.figure.querySelectorAll(".gutter span")) {
        label.style.top = top(Number(label.dataset.value)) + "%";
      }
    }
    panels.querySelectorAll("[data-from]").forEach(place);
    const length = view.to - view.from;
    const decimals = length < 1 ? 4 : 2;
    document.getElementById("view").textContent = `${view.from.toFixed(decimals)} s to ${view.to.toFixed(decimals)} s`;
    axis();
  }

  function axis() {
    const rough = (view.to - view.from) / 6, power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((digit) => digit * power).find((each) => each >= rough);
    const row = document.getElementById("time-axis");
    row.replaceChildren();
    for (let count = Math.ceil(view.from / step); count * step <= view.to; count += 1) {
      const label = document.createElement("span");
      label.textContent = String(Math.round(count * step * 1e6) / 1e6);
      label.style.left = (100 * (count * step - view.from)) / (view.to - view.from) + "%";
      row.append(label);
    }
  }

  function show(from, to) {
    const length = Math.min(data.to - data.from, Math.max(shortest, to - from));
    view.from = Math.min(data.to - length, Math.max(data.from, (from + to - length) / 2));
    view.to = view.from + length;
    draw();
  }

  function remember() {
    const isAll = view.from <= data.from && view.to >= data.to;
    const hash = isAll ? "#traces" : `#t=${view.from.toFixed(4)}-${view.to.toFixed(4)}`;
    history.replaceState(null, "", hash);
  }

  // A link such as #t=12.5-20 shows that part of the traces.
  function follow() {
    const match = /^#t=([0-9.]+)-([0-9.]+)$/.exec(location.hash);
    if (!match || !(Number(match[2]) > Number(match[1]))) return;
    show(Number(match[1]), Number(match[2]));
    document.getElementById("traces").scrollIntoView();
  }

  function act(action) {
    const length = view.to - view.from, middle = (view.from + view.to) / 2;
    if (action === "in") show(middle - length / 4, middle + length / 4);
    if (action === "out") show(middle - length, middle + length);
    if (action === "back") show(view.from - length / 3, view.to - length / 3);
    if (action === "on") show(view.from + length / 3, view.to + length / 3);
    if (action === "all") show(data.from, data.to);
    remember();
  }

  function read(time) {
    const band = data.bands.find(([, from, to]) => time >= from && time <= to);
    const at = Math.floor((time - turned.start) / turned.width);
    const angle = band && extremes(turned, at, at);
    const where = band ? `, band ${band[0]}${angle ? ", " + angle[1].toFixed(0) + "°" : ""}` : "";
    document.getElementById("cursor-at").textContent = `at ${time.toFixed(2)} s${where}`;
    for (const panel of drawn) {
      const told = ["judged", "reading"].map((kind) => value(panel, panel[kind], time)).filter(Boolean);
      panel.read.textContent = told.length === 2 ? `${told[0]} (readings ${told[1]})` : told.join("");
      panel.cursor.hidden = false;
      panel.cursor.style.left = (100 * (time - view.from)) / (view.to - view.from) + "%";
    }
  }

  // What a course was within the width of a dot at a time.
  function value(panel, course, time) {
    if (!course) return null;
    const dot = (view.to - view.from) / 1400;
    const first = Math.floor((time - dot - course.start) / course.width);
    const ends = extremes(course, first, Math.floor((time + dot - course.start) / course.width));
    if (!ends) return null;
    const [low, high] = ends.map((end) => end * panel.factor + panel.offset);
    const decimals = Math.max(Math.abs(low), Math.abs(high)) >= 100 ? 1 : 2;
    const [from, to] = [low.toFixed(decimals), high.toFixed(decimals)];
    return from === to ? `${to} ${panel.unit}` : `${from}–${to} ${panel.unit}`;
  }

  function timeAt(plot, clientX) {
    const box = plot.getBoundingClientRect();
    const share = Math.min(1, Math.max(0, (clientX - box.left) / box.width));
    return view.from + share * (view.to - view.from);
  }

  let chosen = null;
  for (const panel of drawn) {
    panel.plot.addEventListener("pointerdown", (event) => {
      const box = document.createElement("div");
      box.className = "choosing";
      panel.plot.append(box);
      panel.plot.setPointerCapture(event.pointerId);
      chosen = { from: timeAt(panel.plot, event.clientX), x: event.clientX, box };
      read(chosen.from);
    });
    panel.plot.addEventListener("pointermove", (event) => {
      const time = timeAt(panel.plot, event.clientX);
      read(time);
      if (!chosen) return;
      const share = (at) => (100 * (at - view.from)) / (view.to - view.from);
      chosen.box.style.left = share(Math.min(chosen.from, time)) + "%";
      chosen.box.style.width = share(Math.max(chosen.from, time)) - share(Math.min(chosen.from, time)) + "%";
    });
    panel.plot.addEventListener("pointerup", (event) => {
      if (!chosen) return;
      const time = timeAt(panel.plot, event.clientX), isDrag = Math.abs(event.clientX - chosen.x) > 6;
      const from = Math.min(chosen.from, time), to = Math.max(chosen.from, time);
      drop();
      if (isDrag) { show(from, to); remember(); }
    });
    panel.plot.addEventListener("pointercancel", drop);
    panel.plot.addEventListener("dblclick", () => act("out"));
  }
  function drop() {
    if (chosen) chosen.box.remove();
    chosen = null;
  }

  const tools = document.querySelector(".tools");
  tools.hidden = false;
  tools.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.action) act(button.dataset.action);
    else { show(Number(button.dataset.from), Number(button.dataset.to)); remember(); }
  });
  document.getElementById("whole-scale").addEventListener("change", (event) => {
    view.whole = event.target.checked;
    draw();
  });
  panels.addEventListener("keydown", (event) => {
    const action = { ArrowLeft: "back", ArrowRight: "on", "+": "in", "=": "in", "-": "out", 0: "all" }[event.key];
    if (!action || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act(action);
  });
  addEventListener("hashchange", follow);
  draw();
  follow();
})();
