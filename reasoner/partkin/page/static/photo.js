"use strict";
// Marks points in a photograph: by pointer with a loupe, or by keys alone; shows what they tell, and keeps them.
(() => {
  const NS = "http://www.w3.org/2000/svg";
  const INK = "var(--ink)", BLUE = "var(--blue)", PAPER = "var(--paper)";
  // The loupe shows so many times the hole; of a hole of unknown size, and of a corner, these are assumed. As long as no
  // scale is known it shows this share of the picture, and never more than the other nor fewer px than the last.
  const AROUND = 4, HOLE_MM = 10, CORNER_MM = 5, LOUPE_SHARE = 1 / 25, LOUPE_MOST = 1 / 6, LOUPE_LEAST_PX = 24;
  // A mark is put to so many px as they are seen: of the screen, but never finer than those of the picture.
  const PUT_WITHIN = 1.5;
  const box = document.getElementById("marking");
  if (!box) return;
  const stage = document.getElementById("stage"), sheet = document.getElementById("sheet");
  const picture = document.getElementById("photo"), loupe = document.getElementById("loupe");
  const rectangle = document.getElementById("rectangle"), told = document.getElementById("told-photo");
  // What the marks tell, apart from what came of keeping them: answers may cross.
  const seen = document.getElementById("seen-photo"), doubts = document.getElementById("doubts");
  const targets = [...document.querySelectorAll("#targets input")];
  const corners = box.dataset.corners.split(" ");
  const over = document.createElementNS(NS, "svg");
  const undone = [];
  let marks = {}, pattern = [], cursor = [0, 0], target = targets[0] ? targets[0].value : null, digest = "", zoom = 1;
  // Fresh: the chosen mark was put just now, so the next click or Enter goes on to the next one.
  let asked = 0, later = null, fresh = false;

  function node(name, attributes, ...inside) {
    const made = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.append(...inside);
    return made;
  }

  const size = () => [picture.naturalWidth, picture.naturalHeight];
  const kept = (value, most) => Math.min(most, Math.max(0, value));

  function inPicture(event) {
    const shown = picture.getBoundingClientRect();
    const [width, height] = size();
    return [
      kept(((event.clientX - shown.left) * width) / shown.width, width),
      kept(((event.clientY - shown.top) * height) / shown.height, height),
    ];
  }

  // Drawing. Line widths and letters keep their size on the screen, whatever the zoom.

  function twice(name, attributes, stroke, width) {
    const still = { "vector-effect": "non-scaling-stroke", fill: "none" };
    return [
      node(name, { ...attributes, ...still, stroke: PAPER, "stroke-width": width + 2 }),
      node(name, { ...attributes, ...still, stroke, "stroke-width": width }),
    ];
  }

  function draw() {
    const [width, height] = size();
    if (!width) return;
    const one = width / picture.getBoundingClientRect().width;
    over.setAttribute("viewBox", `0 0 ${width} ${height}`);
    over.replaceChildren();
    const cornered = corners.filter((name) => marks[name]).map((name) => marks[name].slice(0, 2));
    if (cornered.length > 1) {
      const shape = cornered.length === 4 ? "polygon" : "polyline";
      over.append(...twice(shape, { points: cornered.map((p) => p.join(" ")).join(" ") }, INK, 1));
    }
    for (const fixing of pattern) {
      over.append(...twice("polygon", { points: fixing.edge.map((p) => p.join(" ")).join(" ") }, INK, 1.6));
      if (fixing.play) {
        over.append(...twice("polygon", { points: fixing.play.map((p) => p.join(" ")).join(" "), "stroke-dasharray": "5 3" }, INK, 1));
      }
      over.append(letter(fixing.id, fixing.at, one, INK, 16));
    }
    for (const [name, p] of Object.entries(marks)) {
      const r = 9 * one, chosen = name === target;
      over.append(...twice("path", { d: `M${p[0] - r} ${p[1]}H${p[0] + r}M${p[0]} ${p[1] - r}V${p[1] + r}` }, BLUE, chosen ? 2.4 : 1.4));
      over.append(letter(shownName(name), p, one, BLUE, -6));
    }
    const [x, y] = cursor, reach = 16 * one;
    over.append(...twice("path", { d: `M${x - reach} ${y}H${x - reach / 4}M${x + reach / 4} ${y}H${x + reach}M${x} ${y - reach}V${y - reach / 4}M${x} ${y + reach / 4}V${y + reach}` }, INK, 1));
    magnify();
    document.getElementById("where").textContent = `${x.toFixed(1)}, ${y.toFixed(1)} px`;
    for (const input of targets) {
      const p = marks[input.value];
      input.parentElement.querySelector(".at").textContent = p ? `${p[0].toFixed(0)}, ${p[1].toFixed(0)}` : "";
      input.checked = input.value === target;
    }
  }

  const shownName = (name) => (corners.includes(name) ? String(corners.indexOf(name) + 1) : name);

  function letter(text, p, one, fill, down) {
    return node("text", {
      x: p[0] + 11 * one, y: p[1] + down * one, "font-size": 13 * one, fill, stroke: PAPER, "stroke-width": 3 * one,
      "paint-order": "stroke", "font-weight": "bold",
    }, text);
  }

  const scaled = () => corners.every((name) => marks[name]) && sides();
  const holeMm = () => Number(targets.find((input) => input.value === target)?.dataset.mm)
    || (corners.includes(target) ? CORNER_MM : HOLE_MM);

  // Of the picture, px to a mm, by the marked rectangle; roughly, where it is seen aslant.
  function pxPerMm() {
    const at = corners.map((name) => marks[name]), given = sides();
    const lengths = at.map((p, n) => Math.hypot(p[0] - at[(n + 1) % 4][0], p[1] - at[(n + 1) % 4][1]));
    return lengths.reduce((sum, length) => sum + length) / (2 * (given[0] + given[1]));
  }

  // How many px of the picture the loupe shows from side to side.
  function reach() {
    const long = Math.max(...size());
    if (!scaled()) return long * LOUPE_SHARE;
    return Math.min(long * LOUPE_MOST, Math.max(LOUPE_LEAST_PX, AROUND * holeMm() * pxPerMm()));
  }

  function magnify() {
    const pen = loupe.getContext("2d"), side = loupe.width, shown = reach(), half = shown / 2, middle = side / 2;
    const [paper, ink] = ["--paper", "--ink"].map((name) => getComputedStyle(loupe).getPropertyValue(name));
    pen.imageSmoothingEnabled = shown > side;
    pen.fillStyle = paper;
    pen.fillRect(0, 0, side, side);
    pen.drawImage(picture, cursor[0] - half, cursor[1] - half, shown, shown, 0, 0, side, side);
    const gap = side / 30, ring = scaled() ? (holeMm() * pxPerMm() * side) / shown / 2 : 0;
    for (const [colour, width] of [[paper, 5], [ink, 2]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      for (const way of [-1, 1]) {
        pen.moveTo(middle, middle + way * gap); pen.lineTo(middle, middle + way * middle);
        pen.moveTo(middle + way * gap, middle); pen.lineTo(middle + way * middle, middle);
      }
      if (ring && !corners.includes(target)) {
        pen.moveTo(middle + ring, middle);
        pen.arc(middle, middle, ring, 0, 2 * Math.PI);
      }
      pen.stroke();
    }
    box.dataset.reach = shown.toFixed(1);
  }

  // Marks

  function change(next) {
    undone.push(marks);
    marks = next;
    ask();
  }

  const onScreen = () => size()[0] / picture.getBoundingClientRect().width;
  const inLoupe = () => reach() / loupe.clientWidth;

  // `one`: px of the picture to a px of the screen, where it was seen.
  function put(p, one) {
    if (!target) return;
    change({ ...marks, [target]: [p[0], p[1], PUT_WITHIN * Math.max(1, one)] });
    cursor = [p[0], p[1]];
    fresh = true;
    draw();
  }

  function choose(name) {
    target = name;
    fresh = false;
    if (marks[name]) {
      cursor = marks[name].slice(0, 2);
      reveal();
    }
    draw();
  }

  function onward() {
    const names = targets.map((input) => input.value), here = names.indexOf(target);
    const next = [...names.slice(here + 1), ...names.slice(0, here)].find((name) => !marks[name]);
    if (next) target = next;
    fresh = false;
    draw();
  }

  function undo() {
    if (!undone.length) return;
    marks = undone.pop();
    ask();
    draw();
  }

  function clear() {
    if (!target || !marks[target]) return;
    const { [target]: _, ...rest } = marks;
    change(rest);
    draw();
  }

  // By pointer

  let pressed = null;
  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || !picture.contains(event.target)) return;
    pressed = event.pointerId;
    cursor = inPicture(event);
    draw();
  });
  stage.addEventListener("pointermove", (event) => {
    if (event.pointerType !== "mouse" && pressed === null) return;
    if (!picture.contains(event.target)) return;
    cursor = inPicture(event);
    draw();
  });
  stage.addEventListener("pointerup", (event) => {
    if (pressed !== event.pointerId) return;
    pressed = null;
    if (fresh) onward();
    put(inPicture(event), onScreen());
    stage.focus({ preventScroll: true });
  });
  stage.addEventListener("pointercancel", () => { pressed = null; });
  picture.draggable = false;
  loupe.addEventListener("click", (event) => {
    const one = inLoupe(), middle = loupe.clientWidth / 2, [width, height] = size();
    const away = [event.offsetX - middle, event.offsetY - middle].map((value) => value * one);
    put([kept(cursor[0] + away[0], width), kept(cursor[1] + away[1], height)], one);
  });

  function onMark() {
    const mark = target && marks[target];
    return Boolean(mark) && mark[0] === cursor[0] && mark[1] === cursor[1];
  }

  // By keys

  const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  stage.addEventListener("keydown", (event) => {
    const way = WAYS[event.key];
    if (way) {
      event.preventDefault();
      const step = event.ctrlKey ? 100 : event.shiftKey ? 10 : 1;
      const [width, height] = size();
      const on = onMark();
      cursor = [kept(cursor[0] + step * way[0], width), kept(cursor[1] + step * way[1], height)];
      if (on) change({ ...marks, [target]: [...cursor, PUT_WITHIN * Math.max(1, inLoupe())] });
      reveal();
      draw();
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      if (fresh || onMark()) onward();
      else put(cursor, inLoupe());
    } else if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      clear();
    } else if (event.key.toLowerCase() === "z" && (event.ctrlKey || event.metaKey)) {
      event.preventDefault();
      undo();
    }
  });

  // Brings the cross into view where the picture is larger than its window.
  function reveal() {
    const shown = picture.getBoundingClientRect(), one = shown.width / size()[0], room = 40;
    const x = cursor[0] * one, y = cursor[1] * one;
    if (x < stage.scrollLeft + room) stage.scrollLeft = x - room;
    if (x > stage.scrollLeft + stage.clientWidth - room) stage.scrollLeft = x - stage.clientWidth + room;
    if (y < stage.scrollTop + room) stage.scrollTop = y - room;
    if (y > stage.scrollTop + stage.clientHeight - room) stage.scrollTop = y - stage.clientHeight + room;
  }

  function zoomed(name) {
    zoom = name === "fit" ? 1 : kept(name === "in" ? zoom * 1.5 : zoom / 1.5, 20);
    zoom = Math.max(1, zoom);
    sheet.style.width = `${100 * zoom}%`;
    reveal();
    draw();
  }

  // What they tell

  function sides() {
    const found = /^\s*(\d+(?:[.,]\d+)?)\s*(?:mm)?\s*[x×*;]\s*(\d+(?:[.,]\d+)?)\s*(?:mm)?\s*$/i.exec(rectangle.value);
    return found ? [Number(found[1].replace(",", ".")), Number(found[2].replace(",", "."))] : null;
  }

  async function send(what, more) {
    const body = JSON.stringify({ part: box.dataset.part, marks, rectangle: sides(), digest, ...more });
    const answer = await fetch(`${box.dataset.photo}/${what}`, { method: "POST", body });
    return answer.json();
  }

  function ask() {
    clearTimeout(later);
    told.replaceChildren();
    later = setTimeout(async () => {
      const turn = ++asked;
      const found = await send("look", {});
      if (turn !== asked) return;
      pattern = found.pattern ?? [];
      if (found.refused) show(seen, found.refused);
      else seen.replaceChildren(...(found.said ?? []).map((text) => paragraph(text)));
      doubts.replaceChildren(...(found.doubts ?? []).map((text) => {
        const made = paragraph(text), look = document.createElement("b");
        look.textContent = "Look";
        made.prepend(look);
        made.className = "hold";
        return made;
      }));
      const list = document.getElementById("distances");
      list.replaceChildren(...(found.distances ?? []).map((one) => {
        const item = document.createElement("li");
        item.textContent = one.says;
        return item;
      }));
      box.dataset.looked = String(turn);
      draw();
    }, 150);
  }

  function paragraph(text) {
    const made = document.createElement("p");
    made.textContent = text;
    return made;
  }

  // The server escapes all that people wrote; the policy of this page lets no script run from here.
  function show(where, html) {
    where.replaceChildren(...new DOMParser().parseFromString(html, "text/html").body.childNodes);
  }

  async function keep(readings) {
    const found = await send("keep", { readings });
    if (found.digest) digest = found.digest;
    show(told, found.said ?? found.refused ?? "");
    box.dataset.kept = found.digest ? "yes" : "no";
  }

  const DO = { undo, clear, keep: () => keep(false), readings: () => keep(true) };
  for (const button of document.querySelectorAll("[data-do]")) {
    button.addEventListener("click", () => DO[button.dataset.do]());
  }
  for (const button of document.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => zoomed(button.dataset.zoom));
  }
  for (const input of targets) input.addEventListener("change", () => choose(input.value));
  rectangle.addEventListener("input", ask);
  window.addEventListener("resize", draw);

  async function begin() {
    sheet.append(over);
    const found = await (await fetch(`${box.dataset.photo}/marks`)).json();
    digest = found.digest;
    if (found.part === box.dataset.part) {
      marks = found.marks;
      if (found.rectangle) rectangle.value = found.rectangle.join(" x ");
    }
    try {
      await picture.decode();
    } catch {
      const why = paragraph("This picture cannot be shown: it cannot be unpacked. Take it anew, or keep it as a JPEG.");
      why.className = "hold";
      document.querySelector(".marking").replaceWith(why);
      return;
    }
    cursor = size().map((side) => Math.round(side / 2));
    box.dataset.ready = "yes";
    choose(target);
    if (Object.keys(marks).length) ask();
  }
  begin();
})();
