"use strict";
// Moves a donor on its host by hand, and says how every pair then lies. The formulas are those of the check.
(() => {
  const NS = "http://www.w3.org/2000/svg";
  const BROADEST = 900, CELL = 96, TIGHT_MM = 0.1;
  const INK = "var(--ink)", BLUE = "var(--blue)";
  const FACTORS = [500, 200, 100, 50, 20, 10, 5, 2, 1];
  const box = document.getElementById("lay");
  let data, at, best, scale, cellScale, nodes;

  const rad = (deg) => (deg * Math.PI) / 180;

  // A placement: mirror (x negated) first, then turn, then shift.
  function placed(move, x, y) {
    const c = Math.cos(rad(move.turn_deg)), s = Math.sin(rad(move.turn_deg));
    const mx = move.mirrored ? -x : x;
    return [c * mx - s * y + move.x_mm, s * mx + c * y + move.y_mm];
  }

  // Direction of a donor's slot as it lies on the host, as a vector.
  function along(move, deg) {
    const [x, y] = placed({ ...move, x_mm: 0, y_mm: 0 }, Math.cos(rad(deg)), Math.sin(rad(deg)));
    return [x, y];
  }

  function toSegment(p, a, b) {
    const d = [b[0] - a[0], b[1] - a[1]];
    const square = d[0] * d[0] + d[1] * d[1];
    let t = square > 0 ? ((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / square : 0;
    t = Math.min(1, Math.max(0, t));
    return [p[0] - a[0] - t * d[0], p[1] - a[1] - t * d[1]];
  }

  // What is left of a pair's offset once the slots have taken what they can: two slots add up to a parallelogram.
  function left(fixing, feature, move) {
    const g = placed(move, feature.x_mm, feature.y_mm);
    const d = [g[0] - fixing.x_mm, g[1] - fixing.y_mm];
    const u = [fixing.half_mm * Math.cos(rad(fixing.angle_deg)), fixing.half_mm * Math.sin(rad(fixing.angle_deg))];
    const w = along(move, feature.angle_deg).map((v) => v * feature.half_mm);
    const area = u[0] * w[1] - u[1] * w[0];
    if (Math.abs(area) > 1e-9) {
      const a = (d[0] * w[1] - d[1] * w[0]) / area;
      const b = (u[0] * d[1] - u[1] * d[0]) / area;
      if (Math.abs(a) <= 1 && Math.abs(b) <= 1) return [0, 0];
    }
    const ends = [[1, 1], [1, -1], [-1, -1], [-1, 1]].map(([i, k]) => [i * u[0] + k * w[0], i * u[1] + k * w[1]]);
    let found = null;
    for (let n = 0; n < 4; n++) {
      const one = toSegment(d, ends[n], ends[(n + 1) % 4]);
      if (!found || Math.hypot(...one) < Math.hypot(...found)) found = one;
    }
    return found;
  }

  function lies(pair, move) {
    const off = left(pair.from, pair.to, move);
    const offset_mm = Math.hypot(...off);
    const margin_mm = pair.allowed_mm === null ? null : pair.allowed_mm - offset_mm;
    let state = "play not known";
    if (pair.blocked) state = "blocked";
    else if (margin_mm !== null) state = margin_mm < 0 ? "out of reach" : margin_mm < TIGHT_MM ? "tight" : "lines up";
    return { off, offset_mm, margin_mm, state };
  }

  function least(move) {
    let found = null;
    for (const pair of data.pairs) {
      const { margin_mm } = lies(pair, move);
      if (margin_mm !== null && (!found || margin_mm < found.margin_mm)) found = { margin_mm, pair };
    }
    return found;
  }

  const mm = (value) => (value === null ? "?" : (Math.abs(value) < 0.005 ? 0 : value).toFixed(2));

  function node(name, attributes, ...inside) {
    const made = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.append(...inside);
    return made;
  }

  const pen = (stroke, width, more = {}) => ({ fill: "none", stroke, "stroke-width": width, ...more });

  // The pattern: drawn once in host millimetres; moving sets one attribute.

  function slotPath(spot) {
    const r = Math.max(spot.across_mm ?? 5, 0.1) / 2;
    const ux = Math.cos(rad(spot.angle_deg)), uy = Math.sin(rad(spot.angle_deg)), h = spot.half_mm;
    const [ax, ay, bx, by] = [spot.x_mm + h * ux, spot.y_mm + h * uy, spot.x_mm - h * ux, spot.y_mm - h * uy];
    const [nx, ny] = [-uy * r, ux * r];
    return `M${ax + nx} ${ay + ny}A${r} ${r} 0 0 0 ${ax - nx} ${ay - ny}L${bx - nx} ${by - ny}` +
      `A${r} ${r} 0 0 0 ${bx + nx} ${by + ny}Z`;
  }

  function side(spots, lines, stroke, width) {
    const fixed = { "vector-effect": "non-scaling-stroke" };
    const group = node("g", {});
    for (const line of lines) {
      const points = line.corners_mm.map((corner) => corner.slice(0, 2).join(" ")).join(" ");
      group.append(node("polygon", { points, ...pen(stroke, 0.9, { ...fixed, "stroke-dasharray": line.kind === "zone" ? "3 2" : "11 2 1.5 2" }) }));
    }
    for (const spot of spots) group.append(node("path", { d: slotPath(spot), ...pen(stroke, width, fixed) }));
    return group;
  }

  function extent() {
    const points = [];
    for (const spot of data.fixings) points.push([spot.x_mm, spot.y_mm]);
    for (const spot of data.features) points.push(placed(best, spot.x_mm, spot.y_mm));
    for (const line of data.lines) {
      for (const corner of line.corners_mm) points.push(line.of === "donor" ? placed(best, corner[0], corner[1]) : corner);
    }
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  }

  // A name beside its fixing where it lies on no other; without room none: the cells have them all.
  function labelled(id, [x, y], r, [right, bottom], taken) {
    const text = id.length > 14 ? `${id.slice(0, 11)}...` : id;
    const width = 7.4 * text.length + 2;
    for (const [after, over] of [[true, true], [false, true], [true, false], [false, false]]) {
      const left = after ? x + r + 3 : x - r - 3 - width, base = over ? y - 5 : y + 15;
      const at = [left, base - 11, left + width, base + 4];
      const free = taken.every((o) => at[0] >= o[2] || o[0] >= at[2] || at[1] >= o[3] || o[1] >= at[3]);
      if (at[0] < 2 || at[1] < 2 || at[2] > right - 2 || at[3] > bottom - 2 || !free) continue;
      taken.push(at);
      const anchor = after ? { x: left } : { x: left + width, "text-anchor": "end" };
      return node("text", { ...anchor, y: base, "font-size": 12, class: "h" }, text);
    }
    return null;
  }

  function drawField() {
    const [x0, y0, x1, y1] = extent();
    // Drawn for the width that there is, so that letters keep their size.
    const field = document.getElementById("field");
    const WIDTH = Math.max(280, Math.min(BROADEST, field.clientWidth)), EDGE = WIDTH < 520 ? 26 : 40;
    scale = Math.min((WIDTH - 2 * EDGE) / Math.max(x1 - x0, 1), 420 / Math.max(y1 - y0, 1));
    const height = Math.max((y1 - y0) * scale + 2 * EDGE, 140);
    const x = WIDTH / 2 - ((x0 + x1) / 2) * scale, y = height / 2 + ((y0 + y1) / 2) * scale;
    const host = data.lines.filter((line) => line.of !== "donor"), own = data.lines.filter((line) => line.of === "donor");
    nodes.donor = side(data.features, own, BLUE, 1.8);
    const world = node("g", { transform: `matrix(${scale} 0 0 ${-scale} ${x} ${y})` });
    world.append(side(data.fixings, host, INK, 1.8), nodes.donor);
    const svg = node("svg", { viewBox: `0 0 ${WIDTH} ${height}`, class: "dw" });
    svg.append(node("title", {}, box.dataset.title), world);
    const taken = [];
    for (const spot of data.fixings) {
      const px = [spot.x_mm * scale + x, -spot.y_mm * scale + y];
      const r = Math.max(spot.across_mm ?? 5, 1) / 2 * scale + spot.half_mm * scale + 4;
      svg.append(node("path", { d: `M${px[0] - r} ${px[1]}H${px[0] + r}M${px[0]} ${px[1] - r}V${px[1] + r}`, ...pen(INK, 0.6, { "stroke-dasharray": "9 2 1.5 2" }) }));
      const label = labelled(spot.id, px, r, [WIDTH, height], taken);
      if (label) svg.append(label);
    }
    field.replaceChildren(svg);
    nodes.field = svg;
  }

  function drawCells() {
    const plays = data.pairs.map((pair) => pair.allowed_mm).filter((play) => play !== null && play > 0);
    const widest = Math.max(...plays, 0.5);
    const factor = FACTORS.find((one) => widest * scale * one <= 0.39 * CELL) ?? 1;
    cellScale = scale * factor;
    document.getElementById("factor").textContent =
      `Each pair, ${factor} times as large as the pattern above. Circle: play allowed. Dot: the donor's centre.`;
    const list = document.getElementById("cells");
    list.replaceChildren();
    nodes.cells = data.pairs.map((pair) => {
      const svg = node("svg", { viewBox: `${-CELL / 2} ${-CELL / 2} ${CELL} ${CELL}` });
      svg.append(node("path", { d: `M${-CELL / 2} 0H${CELL / 2}M0 ${-CELL / 2}V${CELL / 2}`, ...pen(INK, 0.6, { "stroke-dasharray": "9 2 1.5 2" }) }));
      if (pair.allowed_mm !== null && pair.allowed_mm > 0) svg.append(node("circle", { r: pair.allowed_mm * cellScale, ...pen(INK, 1.8) }));
      const way = node("path", pen(BLUE, 0.9)), dot = node("circle", { r: 2.8, fill: BLUE });
      svg.append(way, dot);
      const item = document.createElement("li"), name = document.createElement("b"), figures = document.createElement("span"), state = document.createElement("span");
      name.textContent = `${pair.fixing} - ${pair.feature}`;
      item.append(svg, name, figures, state);
      list.append(item);
      dragged(svg, () => cellScale);
      return { item, way, dot, figures, state };
    });
  }

  function drawTable() {
    const body = document.getElementById("pairs");
    body.replaceChildren();
    nodes.rows = data.pairs.map((pair) => {
      const row = document.createElement("tr");
      const cells = [pair.fixing, pair.feature, "", mm(pair.allowed_mm), "", mm(lies(pair, best).margin_mm), ""].map((text, n) => {
        const cell = document.createElement(n ? "td" : "th");
        if (!n) cell.scope = "row";
        if (n > 1 && n < 6) cell.className = "n";
        cell.textContent = text;
        row.append(cell);
        return cell;
      });
      body.append(row);
      return cells;
    });
  }

  function show() {
    const c = Math.cos(rad(at.turn_deg)), s = Math.sin(rad(at.turn_deg)), m = at.mirrored ? -1 : 1;
    nodes.donor.setAttribute("transform", `matrix(${m * c} ${m * s} ${-s} ${c} ${at.x_mm} ${at.y_mm})`);
    data.pairs.forEach((pair, n) => {
      const { off, offset_mm, margin_mm, state } = lies(pair, at);
      const reach = CELL / 2 - 6, far = offset_mm * cellScale, cut = far > reach ? reach / far : 1;
      const px = [off[0] * cellScale * cut, -off[1] * cellScale * cut];
      const cell = nodes.cells[n];
      cell.way.setAttribute("d", `M0 0L${px[0]} ${px[1]}`);
      cell.way.setAttribute("stroke-dasharray", cut < 1 ? "4 3" : "none");
      cell.dot.setAttribute("cx", px[0]);
      cell.dot.setAttribute("cy", px[1]);
      cell.figures.textContent = `${mm(offset_mm)} of ${mm(pair.allowed_mm)}`;
      cell.state.textContent = state;
      cell.item.classList.toggle("off", state === "out of reach" || state === "blocked");
      const row = nodes.rows[n];
      row[2].textContent = mm(offset_mm);
      row[4].textContent = mm(margin_mm);
      row[6].textContent = state;
    });
    const here = least(at), there = least(best);
    const named = (one) => (one ? `${mm(one.margin_mm)} mm (${one.pair.fixing} - ${one.pair.feature})` : "not known");
    document.getElementById("least").textContent =
      `Least margin as it lies now: ${named(here)}. At the best placement: ${named(there)}.`;
    document.getElementById("where").textContent =
      `Turned ${at.turn_deg.toFixed(3)} degrees, shifted ${at.x_mm.toFixed(2)}, ${at.y_mm.toFixed(2)} mm.`;
    box.dataset.placement = JSON.stringify(at);
  }

  // Turning goes about the middle of the donor's features, not about the origin of its sheet.
  function turned(degrees) {
    const n = data.features.length || 1;
    const middle = [0, 0];
    for (const spot of data.features) {
      middle[0] += spot.x_mm / n;
      middle[1] += spot.y_mm / n;
    }
    const before = placed(at, ...middle);
    at = { ...at, turn_deg: at.turn_deg + degrees };
    const after = placed(at, ...middle);
    at = { ...at, x_mm: at.x_mm + before[0] - after[0], y_mm: at.y_mm + before[1] - after[1] };
  }

  function shifted(x, y) {
    at = { ...at, x_mm: at.x_mm + x, y_mm: at.y_mm + y };
  }

  function move(name, times = 1) {
    const step = Number(document.getElementById("step-mm").value) * times;
    const turn = Number(document.getElementById("step-deg").value) * times;
    const moves = {
      left: () => shifted(-step, 0), right: () => shifted(step, 0), up: () => shifted(0, step),
      down: () => shifted(0, -step), "turn-left": () => turned(turn), "turn-right": () => turned(-turn),
      home: () => { at = { ...best }; },
    };
    moves[name]();
    show();
  }

  const KEYS = {
    ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", q: "turn-left", w: "turn-right",
    Q: "turn-left", W: "turn-right", Home: "home",
  };

  // Dragging moves the donor by as much as the pointer moves at that drawing's scale.
  function dragged(element, pixels) {
    let last = null;
    element.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      last = [event.clientX, event.clientY];
      element.setPointerCapture(event.pointerId);
    });
    element.addEventListener("pointermove", (event) => {
      if (!last) return;
      const per = pixels() * element.getScreenCTM().a;
      shifted((event.clientX - last[0]) / per, -(event.clientY - last[1]) / per);
      last = [event.clientX, event.clientY];
      show();
    });
    for (const end of ["pointerup", "pointercancel"]) element.addEventListener(end, () => { last = null; });
  }

  async function begin() {
    const answer = await fetch(box.dataset.figures);
    data = await answer.json();
    if (!answer.ok) {
      document.getElementById("least").textContent = data.why;
      return;
    }
    best = data.best;
    at = { ...best };
    nodes = {};
    const fixings = new Map(data.fixings.map((spot) => [spot.id, spot]));
    const features = new Map(data.features.map((spot) => [spot.id, spot]));
    data.pairs = data.pairs.map((pair) => ({ ...pair, from: fixings.get(pair.fixing), to: features.get(pair.feature) }))
      .filter((pair) => pair.from && pair.to);
    drawField();
    drawCells();
    drawTable();
    dragged(nodes.field, () => scale);
    document.getElementById("field").addEventListener("keydown", (event) => {
      const name = KEYS[event.key];
      if (!name || event.ctrlKey || event.altKey || event.metaKey) return;
      event.preventDefault();
      move(name, event.shiftKey ? 10 : 1);
    });
    for (const button of document.querySelectorAll("[data-move]")) {
      button.addEventListener("click", () => move(button.dataset.move));
    }
    show();
  }
  begin();
})();
