// A picture with named points and outlines over it. The kernel holds all that is set; what is done here is told
// to it in messages, and drawn at once. Points are in pixels of the picture, [x, y] from its top left corner.

const NS = "http://www.w3.org/2000/svg";
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const GRAB = { mouse: 9, pen: 12, touch: 18 }; // how near to a point takes hold of it, in pixels of the screen
const LENS = 150;
const CURSOR = 12; // how far a key moves the cross
const REST = 300; // so long after the last key a move is told, in ms: undo takes it back whole
const CHUNK = 4e6; // a message to a server may hold 10 MB

function made(tag, attributes = {}, ...children) {
  const space = /^(svg|g|circle|path|text)$/.test(tag) ? NS : "http://www.w3.org/1999/xhtml";
  const element = document.createElementNS(space, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function render({ model, el }) {
  const gone = new AbortController();
  const on = (target, name, act, options = {}) =>
    target.addEventListener(name, act, { signal: gone.signal, ...options });
  const button = (words, act) => {
    const it = made("button", { class: "jupyter-widgets jupyter-button widget-button", type: "button" }, words);
    on(it, "click", act);
    return it;
  };

  // -- what stands on the screen ----------------------------------------------------------------

  const image = made("img", { alt: "", draggable: "false" });
  const halo = made("path", { class: "idk-photo-halo" });
  const outline = made("path", { class: "idk-photo-outline" });
  const shapes = made("g", {}, halo, outline);
  const marks = made("g");
  const cross = made("path", { class: "idk-photo-cross", d: "M-14 0H-4M4 0H14M0-14V-4M0 4V14" });
  const over = made("svg", {}, shapes, marks, cross);
  const lens = made("canvas", { class: "idk-photo-lens", width: 2 * LENS, height: 2 * LENS, hidden: "" });
  // JupyterLab has shortcuts of its own for arrows and letters.
  const keys = { tabindex: "0", role: "group", "data-lm-suppress-shortcuts": "true" };
  const view = made("div", { class: "idk-photo-view", ...keys }, image, over, lens);
  const hand = button("Move the picture", () => hand.setAttribute("aria-pressed", hand.ariaPressed !== "true"));
  hand.setAttribute("aria-pressed", "false");
  const file = made("input", { type: "file", accept: "image/*,.heic,.heif" });
  const choose = made("label", { class: "idk-photo-file" }, "Choose a picture ", file);
  const tools = made("div", { class: "idk-photo-tools" },
    button("Zoom in", () => zoom(1.6)), button("Zoom out", () => zoom(1 / 1.6)),
    button("Whole picture", () => fit()), hand);
  el.classList.add("idk-photo");
  el.append(choose, tools, view);

  // -- where things are: on the screen = shift + scale * in the picture ---------------------------

  let scale = 1, least = 1, shift = [0, 0];
  let cursor = [0, 0]; // in the picture, as points are
  let held = null; // what the pointer does: { name, at, off, was } for a point, { pan } or { pinch } or { tap }
  const waiting = new Map(); // name -> where it is, not told yet or not heard back
  const pointers = new Map();
  const drawn = new Map(); // name -> its element, which stays the same so that it keeps the focus
  let byKey = false; // whether the last thing done was a key

  const size = () => model.get("size");
  const inside = ([x, y]) => [[x, 0], [y, 1]].map(([v, i]) => Math.min(Math.max(v, 0), size()[i]));
  const toScreen = ([x, y]) => [shift[0] + scale * x, shift[1] + scale * y];
  const toPicture = ([x, y]) => inside([(x - shift[0]) / scale, (y - shift[1]) / scale]);
  const middle = () => [view.clientWidth / 2, view.clientHeight / 2];
  const here = (event) => {
    const box = view.getBoundingClientRect();
    return [event.clientX - box.left - view.clientLeft, event.clientY - box.top - view.clientTop];
  };
  const points = () => ({ ...model.get("points"), ...Object.fromEntries(waiting) });
  // What was just set is not asked for again, however late the kernel answers.
  const asked = () => model.get("asks").find((name) => !waiting.has(name)) ?? "";

  function fit() {
    const [wide, high] = size();
    if (!wide || !view.clientWidth) return;
    view.style.height = `${Math.max(180, Math.min(view.clientWidth * high / wide, 0.75 * innerHeight))}px`;
    least = Math.min(view.clientWidth / wide, view.clientHeight / high);
    scale = least;
    place([wide / 2, high / 2], middle());
    cursor = [wide / 2, high / 2];
  }

  // Put a place of the picture at one of the screen, as far as the picture still fills the window.
  function place(inPicture, onScreen) {
    shift = [0, 1].map((i) => {
      const room = [view.clientWidth, view.clientHeight][i], whole = scale * size()[i];
      const wanted = onScreen[i] - scale * inPicture[i];
      return whole <= room ? (room - whole) / 2 : Math.min(0, Math.max(room - whole, wanted));
    });
    draw();
  }

  const bounded = (wanted) => Math.min(Math.max(wanted, least), Math.max(12, 4 * least));

  function zoom(by, at = null) {
    const active = drawn.get(document.activeElement?.dataset?.name);
    const fixed = at ?? (active ? toScreen(points()[active.dataset.name]) : middle());
    const spot = toPicture(fixed);
    scale = bounded(scale * by);
    place(spot, fixed);
  }

  function reveal(at) {
    const [x, y] = toScreen(at), edge = 24;
    const to = [Math.min(Math.max(x, edge), view.clientWidth - edge),
                Math.min(Math.max(y, edge), view.clientHeight - edge)];
    if (to[0] !== x || to[1] !== y) place(at, to);
  }

  // -- drawing ----------------------------------------------------------------------------------

  function draw() {
    image.style.transform = `translate(${shift[0]}px, ${shift[1]}px) scale(${scale})`;
    shapes.setAttribute("transform", `translate(${shift[0]} ${shift[1]}) scale(${scale})`);
    const all = points(), words = model.get("labels");
    if (held?.name) all[held.name] = held.at;
    for (const [name, mark] of drawn) {
      if (!(name in all)) {
        mark.remove();
        drawn.delete(name);
      }
    }
    // In the order of the questions, so that Tab goes through them so.
    for (const name of Object.keys(words)) {
      if (!(name in all)) continue;
      if (!drawn.has(name)) drawn.set(name, markOf(name));
      const mark = drawn.get(name), [x, y] = all[name], at = toScreen(all[name]);
      mark.setAttribute("transform", `translate(${at[0]} ${at[1]})`);
      mark.lastChild.textContent = words[name];
      mark.lastChild.setAttribute("text-anchor", at[0] > view.clientWidth - 160 ? "end" : "start");
      mark.lastChild.setAttribute("x", at[0] > view.clientWidth - 160 ? -13 : 13);
      mark.ariaLabel = `${words[name]}, ${Math.round(x)} across, ${Math.round(y)} down`;
      mark.classList.toggle("idk-photo-held", held?.name === name);
      if (!mark.parentNode) {
        const later = Object.keys(words).slice(Object.keys(words).indexOf(name) + 1);
        marks.insertBefore(mark, later.map((n) => drawn.get(n)).find((m) => m?.parentNode) ?? null);
      }
    }
    cross.setAttribute("transform", `translate(${toScreen(cursor).join(" ")})`);
    const focused = document.activeElement?.dataset?.name;
    view.classList.toggle("idk-photo-keys", byKey);
    look(held ? held.at : byKey && (all[focused] ?? (document.activeElement === view && cursor)));
  }

  function markOf(name) {
    return made("g", { class: "idk-photo-point", tabindex: "0", role: "button", "data-name": name },
      made("circle", { r: 8 }), made("circle", { r: 8 }), made("path", { d: "M-3 0H3M0-3V3" }), made("text", { y: 4 }));
  }

  // The lens shows what is below the finger, in the corner that is farther from it.
  function look(at) {
    lens.hidden = !at || !image.complete || !image.naturalWidth;
    if (lens.hidden) return;
    const [x, y] = toScreen(at), paint = lens.getContext("2d");
    const isNear = x < LENS + 40 && y < LENS + 40;
    lens.style.left = isNear ? "auto" : "6px";
    lens.style.right = isNear ? "6px" : "auto";
    const more = Math.max(3, 3 * scale), part = LENS / more, shrunk = image.naturalWidth / size()[0];
    paint.imageSmoothingEnabled = more * shrunk < 6;
    paint.fillStyle = "#777";
    paint.fillRect(0, 0, lens.width, lens.height);
    const [left, top] = [at[0] - part / 2, at[1] - part / 2];
    paint.drawImage(image, left * shrunk, top * shrunk, part * shrunk, part * shrunk, 0, 0, lens.width, lens.height);
    for (const [width, colour] of [[5, "#fff"], [2, "#000"]]) {
      paint.lineWidth = width;
      paint.strokeStyle = colour;
      paint.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        paint.moveTo(LENS + 14 * dx, LENS + 14 * dy);
        paint.lineTo(LENS + 70 * dx, LENS + 70 * dy);
      }
      paint.stroke();
    }
  }

  function drawShapes() {
    const path = model.get("outlines").map((one) => `M${one.join(" ")}Z`).join("");
    halo.setAttribute("d", path);
    outline.setAttribute("d", path);
  }

  function showAsked() {
    const next = model.get("labels")[asked()];
    const does = model.get("sowing") ? "adds a spot, or takes one away" : next ? `sets: ${next}` : "";
    view.ariaLabel = `The picture. Arrow keys move the cross${does && `, Enter ${does}`}. Tab goes to the points.`;
    view.classList.toggle("idk-photo-asks", Boolean(does));
    draw();
  }

  function showPicture() {
    URL.revokeObjectURL(image.src);
    const bytes = model.get("picture"), [wide, high] = size();
    const there = bytes?.byteLength > 0;
    view.hidden = tools.hidden = !there;
    if (!there) return;
    image.style.width = `${wide}px`;
    image.style.height = `${high}px`;
    image.src = URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" }));
    waiting.clear();
    fit();
  }

  // -- what is told to the kernel -----------------------------------------------------------------

  function set(name, at) {
    waiting.set(name, at);
    model.send({ kind: "set", name, at });
    showAsked();
  }

  // What a click does at a place: the point that is asked for, or a spot.
  function act(at) {
    const name = model.get("sowing") ? "" : asked();
    if (name) set(name, at);
    else if (model.get("sowing")) model.send({ kind: "spot", at });
    return name;
  }

  // -- mouse, touch, pen --------------------------------------------------------------------------

  function nearest(at, reach) {
    const away = ([, point]) => Math.hypot(...toScreen(point).map((v, i) => v - at[i]));
    const found = Object.entries(points()).filter((one) => away(one) <= reach);
    return found.sort((a, b) => away(a) - away(b))[0]?.[0];
  }

  const spread = () => {
    const [a, b] = [...pointers.values()];
    return { far: Math.hypot(a[0] - b[0], a[1] - b[1]), at: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] };
  };

  on(view, "pointerdown", (event) => {
    if (event.button > 1) return;
    event.preventDefault();
    view.setPointerCapture(event.pointerId);
    byKey = false;
    const at = here(event);
    pointers.set(event.pointerId, at);
    if (pointers.size === 2) {
      const { far, at: between } = spread();
      held = { pinch: { far, scale, spot: toPicture(between) } };
    } else if (pointers.size === 1) {
      const sowing = model.get("sowing"), next = asked();
      const name = sowing ? "" : nearest(at, GRAB[event.pointerType] ?? 12);
      if (hand.ariaPressed === "true" || event.button === 1 || event.shiftKey || !(name || sowing || next)) {
        held = { pan: toPicture(at) };
      } else if (name) {
        const was = points()[name];
        held = { name, at: was, was, off: toScreen(was).map((v, i) => v - at[i]), from: toPicture(at), next };
        drawn.get(name).focus({ preventScroll: true });
      } else {
        held = { name: sowing ? "" : next, tap: sowing, at: toPicture(at), off: [0, 0] };
        view.focus({ preventScroll: true });
      }
    }
    draw();
  });

  on(view, "pointermove", (event) => {
    if (!pointers.has(event.pointerId)) return;
    const at = here(event);
    pointers.set(event.pointerId, at);
    if (held?.pinch && pointers.size === 2) {
      const { far, at: between } = spread();
      scale = bounded(held.pinch.scale * far / held.pinch.far);
      place(held.pinch.spot, between);
    } else if (held?.pan) {
      place(held.pan, at);
    } else if (held?.at) {
      held.at = toPicture([at[0] + held.off[0], at[1] + held.off[1]]);
      draw();
    }
  });

  function let_go(event, isDone) {
    if (!pointers.delete(event.pointerId) || pointers.size) return;
    const { name, tap, at, was, from, next } = held ?? {};
    held = null;
    if (isDone && tap) act(at);
    // Pupil and eye are near each other: a point that was not dragged was not meant.
    else if (isDone && next && String(at) === String(was)) {
      set(next, from);
      drawn.get(next)?.focus({ preventScroll: true });
      return;
    } else if (isDone && name && String(at) !== String(was)) set(name, at);
    draw();
    if (isDone && name) drawn.get(name)?.focus({ preventScroll: true });
  }
  on(view, "pointerup", (event) => let_go(event, true));
  on(view, "pointercancel", (event) => let_go(event, false));
  on(view, "lostpointercapture", (event) => let_go(event, false));
  // Without Ctrl the wheel scrolls the page, as anywhere else.
  on(view, "wheel", (event) => {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    zoom(Math.exp(-event.deltaY / 300), here(event));
  }, { passive: false });

  // -- keys -----------------------------------------------------------------------------------------

  let timer = 0;
  const moved = new Set();
  function tell() {
    clearTimeout(timer);
    for (const name of moved) set(name, waiting.get(name));
    moved.clear();
  }

  on(view, "keydown", (event) => {
    const name = event.target.dataset.name, step = STEPS[event.key];
    const isPlain = !event.ctrlKey && !event.metaKey && !event.altKey;
    let did = true;
    byKey = true;
    if (!isPlain) {
      did = event.key.toLowerCase() === "z" && !event.altKey && !event.shiftKey;
      if (did) {
        tell();
        model.send({ kind: "undo" });
      }
    } else if (step && name) {
      const far = event.shiftKey ? 10 : 1;
      waiting.set(name, inside(points()[name].map((v, i) => Math.round(v + far * step[i]))));
      moved.add(name);
      clearTimeout(timer);
      timer = setTimeout(tell, REST);
      draw();
      reveal(points()[name]);
    } else if (step) {
      const far = CURSOR * (event.shiftKey ? 5 : 1) / scale;
      cursor = inside(cursor.map((v, i) => v + far * step[i]));
      draw();
      reveal(cursor);
    } else if (event.key === "Enter" || event.key === " ") {
      tell();
      if (name) view.focus();
      else drawn.get(act(cursor.map(Math.round)))?.focus();
    } else if (name && event.key === "Escape") {
      view.focus();
    } else if (name && (event.key === "Delete" || event.key === "Backspace")) {
      waiting.delete(name);
      moved.delete(name);
      model.send({ kind: "take", name });
      view.focus();
    } else if (event.key === "+" || event.key === "=") {
      zoom(1.6, name ? null : toScreen(cursor));
    } else if (event.key === "-") {
      zoom(1 / 1.6, name ? null : toScreen(cursor));
    } else if (event.key === "0") {
      fit();
    } else {
      did = false;
    }
    if (did) {
      event.preventDefault();
      event.stopPropagation();
    }
  });
  on(view, "focusin", () => {
    byKey = byKey || view.matches(":focus-visible") || Boolean(view.querySelector(":focus-visible"));
    draw();
  });
  on(view, "focusout", () => {
    tell();
    requestAnimationFrame(draw);
  });

  // -- a picture of one's own -----------------------------------------------------------------------

  on(file, "change", async () => {
    const chosen = file.files[0];
    if (!chosen) return;
    for (let at = 0; at < Math.max(chosen.size, 1); at += CHUNK) {
      const buffer = await chosen.slice(at, at + CHUNK).arrayBuffer();
      model.send({ kind: "file", name: chosen.name, size: chosen.size, at }, undefined, [buffer]);
    }
    file.value = "";
  });

  // -- what the kernel says ---------------------------------------------------------------------------

  const heard = {
    // Comes after what the kernel made of a message: unless more was told meanwhile its own word counts.
    "msg:custom": ({ heard: name, at }) => {
      if (!moved.has(name) && String(waiting.get(name)) === String(at)) waiting.delete(name);
      showAsked();
    },
    "change:points": draw, "change:asks": showAsked, "change:sowing": showAsked,
    "change:outlines": drawShapes, "change:picture": showPicture,
  };
  for (const [name, hear] of Object.entries(heard)) model.on(name, hear);
  on(image, "load", draw);
  const watcher = new ResizeObserver(([entry]) => {
    if (Math.abs(entry.contentRect.width - (watcher.wide ?? 0)) > 1) {
      watcher.wide = entry.contentRect.width;
      fit();
    }
  });
  watcher.observe(el);
  showPicture();
  drawShapes();
  showAsked();

  return () => {
    clearTimeout(timer);
    for (const [name, hear] of Object.entries(heard)) model.off(name, hear);
    watcher.disconnect();
    gone.abort();
    URL.revokeObjectURL(image.src);
  };
}

export default { render };
