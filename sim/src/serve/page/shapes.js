"use strict";
// Drawings: made of elements one by one, so that no text that comes from elsewhere is ever read as markup.
const Shapes = (() => {
  const space = "http://www.w3.org/2000/svg";
  const make = (name, attributes, ...children) => {
    const element = document.createElementNS(space, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.append(...children);
    return element;
  };
  // A shape for each tone: tick, eye-catching diamond, triangle, octagon, ring, and a broken line for no data.
  const paths = {
    good: "M12 54 L28 38 L43 54 L75 18 L90 33 L44 84 Z",
    careful: "M50 4 L96 50 L50 96 L4 50 Z M44 24 h12 v34 h-12 Z M44 66 h12 v12 h-12 Z",
    bad: "M50 6 L98 92 L2 92 Z M44 36 h12 v30 h-12 Z M44 72 h12 v12 h-12 Z",
    stop: "M31 3 H69 L97 31 V69 L69 97 H31 L3 69 V31 Z M24 43 h52 v14 h-52 Z",
    calm: "M50 6 A44 44 0 1 1 49.9 6 Z M50 20 A30 30 0 1 0 50.1 20 Z",
    none: "M4 44 h20 v12 h-20 Z M40 44 h20 v12 h-20 Z M76 44 h20 v12 h-20 Z M14 8 L92 86 L86 92 L8 14 Z",
  };
  const verdict = (svg, tone) => svg.replaceChildren(make("path", { d: paths[tone], "fill-rule": "evenodd" }));
  const clamp = (value) => Math.min(1, Math.max(0, value));

  function gauge(svg, told) {
    const width = 300, x = (at) => clamp(at) * width;
    const span = (ends, kind, top, height) => {
      if (!ends) return [];
      const from = x(ends[0] ?? 0), to = x(ends[1] ?? 1);
      return [make("rect", { x: from, y: top, width: Math.max(0, to - from), height, class: kind })];
    };
    const line = (at, kind) => at === null || at === undefined ? [] :
      [make("line", { x1: x(at), x2: x(at), y1: 1, y2: 17, class: kind, "vector-effect": "non-scaling-stroke" })];
    const parts = [make("rect", { x: 0, y: 6, width, height: 6, class: "lane-back" }),
      ...span(told.allowed_at, "lane-allowed", 6, 6), ...span(told.recommended_at, "lane-recommended", 4, 10),
      ...(told.allowed_at ?? []).flatMap((at) => line(at, "lane-end")), ...line(told.floor_at, "lane-floor")];
    if (told.at !== null && told.at !== undefined) {
      const at = x(told.at);
      const d = told.at < 0 ? "M0 9 L12 1 V17 Z" : told.at > 1 ? `M${width} 9 l-12 -8 v16 Z`
        : `M${at} 18 l-7 -8 v-9 h14 v9 Z`;
      parts.push(make("path", { d, class: "lane-value", "vector-effect": "non-scaling-stroke" }));
    }
    svg.replaceChildren(...parts);
  }

  const hatches = () => make("defs", {},
    hatch("a", 4, "careful", "M0 0 V4", "#0b0d10"), hatch("w", 6, "bad", "M0 6 L6 0", "#0b0d10"),
    hatch("p", 8, "paper", "M0 0 L8 8 M0 8 L8 0", "var(--good)"), hatch("s", 6, "stop", "M0 3 H6", "#ffffff"), hatch("n", 6, "card", "M0 0 L6 6", "var(--faint)"),
    hatch("u", 5, "card", "M2 2 h1 v1 h-1 Z", "var(--faint)"));
  const hatch = (name, size, back, d, ink) => make("pattern",
    { id: `hatch-${name}`, width: size, height: size, patternUnits: "userSpaceOnUse" },
    make("rect", { width: size, height: size, fill: `var(--${back})` }),
    make("path", { d, stroke: ink, "stroke-width": 1.4, fill: "none" }));

  // One band from 0 to 360 degrees; `here` is where the torch is now.
  function lane(svg, sectors, here) {
    const width = 720, step = width / sectors.length, parts = [
      make("rect", { x: 0, y: 0, width, height: 30, class: "lane-back" })];
    let from = 0;
    for (let at = 1; at <= sectors.length; at += 1) {
      if (sectors[at] === sectors[from]) continue;
      if (sectors[from] !== ".") {
        parts.push(make("rect", { x: from * step, y: 0, width: (at - from) * step, height: 30, "data-sector": sectors[from] }));
      }
      from = at;
    }
    if (here !== null) {
      const at = (((here % 360) + 360) % 360) / 360 * width;
      parts.push(make("path", { d: `M${at} 30 l-8 -12 v-18 h16 v18 Z`, class: "here" }));
    }
    svg.replaceChildren(hatches(), ...parts);
  }
  return { make, verdict, gauge, lane };
})();
